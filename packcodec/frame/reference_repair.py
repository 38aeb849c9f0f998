"""Repair symbols, slow and plain: straight from spec/repair.md, on text of 0 and 1.

Beside the schema and the errors it shares no code with `packcodec.frame.repair`, `source` and
`gf256`. Test vectors are made with it.
"""

from collections.abc import Iterator, Mapping, Sequence

from packcodec.codec import reference
from packcodec.codec.record import Values
from packcodec.errors import DecodeError, Reason
from packcodec.layout.model import Layout, RepairLayout
from packcodec.schema.model import Message, Schema

# More zeros than any payload can have lost at its end.
ZEROS = "0" * 8 * 340


def carries(repair: RepairLayout, message: Message, sequence: int) -> bool:
    """Whether the frame of this message with this sequence has a repair field."""
    of, every = repair.repair.symbols, repair.repair.every
    return message.name in repair.repair.messages and sequence * of % every < of


def source(layout: Layout, code: int, payload: str) -> bytes:
    """1 | message | payload | zeros, in `symbol_bytes`; zeros where that does not fit."""
    assert layout.repair is not None
    size = 8 * layout.repair.symbol_bytes
    text = "1" + _code_bits(layout.schema, code) + payload
    if "1" in text[size:] or len(text) - len(payload) > size:
        return bytes(layout.repair.symbol_bytes)
    return int(text[:size].ljust(size, "0"), 2).to_bytes(layout.repair.symbol_bytes, "big")


def field(
    repair: RepairLayout, station: int, counter: int, ring: Sequence[bytes]
) -> tuple[int, bytes]:
    """Held and symbol of a frame; `ring` is the sources before it, the oldest first."""
    stride = repair.repair.stride
    held = min(repair.repair.window, len(ring) // stride)
    symbol = bytes(repair.symbol_bytes)
    for k, a in enumerate(coefficients(station, counter % 2**repair.sent_bits, held), 1):
        symbol = plus(symbol, times(a, ring[-k * stride]))
    return held, symbol


def field_bits(repair: RepairLayout, held: int, symbol: bytes) -> str:
    """The field as it stands in a frame; `held` may be one that no frame may say."""
    bits = "".join(format(byte, "08b") for byte in symbol)
    return format(held, f"0{repair.held_bits}b") + bits


def split(repair: RepairLayout, bits: str) -> tuple[tuple[int, bytes], str]:
    """Held and symbol, and the bits after them. Raises DecodeError."""
    end = repair.held_bits + 8 * repair.symbol_bytes
    if len(bits) < end:
        raise DecodeError(Reason.WRONG_LENGTH, "the frame ends before its payload begins")
    held = int(bits[: repair.held_bits], 2)
    if held > repair.repair.window:
        raise DecodeError(Reason.OUT_OF_RANGE, f"holds {held} sources")
    symbol = int(bits[repair.held_bits : end], 2).to_bytes(repair.symbol_bytes, "big")
    return (held, symbol), bits[end:]


def coefficients(station: int, s: int, count: int) -> list[int]:
    """a(1) to a(count), step for step as the page has them."""
    x = (station * 0x9E3779B1 + s) % 2**32
    x = (x ^ (x >> 16)) * 0x85EBCA6B % 2**32
    x = (x ^ (x >> 13)) * 0xC2B2AE35 % 2**32
    x = x ^ (x >> 16) or 1
    drawn: list[int] = []
    while len(drawn) < count:
        x = (x ^ (x << 13)) % 2**32
        x = x ^ (x >> 17)
        x = (x ^ (x << 5)) % 2**32
        if x >> 24:
            drawn.append(x >> 24)
    return drawn


def product(one: int, other: int) -> int:
    """In GF(256): as polynomials over GF(2), reduced by long division."""
    total = 0
    for bit in range(8):
        if other >> bit & 1:
            total ^= one << bit
    for bit in range(14, 7, -1):
        if total >> bit & 1:
            total ^= 0x11D << bit - 8
    return total


def times(factor: int, symbol: bytes) -> bytes:
    """A symbol times a number of the field."""
    return bytes(product(factor, byte) for byte in symbol)


def plus(one: bytes, other: bytes) -> bytes:
    """The sum of two symbols, which is also their difference."""
    return bytes(a ^ b for a, b in zip(one, other, strict=True))


def won_back(
    repair: RepairLayout,
    station: int,
    sources: Mapping[int, bytes],
    fields: Mapping[int, tuple[int, bytes]],
) -> dict[int, bytes]:
    """The sources that the fields heard determine alone, by counter.

    `sources` are those of all frames heard, `fields` what those of them said that carry one.
    """
    rows: list[tuple[dict[int, int], bytes]] = []
    for counter, (held, symbol) in fields.items():
        unknown: dict[int, int] = {}
        factors = coefficients(station, counter % 2**repair.sent_bits, held)
        for k, a in enumerate(factors, 1):
            other = counter - k * repair.repair.stride
            if other in sources:
                symbol = plus(symbol, times(a, sources[other]))
            else:
                unknown[other] = a
        rows.append((unknown, symbol))
    return {
        counter: symbol
        for unknown, symbol in _reduced(rows)
        for counter in unknown
        if len(unknown) == 1
    }


def _reduced(rows: list[tuple[dict[int, int], bytes]]) -> list[tuple[dict[int, int], bytes]]:
    """The same equations with each its own leading unknown (Gauss and Jordan)."""
    done: list[tuple[dict[int, int], bytes]] = []
    while rows:
        unknown, symbol = rows.pop()
        if not unknown:
            continue
        lead = next(iter(unknown))
        inverse = next(each for each in range(256) if product(each, unknown[lead]) == 1)
        pivot = ({at: product(inverse, a) for at, a in unknown.items()}, times(inverse, symbol))
        done = [*(_without(row, lead, pivot) for row in done), pivot]
        rows = [_without(row, lead, pivot) for row in rows]
    return done


def _without(
    row: tuple[dict[int, int], bytes], lead: int, pivot: tuple[dict[int, int], bytes]
) -> tuple[dict[int, int], bytes]:
    """`row` less so much of `pivot` that nothing of the unknown `lead` is left in it."""
    (unknown, symbol), (others, sum_of_others) = row, pivot
    factor = unknown.get(lead, 0)
    left = {
        at: unknown.get(at, 0) ^ product(factor, others.get(at, 0))
        for at in (*unknown, *(each for each in others if each not in unknown))
    }
    symbol = plus(symbol, times(factor, sum_of_others))
    return {at: a for at, a in left.items() if a}, symbol


def reopened(schema: Schema, source: bytes) -> tuple[str, Values] | None:
    """Message and values of a source; None for zeros. Raises DecodeError for what is none."""
    bits = "".join(format(byte, "08b") for byte in source)
    if "1" not in bits:
        return None
    for message in schema.messages:
        lead = "1" + _code_bits(schema, message.code)
        if bits.startswith(lead):
            for values in _payloads(schema, message, bits.removeprefix(lead) + ZEROS):
                return message.name, values
    raise DecodeError(Reason.UNKNOWN_MESSAGE, "not a source")


def _payloads(schema: Schema, message: Message, bits: str) -> Iterator[Values]:
    """The readings of the first bits after which all are zero."""
    for end in range(len(bits.rstrip("0")), len(bits)):
        try:
            yield reference.decode_bits(schema, message, bits[:end])
        except DecodeError:
            continue


def _code_bits(schema: Schema, code: int) -> str:
    width = max(message.code for message in schema.messages).bit_length()
    return format(code, f"0{width}b") if width else ""
