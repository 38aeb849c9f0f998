"""The reference frame: slow, plain, and straight from spec/wire-format.md, on text of 0 and 1.

Seals are those of spec/seal.md, repair fields of spec/repair.md (`reference_repair`). Beside the
schema, the identity and the errors it shares no code with `packcodec.frame.codec`; its payloads are
those of `packcodec.codec.reference`, and the cipher is its caller's. Test vectors are made with it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Protocol

from packcodec.codec import reference
from packcodec.codec.record import PartialTime, Record
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.frame import reference_repair as repairs
from packcodec.layout.checks import Check
from packcodec.layout.model import Layout
from packcodec.schema.model import Message, Schema

LONGEST_BYTES = 340
# What a carrier that says the sequence is sure to say of it.
CARRIED_BITS = 16


class Cipher(Protocol):
    """AES-CCM under one key, as `packcodec.frame.seal.Key`."""

    def encrypt(self, tag: int, nonce: bytes, plain: bytes, associated: bytes) -> bytes:
        """Ciphertext and a tag of `tag` bytes."""

    def decrypt(self, tag: int, nonce: bytes, sealed: bytes, associated: bytes) -> bytes | None:
        """The plaintext; None where the tag is not right."""


@dataclass(frozen=True, slots=True)
class Read:
    """What a frame says: its record, and the whole counter if it is sealed.

    `repair` is held and symbol where the frame carries them.
    """

    record: Record
    counter: int | None = None
    repair: tuple[int, bytes] | None = None

    def to_json(self) -> dict[str, Any]:
        """The record as JSON data, and `counter` and `repair` where the frame has them."""
        said: dict[str, Any] = self.record.to_json()
        if self.counter is not None:
            said["counter"] = self.counter
        if self.repair is not None:
            held, symbol = self.repair
            said["repair"] = {"held": held, "symbol": symbol.hex()}
        return said


def encode(
    layout: Layout,
    name: str,
    values: Mapping[str, Any],
    *,
    station: int,
    counter: int,
    key: Cipher | None = None,
    ring: Sequence[bytes] = (),
) -> bytes:
    """The frame of one record; raises EncodeError.

    `key` is the station's, where the schema has a seal; `ring` the sources before this frame, the
    oldest first.
    """
    message = next(one for one in layout.schema.messages if one.name == name)
    payload = reference.encode_bits(layout.schema, message, values)
    field = ""
    if layout.repair is not None and repairs.carries(layout.repair, message, counter):
        said = repairs.field(layout.repair, station, counter, ring)
        field = repairs.field_bits(layout.repair, *said)
    return frame_of(
        layout, message.code, field + payload, station=station, counter=counter, key=key
    )


def frame_of(
    layout: Layout,
    code: int,
    payload: str,
    *,
    station: int,
    counter: int,
    pad: str = "",
    key: Cipher | None = None,
) -> bytes:
    """The frame around any repair field and payload bits, right in all else; `pad` in place of
    zero bits.
    """
    frame = layout.schema.frame
    header = [
        _bits(layout.tag, frame.tag_bits),
        _bits(code, frame.message_bits),
        _bits(station, frame.station_bits),
        _bits(counter % 2**frame.sequence_bits, frame.sequence_bits),
    ]
    body = "".join(header) + payload + pad
    body += "0" * (-len(body) % 8)
    if layout.check.sealed:
        return _sealed(layout, _bytes(body), code, station, counter, key)
    return _bytes(body + _check_bits(layout, body, code, station))


def decode(
    layout: Layout,
    frame: bytes,
    *,
    station: int = 0,
    message: str = "",
    sequence: int | None = None,
) -> Record:
    """The record in a frame without a seal, as `read`."""
    return read(layout, frame, station=station, message=message, sequence=sequence).record


def read(
    layout: Layout,
    frame: bytes,
    *,
    station: int = 0,
    message: str = "",
    sequence: int | None = None,
    key: Cipher | None = None,
    expected: int = 0,
) -> Read:
    """What a frame says; what the header carries goes before what is told here.

    `key` and `expected`, the counter expected next, are those of the station that the frame names.
    Raises DecodeError. Times that are sent modulo a span stay PartialTime.
    """
    widths, check = layout.schema.frame, layout.check
    bits = "".join(_bits(byte, 8) for byte in frame)
    body, sent_check = bits[: -check.bits], bits[-check.bits :]
    if len(frame) > LONGEST_BYTES or len(bits) < check.bits or len(body) < layout.header_bits:
        raise DecodeError(Reason.WRONG_LENGTH, "too short or too long")
    tag, rest = _split(body, widths.tag_bits)
    sent_code, rest = _split(rest, widths.message_bits)
    sent_station, rest = _split(rest, widths.station_bits)
    sent_sequence, payload = _split(rest, widths.sequence_bits)
    if tag is not None and tag != layout.tag:
        raise DecodeError(Reason.UNKNOWN_TAG, "another schema")
    if sent_station is not None:
        station = sent_station
    code = sent_code if sent_code is not None else _code_of(layout.schema, message)
    if sent_sequence is not None:
        sequence = sent_sequence
    counter = None
    if check.sealed:
        assert sequence is not None
        counter = whole_counter(sequence, expected, widths.sequence_bits or CARRIED_BITS)
        payload = _opened(layout, frame, code, station, counter, key)
    elif sent_check != _check_bits(layout, body, code, station):
        raise DecodeError(Reason.FAILED_CHECK, "the check is wrong")
    kind, field = _message_with(layout.schema, code), None
    if layout.repair is not None:
        assert sequence is not None
        if repairs.carries(layout.repair, kind, sequence):
            field, payload = repairs.split(layout.repair, payload)
    values = reference.decode_bits(layout.schema, kind, payload)
    return Read(Record(kind.name, values, station, sequence), counter, field)


def whole_counter(sent: int, expected: int, bits: int) -> int:
    """Of all counters whose last bits are those sent, the one nearest to `expected`.

    Of two as near it is the greater.
    """
    circle = 1 << bits
    first = expected // circle * circle + sent % circle
    near = [first + turn * circle for turn in (-1, 0, 1)]
    counters = [each for each in near if 0 <= each < 1 << 32]
    return min(counters, key=lambda each: (abs(each - expected), -each))


def resolved(value: Any, epoch: datetime, received: datetime) -> Any:
    """`value` with every PartialTime as the instant nearest to `received`, the earlier of two."""
    match value:
        case dict():
            return {name: resolved(inner, epoch, received) for name, inner in value.items()}
        case list():
            return [resolved(inner, epoch, received) for inner in value]
        case PartialTime():
            around = int((received - epoch).total_seconds() // value.span_s)
            instants = [
                epoch + timedelta(seconds=turn * value.span_s + value.offset_s)
                for turn in (around - 2, around - 1, around, around + 1, around + 2)
            ]
            return min(instants, key=lambda instant: (abs(instant - received), instant))
        case _:
            return value


def check_value(check: Check, bits: str) -> int:
    """The CRC of a text of bits, a bit at a time: register all ones before, inverted after."""
    size = 1 << check.bits
    register = size - 1
    for bit in bits:
        carried = register >= size // 2
        register = register * 2 % size
        if carried != (bit == "1"):
            register ^= check.polynomial
    return size - 1 - register


def _check_bits(layout: Layout, body: str, code: int, station: int) -> str:
    unsent = _unsent(layout, (len(body) + layout.check.bits) // 8, code, station)
    data = "".join(_bits(byte, 8) for byte in unsent) + body
    return _bits(check_value(layout.check, data), layout.check.bits)


def _unsent(layout: Layout, length: int, code: int, station: int) -> bytes:
    """What both ends know of a frame of `length` bytes and nobody sends."""
    widths = layout.schema.frame
    message = 0 if widths.message_bits else code
    sender = 0 if widths.station_bits else station
    return (
        layout.identity
        + message.to_bytes(1, "big")
        + sender.to_bytes(4, "big")
        + length.to_bytes(2, "big")
    )


def _sealed(
    layout: Layout, body: bytes, code: int, station: int, counter: int, key: Cipher | None
) -> bytes:
    if key is None:
        raise EncodeError(f"station {station} has no key")
    tag = layout.check.octets
    clear = layout.header_bits // 8 if layout.check.hides else len(body)
    associated = _unsent(layout, len(body) + tag, code, station) + body[:clear]
    return body[:clear] + key.encrypt(tag, _nonce(station, counter), body[clear:], associated)


def _opened(
    layout: Layout, frame: bytes, code: int, station: int, counter: int, key: Cipher | None
) -> str:
    """Repair field, payload and padding of a sealed frame."""
    if key is None:
        raise DecodeError(Reason.FAILED_CHECK, f"station {station} has no key")
    tag = layout.check.octets
    clear = layout.header_bits // 8 if layout.check.hides else len(frame) - tag
    associated = _unsent(layout, len(frame), code, station) + frame[:clear]
    plain = key.decrypt(tag, _nonce(station, counter), frame[clear:], associated)
    if plain is None:
        raise DecodeError(Reason.FAILED_CHECK, "the tag is wrong")
    return "".join(_bits(byte, 8) for byte in frame[:clear] + plain)[layout.header_bits :]


def _nonce(station: int, counter: int) -> bytes:
    """Station, 0 for frames, counter."""
    return station.to_bytes(8, "big") + bytes(1) + counter.to_bytes(4, "big")


def _code_of(schema: Schema, name: str) -> int:
    codes = {message.name: message.code for message in schema.messages}
    return next(iter(codes.values())) if len(codes) == 1 else codes[name]


def _message_with(schema: Schema, code: int) -> Message:
    for message in schema.messages:
        if message.code == code:
            return message
    raise DecodeError(Reason.UNKNOWN_MESSAGE, f"no message has the code {code}")


def _bits(number: int, width: int) -> str:
    if not width:
        return ""
    if not 0 <= number < 2**width:
        raise EncodeError(f"{number} does not fit {width} bits")
    return format(number, f"0{width}b")


def _bytes(bits: str) -> bytes:
    return bytes(int(bits[at : at + 8], 2) for at in range(0, len(bits), 8))


def _split(bits: str, width: int) -> tuple[int | None, str]:
    """The number in the first `width` bits, None where there are none, and the bits after it."""
    return (int(bits[:width], 2) if width else None), bits[width:]
