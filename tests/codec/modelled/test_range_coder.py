"""The range coder: what goes in comes out, at the cost of its information, in 32 bits."""

from dataclasses import dataclass
from math import log2
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from packcodec.codec.modelled.coder import (
    FIRST_RANGE,
    LEAST_RANGE,
    TOTAL,
    Decoder,
    Encoder,
    uniform_parts,
)
from packcodec.codec.modelled.ending import Course, State, shortest
from packcodec.errors import DecodeError

WORD = 1 << 32


@dataclass(frozen=True)
class Symbol:
    """A symbol as one of the coder's methods takes it."""

    method: str
    tables: tuple[Any, ...]
    said: int

    def through(self, coder: Any) -> int:
        said = self.said if isinstance(coder, Encoder) else 0
        result: int = getattr(coder, self.method)(*self.tables, said)
        return result

    def narrowings(self) -> list[tuple[int, int, int]]:
        """(start, end, total) of each narrowing."""
        if self.method == "symbol":
            [table] = self.tables
            return [(table[self.said], table[self.said + 1], TOTAL)]
        found = []
        for part, step in uniform_parts(self.tables[0]):
            digit = (self.said >> step) % part
            found.append((digit, digit + 1, part))
        return found

    def bits(self) -> float:
        if self.method == "uniform":
            return log2(self.tables[0])
        [(start, end, total)] = self.narrowings()
        return log2(total / (end - start))


@st.composite
def symbols(draw: st.DrawFn) -> Symbol:
    """Skewed too: a symbol may have almost all of its table, or almost nothing."""
    method = draw(st.sampled_from(["symbol", "uniform"]))
    if method == "symbol":
        first, last = draw(st.sampled_from([(1, TOTAL - 1), (1, 60), (TOTAL - 60, TOTAL - 1)]))
        cuts = draw(st.sets(st.integers(first, last), max_size=39))
        table = (0, *sorted(cuts), TOTAL)
        return Symbol(method, (table,), draw(st.integers(0, len(table) - 2)))
    n = draw(st.one_of(st.integers(1, 300), st.integers(1, 1 << 64)))
    said = draw(st.one_of(st.integers(0, n - 1), st.sampled_from([0, n - 1])))
    return Symbol(method, (n,), said)


MESSAGES = st.lists(symbols(), max_size=60)


def encoded(message: list[Symbol]) -> Encoder:
    encoder = Encoder()
    for symbol in message:
        assert symbol.through(encoder) == symbol.said
    return encoder


def interval(encoder: Encoder) -> State:
    """low, range and shifts after all that the encoder was told."""
    return Course(encoder.runs).endless


def bits_of(message: list[Symbol]) -> tuple[int, int]:
    return shortest(*interval(encoded(message)))


class PendingCarry:
    """The encoder as a microcontroller keeps it: 32-bit words, and bytes that a carry may change.

    Held back are one byte and a run of 0xFF after it. Every result is asserted to fit its word.
    """

    def __init__(self) -> None:
        self.low, self.range = 0, FIRST_RANGE
        self.out = bytearray()
        self.held: int | None = None
        self.run = 0

    def narrow(self, start: int, end: int, total: int, *, rest_to_last: bool) -> None:
        r = self.range // total
        assert r * end < WORD
        low = (self.low + r * start) & (WORD - 1)
        if low < self.low:
            assert self.held is not None
            assert self.held < 0xFF
            self.release(self.held + 1, 0x00)
        last = rest_to_last and end == total
        self.low, self.range = low, self.range - r * start if last else r * (end - start)
        while self.range < LEAST_RANGE:
            self.hold(self.low >> 24)
            self.low, self.range = (self.low << 8) & (WORD - 1), self.range << 8
            assert 0 < self.range < WORD

    def hold(self, byte: int) -> None:
        if byte == 0xFF:
            self.run += 1
            return
        if self.held is not None:
            self.release(self.held, 0xFF)
        else:
            assert self.run == 0  # the first interval ends below 0xFC...
        self.held = byte

    def release(self, held: int, follows: int) -> None:
        """Send the held byte and its run, all but the last byte, which is held again."""
        sent = bytes([held]) + bytes([follows]) * self.run
        self.out += sent if follows == 0xFF else sent[:-1]
        self.held, self.run = sent[-1], 0

    def whole_low(self) -> int:
        held = b"" if self.held is None else bytes([self.held])
        sent = bytes(self.out) + held + b"\xff" * self.run
        return int.from_bytes(sent, "big") << 32 | self.low


