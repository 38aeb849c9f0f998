"""The reference frame: slow, plain, and straight from spec/wire-format.md, on text of 0 and 1.

Beside the schema, the identity and the errors it shares no code with `packcodec.frame.codec`; its
payloads are those of `packcodec.codec.reference`. Test vectors are made with it.
"""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from packcodec.codec import reference
from packcodec.codec.record import PartialTime, Record
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.layout.checks import Check
from packcodec.layout.model import Layout
from packcodec.schema.model import Message, Schema

LONGEST_BYTES = 340


def encode(
    layout: Layout, name: str, values: Mapping[str, Any], *, station: int, counter: int
) -> bytes:
    """The frame of one record; raises EncodeError."""
    message = next(one for one in layout.schema.messages if one.name == name)
    payload = reference.encode_bits(layout.schema, message, values)
    return frame_of(layout, message.code, payload, station=station, counter=counter)


def frame_of(
    layout: Layout, code: int, payload: str, *, station: int, counter: int, pad: str = ""
) -> bytes:
    """The frame around any payload bits, right in all else; `pad` in place of zero bits."""
    frame = layout.schema.frame
    header = [
        _bits(layout.tag, frame.tag_bits),
        _bits(code, frame.message_bits),
        _bits(station, frame.station_bits),
        _bits(counter % 2**frame.sequence_bits, frame.sequence_bits),
    ]
    body = "".join(header) + payload + pad
    body += "0" * (-len(body) % 8)
    return _bytes(body + _check_bits(layout, body, code, station))


def decode(
    layout: Layout,
    frame: bytes,
    *,
    station: int = 0,
    message: str = "",
    sequence: int | None = None,
) -> Record:
    """The record in a frame; what the header carries goes before what is told here.

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
    if sent_check != _check_bits(layout, body, code, station):
        raise DecodeError(Reason.FAILED_CHECK, "the check is wrong")
    kind = _message_with(layout.schema, code)
    return Record(
        kind.name,
        reference.decode_bits(layout.schema, kind, payload),
        station,
        sent_sequence if sent_sequence is not None else sequence,
    )


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
    widths, check = layout.schema.frame, layout.check
    unsent = [
        "".join(_bits(byte, 8) for byte in layout.identity),
        _bits(0 if widths.message_bits else code, 8),
        _bits(0 if widths.station_bits else station, 32),
        _bits((len(body) + check.bits) // 8, 16),
    ]
    return _bits(check_value(check, "".join(unsent) + body), check.bits)


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
