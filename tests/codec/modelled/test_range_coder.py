"""The range coder: what goes in comes out, at the cost of its information, in 32 bits."""

from itertools import accumulate
from math import log2

from hypothesis import given
from hypothesis import strategies as st

from packcodec.codec.modelled.coder import (
    FIRST_RANGE,
    LEAST_RANGE,
    TOTAL,
    Cumulative,
    Decoder,
    Encoder,
    uniform_parts,
)
from packcodec.errors import DecodeError

WORD = 1 << 32


@st.composite
def tables(draw: st.DrawFn) -> Cumulative:
    """Tables of 1 to 40 symbols, skewed so that a symbol may have almost all or almost nothing."""
    cuts = draw(
        st.one_of(
            st.sets(st.integers(1, TOTAL - 1), max_size=39),
            st.sets(st.integers(1, 60), max_size=39),
            st.sets(st.integers(TOTAL - 60, TOTAL - 1), max_size=39),
        )
    )
    return (0, *sorted(cuts), TOTAL)


@st.composite
def symbols(draw: st.DrawFn) -> tuple[str, object, int]:
    """(method, table, symbol)."""
    method = draw(st.sampled_from(["symbol", "weighted", "uniform"]))
    if method == "symbol":
        table = draw(tables())
        return method, table, draw(st.integers(0, len(table) - 2))
    if method == "weighted":
        shares = draw(st.lists(st.integers(0, 1600), min_size=1, max_size=40).filter(any))
        said = draw(st.sampled_from([at for at, share in enumerate(shares) if share]))
        return method, shares, said
    n = draw(st.one_of(st.integers(1, 300), st.integers(1, 1 << 64)))
    return method, n, draw(st.one_of(st.integers(0, n - 1), st.sampled_from([0, n - 1])))


MESSAGES = st.lists(symbols(), max_size=60)


def information(method: str, table: object, said: int) -> float:
    match table:
        case int():
            return log2(table)
        case tuple():
            return -log2((table[said + 1] - table[said]) / TOTAL)
        case list():
            return -log2(table[said] / sum(table))
    raise AssertionError(method)


class PendingCarry:
    """The encoder as a microcontroller keeps it: 32-bit words, and pending bytes for the carry.

    Every result is asserted to fit its word.
    """

    def __init__(self) -> None:
        self.low, self.range = 0, FIRST_RANGE
        self.out = bytearray()
        self.held, self.pending = -1, 0  # the last byte that a carry may change, and the 0xFFs

    def narrow(self, start: int, width: int) -> None:
        assert 0 <= start < WORD
        assert 0 < width < WORD
        low = (self.low + start) & (WORD - 1)
        if low < self.low:
            self._carry()
        self.low, self.range = low, width
        while self.range < LEAST_RANGE:
            self._emit(self.low >> 24)
            self.low = (self.low << 8) & (WORD - 1)
            self.range <<= 8
            assert self.range < WORD

    def _emit(self, byte: int) -> None:
        if byte == 0xFF:
            self.pending += 1
            return
        self._flush(0xFF)
        self.held = byte

    def _carry(self) -> None:
        self.held += 1
        assert 0 < self.held < 0x100
        self._flush(0x00)
        self.held = -1 if not self.out and self.held < 0 else self.held

    def _flush(self, follows: int) -> None:
        if self.held >= 0:
            self.out.append(self.held)
        self.out += bytes([follows]) * self.pending
        self.held, self.pending = -1, 0
        if follows == 0x00 and self.out:
            self.held = self.out.pop()

    def bits(self) -> str:
        """The whole of low, without choosing the shortest."""
        self._flush(0xFF)
        return "".join(f"{byte:08b}" for byte in self.out) + f"{self.low:032b}"


def spans_32_bits(range_: int, method: str, table: object, said: int) -> list[tuple[int, int]]:
    """(start, width) of each narrowing, as functions of the range before it, in 32 bits."""
    if method == "symbol":
        assert isinstance(table, tuple)
        r, start, end = range_ >> 16, table[said], table[said + 1]
        return [(r * start, r * (end - start) if end < TOTAL else range_ - r * start)]
    assert isinstance(table, list)
    r = range_ // sum(table)
    return [(r * sum(table[:said]), r * table[said])]


@given(MESSAGES)
def test_symbols_come_out_as_they_went_in(message: list[tuple[str, object, int]]) -> None:
    encoder = Encoder()
    for method, table, said in message:
        getattr(encoder, method)(table, said)
        assert LEAST_RANGE <= encoder.range < WORD
    x, bits = encoder.finish()
    decoder = Decoder(x, bits)
    for method, table, said in message:
        assert getattr(decoder, method)(table, 0) == said
        assert 0 <= decoder.value < decoder.range < WORD
    assert decoder.spent_bits() == encoder.spent_bits()


@given(MESSAGES)
def test_the_string_costs_its_information_and_little_more(
    message: list[tuple[str, object, int]],
) -> None:
    encoder = Encoder()
    for symbol in message:
        getattr(encoder, symbol[0])(*symbol[1:])
    _, bits = encoder.finish()
    ideal = sum(information(*symbol) for symbol in message)
    # The string's end, the 1/64 left free, and at most 1/128 of the range a narrowing, lost to
    # rounding: r = range >> 16 is at least 256.
    narrowings = sum(
        len(uniform_parts(table)) if isinstance(table, int) else 1 for _, table, _ in message
    )
    assert bits <= ideal + 1.1 + log2(64 / 63) + narrowings * log2(1 + 1 / 128)


@given(MESSAGES)
def test_no_shorter_string_would_do(message: list[tuple[str, object, int]]) -> None:
    encoder = Encoder()
    for symbol in message:
        getattr(encoder, symbol[0])(*symbol[1:])
    x, bits = encoder.finish()
    width = 32 + 8 * encoder.shifts
    assert encoder.low <= x << (width - bits) < encoder.low + encoder.range
    if bits > 8 * encoder.shifts:
        step = 1 << (width - bits + 1)
        assert -(-encoder.low // step) * step >= encoder.low + encoder.range


@given(st.lists(symbols().filter(lambda symbol: symbol[0] != "uniform"), max_size=60))
def test_pending_carries_give_the_same_bits(message: list[tuple[str, object, int]]) -> None:
    encoder, reference = Encoder(), PendingCarry()
    for symbol in message:
        for start, width in spans_32_bits(reference.range, *symbol):
            reference.narrow(start, width)
        getattr(encoder, symbol[0])(*symbol[1:])
        assert reference.range == encoder.range
    assert int("0" + reference.bits(), 2) == encoder.low


@given(st.binary(max_size=20), MESSAGES)
def test_any_bytes_give_symbols_or_an_error(
    data: bytes, message: list[tuple[str, object, int]]
) -> None:
    decoder = Decoder(int.from_bytes(data, "big"), 8 * len(data))
    try:
        for method, table, _ in message:
            said = getattr(decoder, method)(table, 0)
            assert information(method, table, said) >= 0
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
    shifts = list(accumulate((part.bit_length() - 1 for part, _ in parts[1:]), initial=0))
    assert parts[0][1] == shifts[-1]


def test_the_first_interval_leaves_six_ones_free() -> None:
    assert FIRST_RANGE / WORD == 63 / 64
    encoder = Encoder()
    encoder.symbol((0, TOTAL - 1, TOTAL), 1)
    x, bits = encoder.finish()
    assert f"{x:0{bits}b}"[:6] != "111111"
