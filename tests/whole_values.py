"""A record as the flat list of whole numbers that emitted C and MicroPython hold.

Written from the comments of the emitted header (units, seconds, codes), not from the emitters. In
field order: an optional field is 1 and its value, or 0; a list is its count and its elements.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime
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


def flat(schema: Schema, fields: tuple[Field, ...], values: Mapping[str, Any]) -> Iterator[int]:
    for field in fields:
        value = values[field.name]
        if field.optional:
            yield int(value is not None)
            if value is None:
                continue
        if isinstance(field, ListOf):
            yield len(value)
            for row in value:
                yield from flat(schema, field.fields, row)
        else:
            yield number(schema, field, value)


def number(schema: Schema, field: Field, value: Any) -> int:
    """One value as a device holds it."""
    if isinstance(value, AtLeast | AtMost):
        value = value.value
    match field:
        case Scaled() | Duration():
            unit = _unit(field)
            return round(Fraction(value) / unit)
        case Time():
            if isinstance(value, PartialTime):
                return value.offset_s
            assert isinstance(value, datetime)
            return int((value - schema.epoch).total_seconds())
        case SpeciesCode():
            codes = {row.label: row.code for row in schema.species.rows}
            return codes[value] if value in codes else int(value.removeprefix("#"))
        case Flags(flags=flags):
            return sum(1 << (len(flags) - 1 - flags.index(name)) for name in value)
        case Enumeration(values=names):
            return names.index(value)
        case _:
            return int(value)


def _unit(field: Scaled | Duration) -> Fraction:
    """The coarsest power of ten, 1 or less, in which low and step are whole."""
    exact = (field.low, field.step) if isinstance(field, Scaled) else (field.step_s,)
    unit = Fraction(1)
    while any((figure / unit).denominator != 1 for figure in exact):
        unit /= 10
    return unit
