"""Winning lost frames back: a sliding-window random linear code over GF(256).

Terms as in RFC 8406. Every frame of a station is a *source*: its message and payload as a symbol
of fixed length. Some frames carry a *repair symbol*, the sum of up to `window` earlier sources,
`stride` frames apart, each times a coefficient that both ends draw from the station and the
sequence. The code is systematic: frames are sent as they are and the symbol rides inside them, so
a base that ignores it loses nothing. spec/repair.md.

    source   1 | message | payload | zeros to `symbol_bytes`
    repair   held | symbol

`held` is how many sources of the window, nearest first, the station still held; the rest are
zero. A source of zeros stands for a number that was never used, and for a payload too long for
the symbol.

`Ring` is the station's half and `Solver` the base's. A spread-out window recovers from bad spells
that an equally large one in a row does not; how much is measured by `packcodec simulate`.
"""

from collections import deque
from collections.abc import Mapping
from functools import lru_cache
from typing import Self

from packcodec.frame.gf256 import inverse, times
from packcodec.frozen import frozen
from packcodec.layout.model import RepairLayout

WORD = (1 << 32) - 1
# How many spans back the base goes on solving. Past it, a number still missing stays missing.
HORIZON_SPANS = 3


@frozen
class RepairField:
    """What a frame carries: the symbol, and how many sources of its window it covers."""

    held: int
    symbol: bytes


@frozen
class Recovered:
    """A source that the code gave back; `source` is all zeros where there was nothing to send."""

    counter: int
    source: bytes


class Contradiction(Exception):
    """Repair symbols that cannot all be true: nothing more may be solved from them."""


def coefficients(station: int, sent: int, window: int) -> bytes:
    """The window's coefficients, nearest frame first, none of them zero.

    `sent` is the counter as far as the frame carries it. The generator is a 32-bit xorshift
    (G. Marsaglia, "Xorshift RNGs", 2003: 13, 17, 5) seeded through the finaliser of MurmurHash3;
    both from memory, fixed by the examples in spec/repair.md. A coefficient is the top byte of the
    next state that has one other than zero.
    """
    state = _mixed((station * 0x9E3779B1 + sent) & WORD) or 1
    drawn = bytearray()
    while len(drawn) < window:
        state ^= state << 13 & WORD
        state ^= state >> 17
        state ^= state << 5 & WORD
        if state >> 24:
            drawn.append(state >> 24)
    return bytes(drawn)


def _mixed(word: int) -> int:
    word ^= word >> 16
    word = word * 0x85EBCA6B & WORD
    word ^= word >> 13
    word = word * 0xC2B2AE35 & WORD
    return word ^ word >> 16


# A base asks for the same ones again with every turn of the sequence.
_drawn_before = lru_cache(maxsize=1 << 14)(coefficients)


