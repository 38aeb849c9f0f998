"""The range coder: symbols with known frequencies ⇄ the narrowings of an interval.

State is an interval [low, low + range) of binary fractions, with `range` held between 2**24 and
2**32. A symbol narrows it to the part its frequency has of it; when the range falls below 2**24
both move up by 8 bits. Every operation on `range` fits 32 bits without sign; `low` is kept as one
long integer here, where a microcontroller keeps 32 bits and counts pending carries: the bits are
the same (tests/codec/modelled/test_range_coder.py runs both).

`packcodec.codec.modelled.ending` makes the shortest string in the interval of an encoder.

The top 1/64 of the first interval is left free: a payload whose first six bits are ones is not
one of these strings (`packcodec.codec.modelled.payload` puts plain payloads there).

`Encoder` and `Decoder` have the same methods, each taking the symbol to send and giving the symbol
sent; a decoder looks at none of what it is given. So one walk over a message serves both. What
runs are functions generated from the walk, which do the same (`packcodec.codec.modelled.payload`).
"""

from bisect import bisect_right
from collections.abc import Sequence
from typing import Protocol

from packcodec.errors import DecodeError, Reason

TOTAL_BITS = 16
TOTAL = 1 << TOTAL_BITS
FIRST_RANGE = 63 << 26
LEAST_RANGE = 1 << 24
WORD_BITS = 32
WIDEST_UNIFORM_BITS = 16
ROOM_ROWS = 16
# With so much room left nobody asks whether there is one more: there is. Sizes are 8 bits apart, so
# there is nearly always one that leaves less, but enough for an end.
SURE_BITS = 24

Cumulative = tuple[int, ...]
"""0, then for each symbol the sum of its frequency and of those before it; the last is 2**16."""

Step = tuple[int, int, int]
"""(start, width, total) of a narrowing. A width of 0 stands for all that is left from the start on:
a table's last symbol gets what the shift rounds off, so that no string is meaningless."""

END: tuple[Step, ...] = ()
"""The run of a list that has no more elements."""

Flags = tuple[tuple[Step, ...], ...]
"""Whether there is one more: the steps of no and yes, for each row of room that may be left."""


class Coder(Protocol):
    """What a walk over a message needs. `said` is the symbol to send."""

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        """A symbol by its table."""

    def uniform(self, n: int, said: int) -> int:
        """A number 0..n-1, all alike: log2 n bits."""

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        """Yes or no by the table for the bits of room that are left, one of 16; surely yes where
        `SURE_BITS` are left or more."""


class Encoder:
    """Notes the steps of what it is told to send, in runs: one up to the first question for one
    more, and one from each to the next. The questions, which a frame without end does not ask, are
    not in them; where the last was answered with no, the last run is `END`.
    """

    def __init__(self) -> None:
        self._steps: list[Step] = []
        self.runs: list[Sequence[Step]] = [self._steps]

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        self._steps.append(step_of(cumulative, said))
        return said

    def uniform(self, n: int, said: int) -> int:
        self._steps += digits(said, n)
        return said

    def more(self, tables: Sequence[Cumulative], said: int) -> int:  # noqa: ARG002
        self._steps = []
        self.runs.append(self._steps if said else END)
        return said


class Decoder:
    """Reads the string that is the last `bits` bits of `x`, all the room there is, then zeros."""

    def __init__(self, x: int, bits: int) -> None:
        self.range = FIRST_RANGE
        self.shifts = 0
        self._room_bits = bits
        self._left = (bits + 7) // 8 + WORD_BITS // 8
        self._x = (x & ((1 << bits) - 1)) << (8 * self._left - bits)
        self._left -= WORD_BITS // 8
        self.value = self._x >> 8 * self._left

    def symbol(self, cumulative: Cumulative, said: int) -> int:  # noqa: ARG002
        r = self.range >> TOTAL_BITS
        # The same symbol as by comparing r * cumulative[i] with the value, i from 0 on.
        symbol = bisect_right(cumulative, min(self.value // r, TOTAL - 1)) - 1
        start, end = cumulative[symbol], cumulative[symbol + 1]
        self._narrow(r * start, r * (end - start) if end < TOTAL else self.range - r * start)
        return symbol

    def uniform(self, n: int, said: int) -> int:  # noqa: ARG002
        number = 0
        for part, step in uniform_parts(n):
            r = self.range // part
            digit = self.value // r
            if digit >= part:
                raise meaningless()
            number |= digit << step
            self._narrow(r * digit, r)
        if number >= n:
            raise meaningless()
        return number

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        left = self._room_bits - spent_bits(self.range, self.shifts)
        return 1 if left >= SURE_BITS else self.symbol(tables[room_row(left)], said)

    def _narrow(self, start: int, range_: int) -> None:
        self.value -= start
        self.range = range_
        while self.range < LEAST_RANGE:
            if not self._left:
                raise cut_short()
            self._left -= 1
            self.range <<= 8
            self.value = self.value << 8 | self._x >> 8 * self._left & 0xFF
            self.shifts += 1


def spent_bits(range_: int, shifts: int) -> int:
    """Whole bits spent so far, the same on both sides."""
    return 8 * shifts + WORD_BITS - range_.bit_length()


def room_row(bits: int) -> int:
    """The row for the bits of room that are left."""
    return min(bits, ROOM_ROWS - 1) if bits > 0 else 0


def uniform_parts(n: int) -> tuple[tuple[int, int], ...]:
    """(how many values, how far left) of each digit of a number 0..n-1, the highest first.

    A digit has at most 2**16 values. The lower ones are whole powers of two, which may leave the
    highest a fraction too much: under 0.00005 bits.
    """
    if n <= TOTAL:
        return ((n, 0),)
    parts, shift = [], (n - 1).bit_length() - WIDEST_UNIFORM_BITS
    parts.append((-(-n >> shift), shift))
    while shift:
        width = min(shift, WIDEST_UNIFORM_BITS)
        shift -= width
        parts.append((1 << width, shift))
    return tuple(parts)


def digits(number: int, n: int) -> list[Step]:
    """The steps of a number 0..n-1, all alike."""
    return [((number >> step) % part, 1, part) for part, step in uniform_parts(n)]


def step_of(cumulative: Cumulative, symbol: int) -> Step:
    """The step of a symbol by its table; that of an only symbol narrows nothing."""
    start, end = cumulative[symbol], cumulative[symbol + 1]
    if end - start == TOTAL:
        return 0, 1, 1
    return start, end - start if end < TOTAL else 0, TOTAL


def steps_of(cumulative: Cumulative) -> tuple[Step, ...]:
    """The step of each symbol of a table."""
    return tuple(step_of(cumulative, symbol) for symbol in range(len(cumulative) - 1))


def meaningless() -> DecodeError:
    """The error of a string that no encoder makes."""
    return DecodeError(Reason.NOT_CANONICAL, "no record is sent as these bits")


def cut_short() -> DecodeError:
    """The error of a string that ends too early."""
    return DecodeError(Reason.WRONG_LENGTH, "the payload ends before its values do")
