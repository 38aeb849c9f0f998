"""What a lossy link delivers, with the erasure code and without: real symbols, real solver.

One frame is sent each interval. `Draw` gives uniform numbers in [0, 1), for instance the method
`random` of a seeded generator; the same seed gives the same losses to every scheme.

Loss models:

    independent   each frame is lost with the same probability
    bursts        two states in time (E. N. Gilbert 1960, E. O. Elliott 1963): all is lost while
                  the link is bad, and a bad spell lasts `mean` intervals on average
    outage        independent, and the first `length` of every `every` intervals are lost as well
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice

from packcodec.frame.repair import Ring, Solver
from packcodec.layout.model import RepairLayout

Draw = Callable[[], float]
Losses = Iterator[bool]
STATION = 1


def independent(loss: float, draw: Draw) -> Losses:
    """True for each interval whose frame is lost; `loss` from 0 to below 1."""
    while True:
        yield draw() < loss


def bursts(loss: float, mean: float, draw: Draw) -> Losses:
    """Bad spells of `mean` intervals (at least 1), so many that `loss` of all intervals are bad."""
    recover = 1 / mean
    spoil = recover * loss / (1 - loss)
    bad = draw() < loss
    while True:
        yield bad
        bad = draw() >= recover if bad else draw() < spoil


def outage(loss: float, length: int, every: int, draw: Draw) -> Losses:
    """A whole outage of `length` intervals at the start of every `every`, after the first."""
    at = 0
    while True:
        lost = draw() < loss
        yield lost or (at >= every and at % every < length)
        at += 1


@dataclass(frozen=True, slots=True)
class Outcome:
    """How many of `sent` records a base had in the end, and how many intervals they took.

    `wrong` counts records that the base was given and nobody sent: it is 0.
    """

    scheme: str
    sent: int
    delivered: int
    delays: tuple[int, ...]
    wrong: int = 0

    @property
    def share(self) -> float:
        return self.delivered / self.sent

    def delay(self, part: float) -> int:
        """The delay, in intervals, that this part (0 to 1) of the delivered records keep to."""
        return sorted(self.delays)[min(len(self.delays) - 1, int(part * len(self.delays)))]


def plain(lost: list[bool]) -> Outcome:
    """Every record once."""
    delivered = lost.count(False)
    return Outcome("once", len(lost), delivered, (0,) * delivered)


def repeated(lost: list[bool], later: int) -> Outcome:
    """Every record again in the frame `later` intervals on, which then has twice the payload."""
    delays = []
    for at, gone in enumerate(lost):
        if not gone:
            delays.append(0)
        elif at + later < len(lost) and not lost[at + later]:
            delays.append(later)
    return Outcome(f"twice, {later} later", len(lost), len(delays), tuple(delays))


def bound(lost: list[bool], rate: float) -> Outcome:
    """No erasure code of this rate delivers more: it needs as many symbols as there are records."""
    symbols = int(lost.count(False) / rate)
    delivered = min(len(lost), symbols)
    return Outcome("no code can do better", len(lost), delivered, ())


def coded(repair: RepairLayout, lost: list[bool], draw: Draw) -> Outcome:
    """The erasure code of a schema, with random payloads, through its real ring and solver."""
    ring, solver = Ring(repair, STATION), Solver(repair, STATION)
    sent: dict[int, bytes] = {}
    delays: list[int] = []
    wrong = 0
    for counter, gone in enumerate(lost):
        source = bytes(int(256 * draw()) for _ in range(repair.symbol_bytes))
        sent[counter] = source
        field = ring.advance(counter, source)
        if gone:
            continue
        delays.append(0)
        carried = field if repair.rides(repair.repair.messages[0], counter) else None
        for won in solver.heard(counter, source, carried):
            # A source that is asked for twice would be a wrong one too.
            wrong += sent.pop(won.counter, None) != won.source
            delays.append(counter - won.counter)
    return Outcome("erasure code", len(lost), len(delays), tuple(delays), wrong)


def losses(model: Losses, intervals: int) -> list[bool]:
    """The model's first `intervals` intervals."""
    return list(islice(model, intervals))
