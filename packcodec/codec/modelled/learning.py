"""What training counts and weighs: symbols, what they cost to learn, and tables under a size.

A row costs what its symbols would have cost to send while learning them (the Dirichlet-multinomial
code length), and is smoothed towards the place's whole.
"""

from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from math import lgamma, log, log2

from packcodec.codec.modelled.coder import Cumulative
from packcodec.codec.modelled.tables import OCTAVE
from packcodec.schema.models import PlaceTable

HIGHEST = 240
LOWEST = HIGHEST - 16 * OCTAVE
# How many observations the place's whole counts for in a row of its own.
BACKING = 6.0
PRIOR = 0.4


class Counts(dict[int, float]):
    """How often each symbol was, 0.0 where never."""

    def __missing__(self, symbol: int) -> float:
        return 0.0


class Tally:
    """A coder that counts which symbol followed from which table, by the table's identity."""

    def __init__(self) -> None:
        self.share = 1.0
        self.counts: dict[int, Counts] = defaultdict(Counts)

    def of(self, table: Sequence[int]) -> "Counts":
        """What followed from this very table."""
        return self.counts.get(id(table), Counts())

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        """Count a symbol of a table, with the share of the frame it stands in."""
        self.counts[id(cumulative)][said] += self.share
        return said

    def uniform(self, n: int, said: int) -> int:  # noqa: ARG002
        """Nothing to learn from what has no table."""
        return said

    def more(self, tables: Sequence[Cumulative], said: int) -> int:  # noqa: ARG002
        """Nothing either: how full a frame is is the link's habit, not the animals'."""
        return said


def together(rows: Iterable[Counts]) -> Counts:
    """The sum of several counts."""
    found = Counts()
    for row in rows:
        for symbol, count in row.items():
            found[symbol] += count
    return found


def shares_of(counts: Counts, symbols: int) -> list[float]:
    """How likely each of 0..symbols-1 is, above 0 for what was never seen; they add up to 1."""
    total = sum(counts.values()) + PRIOR * symbols
    return [(counts[symbol] + PRIOR) / total for symbol in range(symbols)]


def backed(counts: Counts, whole: Sequence[float]) -> list[float]:
    """The same for one row, held to `whole`, the shares of its place, by BACKING observations."""
    total = sum(counts.values()) + BACKING
    return [(counts[symbol] + BACKING * share) / total for symbol, share in enumerate(whole)]


def learning_bits(rows: Mapping[int, Counts], whole: Sequence[float]) -> float:
    """Bits that the rows' symbols would have cost, each row learned as they came, from `whole` on.

    The length of a Dirichlet-multinomial code; it does not depend on the symbols' order.
    """
    nats = 0.0
    for counts in rows.values():
        nats += lgamma(BACKING + sum(counts.values())) - lgamma(BACKING)
        for symbol, count in counts.items():
            backing = BACKING * whole[symbol]
            nats -= lgamma(backing + count) - lgamma(backing)
    return nats / log(2)


def row_of(shares: Sequence[float]) -> bytes:
    """Shares as bytes: the largest is 240, the least 16 octaves lower."""
    most = max(shares)
    return bytes(
        max(LOWEST, HIGHEST + round(OCTAVE * log2(max(share, 1e-9) / most))) for share in shares
    )


@dataclass(frozen=True, slots=True)
class Choice:
    """One way to make the tables of a place: the bits it would have cost, and its bytes."""

    bits: float
    size: int
    make: Callable[[], tuple[PlaceTable, ...]]


def within(choices: list[list[Choice]], size_bytes: int) -> list[PlaceTable]:
    """The cheapest of each, then what costs the fewest bits a byte until all fit.

    A large step down may leave room: it is filled by what saves the most bits a byte.
    """
    chosen = [min(each, key=lambda choice: choice.bits) for each in choices]
    while sum(choice.size for choice in chosen) > size_bytes:
        swaps = [
            ((other.bits - choice.bits) / (choice.size - other.size), at, other)
            for at, choice in enumerate(chosen)
            for other in choices[at]
            if other.size < choice.size
        ]
        if not swaps:
            break
        _, at, other = min(swaps, key=lambda swap: swap[:2])
        chosen[at] = other
    while gains := [
        ((choice.bits - other.bits) / (other.size - choice.size), at, other)
        for at, choice in enumerate(chosen)
        for other in choices[at]
        if other.bits < choice.bits
        and choice.size < other.size <= size_bytes - sum(each.size for each in chosen) + choice.size
    ]:
        _, at, other = max(gains, key=lambda gain: gain[:2])
        chosen[at] = other
    return [table for choice in chosen for table in choice.make()]
