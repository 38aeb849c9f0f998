"""The reference codec: slow, plain, and straight from spec/wire-format.md, on bitstring.

It shares no code with the compiled codec but the schema, the record types and the errors. Each
kind of field has one function to write it and one to read it, side by side, in the order of the
spec. Test vectors are made with it.
"""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from math import floor
from typing import Any

import bitstring

from packcodec.codec.record import AtLeast, AtMost, PartialTime, Values
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)


def encode_bits(schema: Schema, message: Message, values: Mapping[str, Any]) -> str:
    """The payload as text of 0 and 1, without padding; raises EncodeError."""
    out = bitstring.BitArray()
    _write_group(out, schema, message.fields, values, message.name)
    return str(out.bin)


def encode(schema: Schema, message: Message, values: Mapping[str, Any]) -> bytes:
    """The payload zero-padded to a byte; raises EncodeError."""
    bits = encode_bits(schema, message, values)
    bits += "0" * (-len(bits) % 8)
    return bytes(bitstring.Bits(bin=bits).tobytes()) if bits else b""


def decode(schema: Schema, message: Message, payload: bytes) -> Values:
    """The values of a zero-padded payload; raises DecodeError."""
    return decode_bits(schema, message, str(bitstring.Bits(bytes(payload)).bin))


def decode_bits(schema: Schema, message: Message, bits: str) -> Values:
    """The values of a payload as text of 0 and 1, with up to 7 zeros after it."""
    reader = _Reader(bits)
    values = _read_group(reader, schema, message.fields, message.name)
    rest = reader.bits[reader.at :]
    if len(rest) > 7:
        raise DecodeError(Reason.WRONG_LENGTH, f"{len(rest)} bits are left over")
    if "1" in rest:
        raise DecodeError(Reason.NONZERO_PAD, "the padding is not zero")
    return values


class _Reader:
    def __init__(self, bits: str) -> None:
        self.bits = bits
        self.at = 0

    def code(self, codes: int, place: str) -> int:
        width = _width(codes)
        if self.at + width > len(self.bits):
            raise DecodeError(Reason.WRONG_LENGTH, "the payload ends too soon", place=place)
        number = int(self.bits[self.at : self.at + width] or "0", 2)
        self.at += width
        if number >= codes:
            raise DecodeError(Reason.OUT_OF_RANGE, f"code {number} is unknown", place=place)
        return number


def _width(codes: int) -> int:
    width = 0
    while 2**width < codes:
        width += 1
    return width


def _write_code(out: bitstring.BitArray, code: int, codes: int, place: str) -> None:
    if not 0 <= code < codes:
        raise EncodeError("does not fit its range", place=place)
    width = _width(codes)
    if width:
        out.append(bitstring.Bits(uint=code, length=width))


# A group: the presence bits of its optional fields, then its fields.


def _write_group(
    out: bitstring.BitArray,
    schema: Schema,
    fields: tuple[Field, ...],
    values: Mapping[str, Any],
    place: str,
) -> None:
    unknown = set(values) - {field.name for field in fields}
    if unknown:
        raise EncodeError(f"no field {sorted(unknown)[0]!r}", place=place)
    for field in fields:
        if field.optional:
            _write_code(out, int(values.get(field.name) is not None), 2, place)
    for field in fields:
        value = values.get(field.name)
        if value is not None:
            _write_field(out, schema, field, value, f"{place}.{field.name}")
        elif not field.optional:
            raise EncodeError("has no value", place=f"{place}.{field.name}")


def _read_group(reader: _Reader, schema: Schema, fields: tuple[Field, ...], place: str) -> Values:
    present = {
        field.name: bool(reader.code(2, f"{place}.{field.name}"))
        for field in fields
        if field.optional
    }
    return {
        field.name: _read_field(reader, schema, field, f"{place}.{field.name}")
        if present.get(field.name, True)
        else None
        for field in fields
    }


# A field: a list is its count and then its elements, every other kind is one code.


def _write_field(
    out: bitstring.BitArray, schema: Schema, field: Field, value: Any, place: str
) -> None:
    if not isinstance(field, ListOf):
        try:
            code, codes = _code_of(schema, field, value)
        except (TypeError, ValueError, AttributeError, LookupError, ArithmeticError) as error:
            raise EncodeError(f"{value!r} cannot be sent ({error})", place=place) from None
        _write_code(out, code, codes, place)
        return
    if not isinstance(value, list | tuple):
        raise EncodeError("is not a list", place=place)
    _write_code(out, len(value) - field.least, field.most - field.least + 1, place)
    for element in value:
        if not isinstance(element, Mapping):
            raise EncodeError("an element is not an object", place=place)
        _write_group(out, schema, field.fields, element, place)


def _read_field(reader: _Reader, schema: Schema, field: Field, place: str) -> Any:
    if isinstance(field, ListOf):
        count = field.least + reader.code(field.most - field.least + 1, place)
        return [_read_group(reader, schema, field.fields, place) for _ in range(count)]
    return value_of(schema, field, reader.code(_codes(schema, field), place))


