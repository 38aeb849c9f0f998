"""The range coder: symbols with known frequencies ⇄ the shortest string of bits.

State is an interval [low, low + range) of binary fractions, with `range` held between 2**24 and
2**32. A symbol narrows it to the part its frequency has of it; when the range falls below 2**24
both move up by 8 bits. Every operation on `range` fits 32 bits without sign; `low` is kept as one
long integer here, where a microcontroller keeps 32 bits and counts pending carries: the bits are
the same (tests/codec/modelled/test_range_coder.py runs both).

The string is the shortest that, read as a fraction with zeros after its end, lies in the interval,
and that leaves no more than the last 32 bits unsaid. What it costs beyond the information is under
1.1 bits, for the frame tells its length.

The top 1/64 of the first interval is left free: a payload whose first six bits are ones is not
one of these strings (`packcodec.codec.modelled.payload` puts plain payloads there).

`Encoder` and `Decoder` have the same methods, each taking the symbol to send and giving the symbol
sent; a decoder looks at none of what it is given. So one walk over a message serves both. Both keep
the narrowings, from which `string` makes the bits for any room: a walk is taken once.
"""

from bisect import bisect_right
from collections.abc import Collection, Sequence
from typing import Protocol

from packcodec.errors import DecodeError, Reason

TOTAL_BITS = 16
TOTAL = 1 << TOTAL_BITS
FIRST_RANGE = 63 << 26
LEAST_RANGE = 1 << 24
WORD_BITS = 32
WIDEST_UNIFORM_BITS = 16
ROOM_ROWS = 16

Cumulative = tuple[int, ...]
"""0, then for each symbol the sum of its frequency and of those before it; the last is 2**16."""

Narrowing = tuple[int, int, int]
"""(start, end, total). A total of 0 stands for 2**16 of a table, whose last symbol gets what the
shift rounds off, so that no string is meaningless."""

More = tuple[Sequence[Cumulative], int]
"""Whether there is one more: a table for each room that may be left, and the answer."""


class Coder(Protocol):
    """What a walk over a message needs. `said` is the symbol to send."""

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        """A symbol by its table."""

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:
        """A symbol by frequencies of any total up to 2**16, some symbols being out of question."""

    def uniform(self, n: int, said: int) -> int:
        """A number 0..n-1, all alike: log2 n bits."""

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        """Yes or no by the table for the bits of room that are left, one of 16."""


class Encoder:
    """Notes the narrowings of what it is told to send."""

    def __init__(self) -> None:
        self.steps: list[Narrowing | More] = []

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        self.steps.append((cumulative[said], cumulative[said + 1], 0))
        return said

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:
        shares = left_of(frequencies, without)
        start = sum(shares[:said])
        self.steps.append((start, start + shares[said], sum(shares)))
        return said

    def uniform(self, n: int, said: int) -> int:
        for part, step in uniform_parts(n):
            digit = (said >> step) % part
            self.steps.append((digit, digit + 1, part))
        return said

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        self.steps.append((tables, said))
        return said


def string(steps: Sequence[Narrowing | More], room_bits: int) -> tuple[int, int]:
    """The shortest string after these steps, as (integer, number of bits)."""
    return shortest(*interval(steps, room_bits))


def interval(steps: Sequence[Narrowing | More], room_bits: int) -> tuple[int, int, int]:
    """low, range, and by how many bytes both have moved up."""
    low, range_, shifts = 0, FIRST_RANGE, 0
    for step in steps:
        if len(step) == 2:
            tables, said = step
            table = tables[room_row(room_bits - spent_bits(range_, shifts))]
            start, end, total = table[said], table[said + 1], 0
        else:
            start, end, total = step
        if total:
            r = range_ // total
            low += r * start
            range_ = r * (end - start)
        else:
            r = range_ >> TOTAL_BITS
            low += r * start
            range_ = r * (end - start) if end < TOTAL else range_ - r * start
        while range_ < LEAST_RANGE:
            range_ <<= 8
            low <<= 8
            shifts += 1
    return low, range_, shifts


def shortest(low: int, range_: int, shifts: int) -> tuple[int, int]:
    """The shortest string in an interval, as (integer, number of bits)."""
    zeros = (low ^ (low + range_ - 1)).bit_length()
    if low & ((1 << zeros) - 1):
        # Past low, the first number whose differing top bit is one: it has zeros - 1 zeros.
        zeros -= 1
    zeros = min(zeros, WORD_BITS)
    value = -(-low >> zeros)
    while zeros < WORD_BITS and not value & 1:
        value >>= 1
        zeros += 1
    return value, WORD_BITS + 8 * shifts - zeros


class Decoder:
    """Reads the string that is the last `bits` bits of `x`, all the room there is, and then zeros.

    `steps` are those of an encoder that says what was read.
    """

    def __init__(self, x: int, bits: int) -> None:
        self.steps: list[Narrowing | More] = []
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
        self.steps.append((start, end, 0))
        self.value -= r * start
        self.range = r * (end - start) if end < TOTAL else self.range - r * start
        if self.range < LEAST_RANGE:
            self._shift()
        return symbol

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:  # noqa: ARG002
        shares = left_of(frequencies, without)
        total = sum(shares)
        r = self.range // total
        target, start = self.value // r, 0
        for symbol, share in enumerate(shares):
            if target < start + share:
                self._narrow(r, start, start + share, total)
                return symbol
            start += share
        raise meaningless()

    def uniform(self, n: int, said: int) -> int:  # noqa: ARG002
        number = 0
        for part, step in uniform_parts(n):
            r = self.range // part
            digit = self.value // r
            if digit >= part:
                raise meaningless()
            number |= digit << step
            self._narrow(r, digit, digit + 1, part)
        if number >= n:
            raise meaningless()
        return number

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        room = room_row(self._room_bits - spent_bits(self.range, self.shifts))
        said = self.symbol(tables[room], said)
        self.steps[-1] = (tables, said)
        return said

    def _narrow(self, r: int, start: int, end: int, total: int) -> None:
        self.steps.append((start, end, total))
        self.value -= r * start
        self.range = r * (end - start)
        if self.range < LEAST_RANGE:
            self._shift()

    def _shift(self) -> None:
        while self.range < LEAST_RANGE:
            if not self._left:
                raise DecodeError(Reason.WRONG_LENGTH, "the payload ends before its values do")
            self._left -= 1
            self.range <<= 8
            self.value = self.value << 8 | self._x >> 8 * self._left & 0xFF
            self.shifts += 1


def spent_bits(range_: int, shifts: int) -> int:
    """Whole bits spent so far, the same on both sides."""
    return 8 * shifts + WORD_BITS - range_.bit_length()


def room_row(bits: int) -> int:
    return min(max(bits, 0), ROOM_ROWS - 1)


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


def left_of(frequencies: Sequence[int], without: Collection[int]) -> list[int]:
    shares = list(frequencies)
    for symbol in without:
        shares[symbol] = 0
    return shares


def meaningless() -> DecodeError:
    return DecodeError(Reason.NOT_CANONICAL, "no record is sent as these bits")
