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
sent; a decoder looks at none of what it is given. So one walk over a message serves both.
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

Cumulative = tuple[int, ...]
"""0, then for each symbol the sum of its frequency and of those before it; the last is 2**16."""


class Coder(Protocol):
    """What a walk over a message needs. `said` is the symbol to send."""

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        """A symbol by its table."""

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:
        """A symbol by frequencies of any total up to 2**16, some symbols being out of question."""

    def uniform(self, n: int, said: int) -> int:
        """A number 0..n-1, all alike: log2 n bits."""

    def spent_bits(self) -> int:
        """Whole bits spent so far, the same on both sides."""


class Encoder:
    """Narrows the interval; `finish` gives the bits."""

    def __init__(self) -> None:
        self.low = 0
        self.range = FIRST_RANGE
        self.shifts = 0

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        r = self.range >> TOTAL_BITS
        start, end = cumulative[said], cumulative[said + 1]
        self.low += r * start
        # What the shift rounds off belongs to the last symbol, so that no string is meaningless.
        self.range = r * (end - start) if end < TOTAL else self.range - r * start
        if self.range < LEAST_RANGE:
            self._shift()
        return said

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:
        shares = left_of(frequencies, without)
        r = self.range // sum(shares)
        self.low += r * sum(shares[:said])
        self.range = r * shares[said]
        if self.range < LEAST_RANGE:
            self._shift()
        return said

    def uniform(self, n: int, said: int) -> int:
        for part, step in uniform_parts(n):
            r = self.range // part
            self.low += r * ((said >> step) % part)
            self.range = r
            if self.range < LEAST_RANGE:
                self._shift()
        return said

    def spent_bits(self) -> int:
        return 8 * self.shifts + WORD_BITS - self.range.bit_length()

    def finish(self) -> tuple[int, int]:
        """The shortest string as (integer, number of bits)."""
        return shortest(self.low, self.range, self.shifts)

    def _shift(self) -> None:
        while self.range < LEAST_RANGE:
            self.range <<= 8
            self.low <<= 8
            self.shifts += 1


class Decoder:
    """Reads the string that is the last `bits` bits of `x`, and zeros after its end."""

    def __init__(self, x: int, bits: int) -> None:
        self._bits = bits
        self._left = (bits + 7) // 8 + WORD_BITS // 8
        self._x = (x & ((1 << bits) - 1)) << (8 * self._left - bits)
        self._left -= 4
        self.value = self._x >> 8 * self._left
        self.low = 0
        self.range = FIRST_RANGE
        self.shifts = 0

    def symbol(self, cumulative: Cumulative, said: int) -> int:  # noqa: ARG002
        r = self.range >> TOTAL_BITS
        # The same symbol as by comparing r * cumulative[i] with the value, i from 0 on.
        symbol = bisect_right(cumulative, min(self.value // r, TOTAL - 1)) - 1
        start, end = cumulative[symbol], cumulative[symbol + 1]
        self.low += r * start
        self.value -= r * start
        self.range = r * (end - start) if end < TOTAL else self.range - r * start
        if self.range < LEAST_RANGE:
            self._shift()
        return symbol

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:  # noqa: ARG002
        shares = left_of(frequencies, without)
        r = self.range // sum(shares)
        target = self.value // r
        for symbol, share in enumerate(shares):
            if target < share:
                start = r * sum(shares[:symbol])
                self.low += start
                self.value -= start
                self.range = r * share
                if self.range < LEAST_RANGE:
                    self._shift()
                return symbol
            target -= share
        raise meaningless()

    def uniform(self, n: int, said: int) -> int:  # noqa: ARG002
        number = 0
        for part, step in uniform_parts(n):
            r = self.range // part
            digit = self.value // r
            if digit >= part:
                raise meaningless()
            number |= digit << step
            self.low += r * digit
            self.value -= r * digit
            self.range = r
            if self.range < LEAST_RANGE:
                self._shift()
        if number >= n:
            raise meaningless()
        return number

    def spent_bits(self) -> int:
        return 8 * self.shifts + WORD_BITS - self.range.bit_length()

    def finish(self) -> tuple[int, int]:
        """The string that an encoder of the same symbols would have made."""
        return shortest(self.low, self.range, self.shifts)

    def _shift(self) -> None:
        while self.range < LEAST_RANGE:
            if not self._left:
                raise DecodeError(Reason.WRONG_LENGTH, "the payload ends before its values do")
            self._left -= 1
            self.range <<= 8
            self.low <<= 8
            self.value = self.value << 8 | self._x >> 8 * self._left & 0xFF
            self.shifts += 1


def shortest(low: int, range_: int, shifts: int) -> tuple[int, int]:
    """The shortest string in an interval after so many shifts, as (integer, number of bits)."""
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