class Ring:
    """The station's half: the last sources sent, `next` the counter that follows them.

    A counter that skips some empties the ring, for a frame may have gone that the ring knows
    nothing of. A station that keeps each source before its frame goes knows better: `resumed`.
    """

    def __init__(self, layout: RepairLayout, station: int) -> None:
        self._layout = layout
        self._station = station
        self.next = 0
        self._sources: deque[bytes] = deque(maxlen=layout.repair.span)

    def advance(self, counter: int, source: bytes) -> RepairField:
        """The repair field of the frame `counter`; its own `source` joins the ring after it."""
        if counter != self.next:
            self._sources.clear()
        field = self._field(counter)
        self._sources.append(source)
        self.next = counter + 1
        return field

    def _field(self, counter: int) -> RepairField:
        layout, repair = self._layout, self._layout.repair
        held = min(repair.window, len(self._sources) // repair.stride)
        sent = counter & ((1 << layout.sent_bits) - 1)
        total = 0
        for slot, factor in enumerate(coefficients(self._station, sent, held), 1):
            source = self._sources[-slot * repair.stride]
            total ^= int.from_bytes(source.translate(times(factor)), "big")
        return RepairField(held, total.to_bytes(layout.symbol_bytes, "big"))

    @property
    def sources(self) -> dict[int, bytes]:
        """The sources by counter, the oldest first."""
        return dict(enumerate(self._sources, self.next - len(self._sources)))

    @classmethod
    def resumed(
        cls, layout: RepairLayout, station: int, sources: Mapping[int, bytes], following: int
    ) -> Self:
        """The ring of a station whose next counter is `following`, from the `sources` it kept.

        Counters missing from the oldest of them on must never have been used: they are zeros.
        """
        ring = cls(layout, station)
        ring.next = following
        first = following - layout.repair.span
        if any(counter >= first for counter in sources):
            unused = bytes(layout.symbol_bytes)
            counters = range(max(first, min(sources)), following)
            ring._sources.extend(sources.get(counter, unused) for counter in counters)
        return ring


class Solver:
    """The base's half, for one station: what was heard in, what can be proved out.

    Unknown sources are the columns of a linear system that is kept in reduced row echelon form,
    the pivot of a row being its oldest unknown. A source is given back only when its row holds no
    other unknown: never on a guess. All counters are whole ones, 0 to 2**32 - 1.

    A row is one run of bytes, a coefficient for each counter modulo the horizon and then the
    symbol, so that it is scaled and added as a whole.
    """

    def __init__(self, layout: RepairLayout, station: int) -> None:
        self._layout = layout
        self._station = station
        self._columns = HORIZON_SPANS * layout.repair.span
        # Of every counter within the horizon either the source, or that it is missing; older ones
        # are forgotten when they are as many again.
        self._known: dict[int, bytes] = {}
        self._missing: set[int] = set()
        self._rows: dict[int, bytes] = {}
        self._next = 0

    def heard(
        self, counter: int, source: bytes, field: RepairField | None = None
    ) -> list[Recovered]:
        """Take in a verified frame, and give back what it proves, in order of discovery.

        Raises Contradiction where the symbols cannot all be true, and then has forgotten every
        equation, so that nothing is built on the false one.
        """
        if counter < self._next - self._columns:
            return []
        self._advance(counter)
        found: list[Recovered] = []
        try:
            self._learn(counter, source)
            solved = [] if field is None else self._state(counter, field)
            while solved or (self._rows and (solved := self._solved())):
                found += solved
                for each in solved:
                    self._learn(each.counter, each.source)
                solved = []
        except Contradiction:
            self._rows.clear()
            # What was heard is known, whatever had been made of it.
            self._known[counter] = source
            self._missing.discard(counter)
            raise
        return found

    def _advance(self, counter: int) -> None:
        """Forget what falls out of the horizon; a row's pivot is the oldest thing in it."""
        if counter < self._next:
            return
        first = max(0, counter + 1 - self._columns)
        self._missing.update(range(max(first, self._next), counter))
        for old in [old for old in self._rows if old < first]:
            del self._rows[old]
        if len(self._known) + len(self._missing) > 2 * self._columns:
            self._missing = {each for each in self._missing if each >= first}
            self._known = {at: source for at, source in self._known.items() if at >= first}
        self._next = counter + 1

    def _learn(self, counter: int, source: bytes) -> None:
        """A source is known from now on: take it out of every row."""
        if self._known.setdefault(counter, source) != source:
            raise Contradiction
        self._missing.discard(counter)
        if not self._rows:
            return
        column = counter % self._columns
        own = self._rows.pop(counter, None)
        if own is not None:
            # It was the pivot, and so stood in no other row.
            self._insert(self._without(own, column, source))
            return
        for pivot, row in self._rows.items():
            if row[column]:
                self._rows[pivot] = self._without(row, column, source)

    def _solved(self) -> list[Recovered]:
        """The rows with one unknown, taken out of the system."""
        zeros = self._columns - 1
        single = [
            pivot for pivot, row in self._rows.items() if row.count(0, 0, self._columns) == zeros
        ]
        return [Recovered(pivot, self._rows.pop(pivot)[self._columns :]) for pivot in single]

    def _state(self, counter: int, field: RepairField) -> list[Recovered]:
        """Insert the equation that a repair field states, or give the one unknown it has."""
        known, stride = self._known, self._layout.repair.stride
        oldest = counter - stride * field.held
        missing = [
            each
            for each in self._missing
            if oldest <= each < counter and (counter - each) % stride == 0
        ]
        # Nothing missing, nothing to win: how nearly every frame ends.
        if not missing or oldest < max(0, self._next - self._columns):
            return []
        sent = counter & ((1 << self._layout.sent_bits) - 1)
        row = bytearray(self._columns)
        number = int.from_bytes
        total = number(field.symbol)
        factors = _drawn_before(self._station, sent, field.held)
        for each, factor in zip(range(counter - stride, oldest - 1, -stride), factors, strict=True):
            if each in known:
                total ^= number(known[each].translate(times(factor)))
            else:
                row[each % self._columns] = factor
        rest = total.to_bytes(self._layout.symbol_bytes)
        if len(missing) > 1:
            self._insert(bytes(row) + rest)
            return []
        factor = row[missing[0] % self._columns]
        return [Recovered(missing[0], rest.translate(times(inverse(factor))))]

    def _insert(self, row: bytes) -> None:
        """Bring a row into the system, which stays reduced."""
        for pivot, other in self._rows.items():
            factor = row[pivot % self._columns]
            if factor:
                row = _plus(row, other, factor)
        oldest = self._oldest(row)
        if oldest is None:
            if any(row):
                raise Contradiction
            return
        column = oldest % self._columns
        row = row.translate(times(inverse(row[column])))
        for pivot, other in self._rows.items():
            if other[column]:
                self._rows[pivot] = _plus(other, row, other[column])
        self._rows[oldest] = row

    def _oldest(self, row: bytes) -> int | None:
        """The oldest unknown in a row: the columns, turned so that they end with the newest."""
        newest = self._next % self._columns
        rest = (row[newest : self._columns] + row[:newest]).lstrip(b"\0")
        return self._next - len(rest) if rest else None

    def _without(self, row: bytes, column: int, source: bytes) -> bytes:
        """The row with a now known source moved to the other side."""
        known = int.from_bytes(source.translate(times(row[column])), "big")
        left = int.from_bytes(row[self._columns :], "big") ^ known
        head = row[:column] + b"\0" + row[column + 1 : self._columns]
        return head + left.to_bytes(len(source), "big")


def _plus(row: bytes, other: bytes, factor: int) -> bytes:
    """row + factor × other, which is the same as minus."""
    added = int.from_bytes(row, "big") ^ int.from_bytes(other.translate(times(factor)), "big")
    return added.to_bytes(len(row), "big")