def _codes(schema: Schema, field: Field) -> int:
    match field:
        case Integer():
            return field.high - field.low + 1
        case Scaled():
            return int((field.high - field.low) / field.step + 1)
        case Boolean():
            return 2
        case Flags():
            return int(2 ** len(field.flags))
        case Enumeration():
            return len(field.values)
        case SpeciesCode():
            return schema.species.capacity
        case Time():
            return field.span_s // field.step_s
        case Duration():
            return int(field.high_s / field.step_s + 1)
        case ListOf():
            raise AssertionError("a list is not one code")


# One code: value → (code, number of codes), and back.


def _code_of(schema: Schema, field: Field, value: Any) -> tuple[int, int]:
    codes = _codes(schema, field)
    if isinstance(value, bool) and isinstance(field, Integer | Scaled | Duration):
        raise TypeError("a boolean is no number")
    match field:
        case Integer():
            code = _end(field, value, codes)
            if code is None:
                if not isinstance(value, int):
                    raise TypeError("not a whole number")
                code = value - field.low
            return _clamped(field, code, codes), codes
        case Scaled() | Duration():
            low, step = (
                (field.low, field.step)
                if isinstance(field, Scaled)
                else (Fraction(0), field.step_s)
            )
            code = _end(field, value, codes)
            if code is None:
                if isinstance(value, str):
                    raise TypeError("not a number")
                code = floor((Fraction(value) - low) / step + Fraction(1, 2))
            return _clamped(field, code, codes), codes
        case Boolean():
            return [False, True].index(value), codes
        case Flags():
            if isinstance(value, str | Mapping) or not set(value) <= set(field.flags):
                raise ValueError("not a list of its flags")
            return int("".join("1" if flag in value else "0" for flag in field.flags), 2), codes
        case Enumeration():
            return field.values.index(value), codes
        case SpeciesCode():
            for row in schema.species.rows:
                if value in (row.label, f"#{row.code}"):
                    return row.code, codes
            code = int(value.removeprefix("#"))
            if value != f"#{code}":
                raise ValueError("no such label")
            return code, codes
        case Time():
            if isinstance(value, PartialTime):
                if field.beyond != "wrap" or value.span_s != field.span_s:
                    raise ValueError("not of this span")
                return value.offset_s // field.step_s, codes
            if isinstance(value, str):
                value = datetime.fromisoformat(value)
            elapsed_s = (value - schema.epoch) // timedelta(seconds=1)
            code = elapsed_s // field.step_s
            return (code % codes if field.beyond == "wrap" else code), codes
        case ListOf():
            raise AssertionError("a list is not one code")


def value_of(schema: Schema, field: Field, code: int) -> Any:
    """The value that `code` stands for in any field but a list."""
    match field:
        case Integer():
            return _bound(field, code, _codes(schema, field), field.low + code)
        case Scaled():
            value = _number(field.low + code * field.step, field.low, field.step)
            return _bound(field, code, _codes(schema, field), value)
        case Boolean():
            return code == 1
        case Flags():
            bits = bin(code)[2:].rjust(len(field.flags), "0")
            return tuple(flag for flag, bit in zip(field.flags, bits, strict=True) if bit == "1")
        case Enumeration():
            return field.values[code]
        case SpeciesCode():
            labels = [row.label for row in schema.species.rows if row.code == code]
            return labels[0] if labels else f"#{code}"
        case Time():
            if field.beyond == "wrap":
                return PartialTime(code * field.step_s, field.span_s)
            return schema.epoch.astimezone(UTC) + timedelta(seconds=code * field.step_s)
        case Duration():
            value = _number(code * field.step_s, Fraction(0), field.step_s)
            return _bound(field, code, _codes(schema, field), value)
        case ListOf():
            raise AssertionError("a list is not one code")


def _number(exact: Fraction, low: Fraction, step: Fraction) -> int | float:
    whole = low.denominator == 1 and step.denominator == 1
    return int(exact) if whole else exact.numerator / exact.denominator


def _end(field: Integer | Scaled | Duration, value: Any, codes: int) -> int | None:
    """The code of an AtLeast or AtMost that the field can say, None for a plain value."""
    if isinstance(value, AtLeast) and field.clamp_above:
        if value.value >= _bound_value(field, codes - 1):
            return codes - 1
        raise ValueError("not at the upper end")
    if isinstance(value, AtMost) and not isinstance(field, Duration) and field.clamp_below:
        if value.value <= _bound_value(field, 0):
            return 0
        raise ValueError("not at the lower end")
    return None


def _bound_value(field: Integer | Scaled | Duration, code: int) -> int | float:
    match field:
        case Integer():
            return field.low + code
        case Scaled():
            return _number(field.low + code * field.step, field.low, field.step)
        case Duration():
            return _number(code * field.step_s, Fraction(0), field.step_s)


def _clamped(field: Integer | Scaled | Duration, code: int, codes: int) -> int:
    if field.clamp_above and code >= codes:
        return codes - 1
    if not isinstance(field, Duration) and field.clamp_below and code < 0:
        return 0
    return code


def _bound(
    field: Integer | Scaled | Duration, code: int, codes: int, value: int | float
) -> int | float | AtLeast | AtMost:
    """The greatest code of a field that clamps above is a bound, and so is the least below."""
    if not isinstance(field, Duration) and field.clamp_below and code == 0:
        return AtMost(value)
    if field.clamp_above and code == codes - 1:
        return AtLeast(value)
    return value