@given(MESSAGES)
def test_symbols_come_out_as_they_went_in(message: list[Symbol]) -> None:
    decoder = Decoder(*bits_of(message))
    for symbol in message:
        assert symbol.through(decoder) == symbol.said
        assert 0 <= decoder.value < decoder.range < WORD


@given(MESSAGES)
def test_the_string_costs_its_information_and_little_more(message: list[Symbol]) -> None:
    _, bits = bits_of(message)
    ideal = sum(symbol.bits() for symbol in message)
    # The string's end, the 1/64 left free, and what rounding may lose at the least range there is.
    rounding = sum(
        log2(LEAST_RANGE / (LEAST_RANGE - total))
        for symbol in message
        for *_, total in symbol.narrowings()
    )
    assert bits <= ideal + 1.1 + log2(64 / 63) + rounding + 0.00005 * len(message)


@given(MESSAGES)
def test_no_shorter_string_would_do(message: list[Symbol]) -> None:
    low, range_, shifts = interval(encoded(message))
    x, bits = shortest(low, range_, shifts)
    width = 32 + 8 * shifts
    assert low <= x << (width - bits) < low + range_
    if bits > 8 * shifts:
        step = 1 << (width - bits + 1)
        assert -(-low // step) * step >= low + range_


@given(MESSAGES)
def test_32_bits_and_pending_carries_give_the_same(message: list[Symbol]) -> None:
    encoder, reference = Encoder(), PendingCarry()
    for symbol in message:
        symbol.through(encoder)
        for narrowing in symbol.narrowings():
            reference.narrow(*narrowing, rest_to_last=symbol.method == "symbol")
        low, range_, _ = interval(encoder)
        assert LEAST_RANGE <= range_ < WORD
        assert reference.range == range_
        assert reference.whole_low() == low


@given(st.binary(max_size=20), MESSAGES)
def test_any_bytes_give_symbols_or_an_error(data: bytes, message: list[Symbol]) -> None:
    decoder = Decoder(int.from_bytes(data, "big"), 8 * len(data))
    try:
        for symbol in message:
            said = symbol.through(decoder)
            assert Symbol(symbol.method, symbol.tables, said).bits() >= 0
    except DecodeError:
        pass
    # Never more than the packet and four bytes of zeros: the time is linear in the packet.
    assert decoder.shifts <= len(data)


@given(st.integers(1, 1 << 64))
def test_a_uniform_number_costs_log2_of_its_range(n: int) -> None:
    parts = uniform_parts(n)
    assert all(part <= TOTAL for part, _ in parts)
    covered = 1
    for part, _ in parts:
        covered *= part
    assert n <= covered
    assert log2(covered) - log2(n) < 0.00005
    assert parts[0][1] == sum(part.bit_length() - 1 for part, _ in parts[1:])


def test_no_more_than_the_last_word_is_left_unsaid() -> None:
    """An interval across a carry holds a number of more zeros than a decoder would supply."""
    assert shortest((1 << 60) - (1 << 23), 1 << 24, 6) == (1 << 28, 48)


def test_the_first_interval_leaves_six_ones_free() -> None:
    assert FIRST_RANGE / WORD == 63 / 64
    encoder = Encoder()
    encoder.symbol((0, TOTAL - 1, TOTAL), 1)
    x, bits = shortest(*interval(encoder))
    assert f"{x:0{bits}b}"[:6] != "111111"
