"""A record's values as the values of the ASN.1 type that stands for its message.

Written from the comments of the emitted module (a code counts steps from the low end), not from
the codecs. Bit strings differ between ASN.1 libraries, so the caller makes them.
"""

from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from packcodec.codec import AtLeast, AtMost, PartialTime
from packcodec.schema.model import (
    Duration,
    Enumeration,
    Field,
    Flags,
    ListOf,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)

BitString = Callable[[str], Any]


def asn1_values(
    schema: Schema, fields: tuple[Field, ...], values: Mapping[str, Any], bit_string: BitString
) -> dict[str, Any]:
    """{identifier: value} without the optional fields that are absent."""
    return {
        field.name.replace("_", "-"): _value(schema, field, values[field.name], bit_string)
        for field in fields
        if values[field.name] is not None
    }


def _value(schema: Schema, field: Field, value: Any, bit_string: BitString) -> Any:
    if isinstance(value, AtLeast | AtMost):
        value = value.value
    match field:
        case Scaled():
            return round((Fraction(value) - field.low) / field.step)
        case Duration():
            return round(Fraction(value) / field.step_s)
        case Time():
            return _time_code(schema, field, value)
        case SpeciesCode():
            codes = {row.label: row.code for row in schema.species.rows}
            return codes[value] if value in codes else int(value.removeprefix("#"))
        case Flags():
            return bit_string("".join(str(int(flag in value)) for flag in field.flags))
        case Enumeration():
            return value.replace("_", "-")
        case ListOf():
            return [asn1_values(schema, field.fields, row, bit_string) for row in value]
        case _:
            return value


def _time_code(schema: Schema, field: Time, value: datetime | PartialTime) -> int:
    if isinstance(value, PartialTime):
        return value.offset_s // field.step_s
    steps = (value - schema.epoch) // timedelta(seconds=field.step_s)
    return steps % (field.span_s // field.step_s) if field.beyond == "wrap" else steps
