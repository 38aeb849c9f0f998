"""What a lossy link delivers, with the erasure code and without: real symbols, real solver.

One frame is sent each interval, and with it at most one that the base asked for again
(`packcodec.base.ask`); both have the fate of that interval. `Draw` gives uniform numbers in [0, 1),
for instance the method `random` of a seeded generator; the same seed gives the same losses to every
scheme.

Loss models:

    independent   each frame is lost with the same probability
    bursts        two states in time (E. N. Gilbert 1960, E. O. Elliott 1963): all is lost while
                  the link is bad, and a bad spell lasts `mean` intervals on average
    outage        independent, and the first `length` of every `every` intervals are lost as well
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import islice

from packcodec.base.ask import worth_asking
from packcodec.frame.missing import KEPT_FRAMES, fitting
from packcodec.frame.repair import RepairField, Ring, Solver
from packcodec.frame.sequence import COUNTER_BITS
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

    `wrong` counts records that the base was given and nobody sent: it is 0. `again` counts frames
    that were sent because the base asked for them.
    """

    scheme: str
    sent: int
    delivered: int
    delays: tuple[int, ...]
    wrong: int = 0
    again: int = 0

    @property
    def share(self) -> float:
        """The delivered part of what was sent, 0 to 1; `sent` is 1 or more."""
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
    code, delays = _Code(repair, draw), []
    for counter, gone in enumerate(lost):
        code.send(counter)
        if not gone:
            delays += [0, *(counter - each for each in code.hear(counter))]
    return Outcome("erasure code", len(lost), len(delays), tuple(delays), code.wrong)


def asked(
    lost: list[bool],
    lists_lost: Losses,
    per_day: int,
    most_bytes: int,
    coding: tuple[RepairLayout, Draw] | None = None,
) -> Outcome:
    """The base asks every `per_day` intervals, by lists of `most_bytes` that get lost themselves;
    with `coding`, as for `coded`, only for what the code could not win back."""
    code = None if coding is None else _Code(*coding)
    known: set[int] = set()
    lists: list[tuple[int, ...]] = []
    waiting: list[int] = []
    delays: list[int] = []
    again = 0
    for at, gone in enumerate(lost):
        goes = [at, *waiting[:1]]
        del waiting[:1]
        again += len(goes) - 1
        if code is not None:
            code.send(at)
        for counter in [] if gone else goes:
            won = [] if code is None else code.hear(counter)
            fresh = {counter, *won} - known
            known |= fresh
            delays += [at - each for each in fresh]
        if known and (at + 1) % per_day == 0:
            highest = max(known)
            missing = [c for c in range(max(0, highest - KEPT_FRAMES), highest) if c not in known]
            wanted = worth_asking(missing, highest, COUNTER_BITS, lists)
            if wanted:
                lists.append(fitting(wanted, most_bytes))
                if not next(lists_lost):
                    waiting = list(lists[-1])
    name = "asked daily" if code is None else "erasure code, asked daily"
    wrong = 0 if code is None else code.wrong
    return Outcome(name, len(lost), len(delays), tuple(delays), wrong, again)


class _Code:
    """A station's ring and a base's solver. `wrong` counts sources given that nobody sent, or that
    were given or heard before."""

    def __init__(self, repair: RepairLayout, draw: Draw) -> None:
        self.wrong = 0
        self._repair = repair
        self._draw = draw
        self._ring, self._solver = Ring(repair, STATION), Solver(repair, STATION)
        self._sent: list[tuple[bytes, RepairField | None]] = []
        self._given: set[int] = set()

    def send(self, counter: int) -> None:
        """The station makes its next frame."""
        repair, draw = self._repair, self._draw
        source = bytes(int(256 * draw()) for _ in range(repair.symbol_bytes))
        field = self._ring.advance(counter, source)
        rides = repair.rides(repair.repair.messages[0], counter)
        self._sent.append((source, field if rides else None))

    def hear(self, counter: int) -> list[int]:
        """The base hears that frame: the counters that it proves."""
        self._given.add(counter)
        won = self._solver.heard(counter, *self._sent[counter])
        for each in won:
            self.wrong += each.counter in self._given or self._sent[each.counter][0] != each.source
            self._given.add(each.counter)
        return [each.counter for each in won]


def losses(model: Losses, intervals: int) -> list[bool]:
    """The model's first `intervals` intervals."""
    return list(islice(model, intervals))
