"""A record as the flat list of whole numbers that emitted C and MicroPython hold.

Written from the comments of the emitted header (units, seconds, codes), not from the emitters. In
field order: an optional field is 1 and its value, or 0; a list is its count and its elements.
"""

from collections.abc import Iterator, Mapping
from datetime import datetime, timedelta
from fractions import Fraction
from typing import Any

from packcodec.codec import AtLeast, AtMost, PartialTime
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
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


def nested(schema: Schema, fields: tuple[Field, ...], values: Mapping[str, Any]) -> list[Any]:
    """The same numbers as a list in field order: None for what is absent, lists of lists."""
    row: list[Any] = []
    for field in fields:
        value = values[field.name]
        if value is not None and isinstance(field, ListOf):
            value = [nested(schema, field.fields, each) for each in value]
        elif value is not None:
            value = number(schema, field, value)
        row.append(value)
    return row


def unflattened(fields: tuple[Field, ...], numbers: Iterator[int]) -> list[Any]:
    """What `nested` gives, from what `flat` gives."""
    row: list[Any] = []
    for field in fields:
        if field.optional and not next(numbers):
            row.append(None)
        elif isinstance(field, ListOf):
            row.append([unflattened(field.fields, numbers) for _ in range(next(numbers))])
        else:
            row.append(next(numbers))
    return row


def as_json(schema: Schema, fields: tuple[Field, ...], row: list[Any]) -> dict[str, Any]:
    """Values in their JSON form, from what `nested` gives."""
    return {
        field.name: None if value is None else _json(schema, field, value)
        for field, value in zip(fields, row, strict=True)
    }


def _json(schema: Schema, field: Field, value: Any) -> Any:
    match field:
        case Scaled(low=low, high=high) | Integer(low=low, high=high):
            exact = value * (_unit(field) if isinstance(field, Scaled) else Fraction(1))
            return _bounded(
                exact, exact == low and field.clamp_below, exact == high and field.clamp_above
            )
        case Duration(high_s=high):
            exact = value * _unit(field)
            return _bounded(exact, False, exact == high and field.clamp_above)
        case Boolean():
            return bool(value)
        case Flags(flags=flags):
            return [name for at, name in enumerate(reversed(flags)) if value >> at & 1][::-1]
        case Enumeration(values=names):
            return names[value]
        case SpeciesCode():
            labels = {row.code: row.label for row in schema.species.rows}
            return labels.get(value, f"#{value}")
        case Time(beyond="wrap"):
            return {"offset_s": value, "span_s": field.span_s}
        case Time():
            return (schema.epoch + timedelta(seconds=value)).isoformat().replace("+00:00", "Z")
        case ListOf():
            return [as_json(schema, field.fields, row) for row in value]


def _bounded(exact: Fraction, at_most: bool, at_least: bool) -> Any:
    number = exact.numerator / exact.denominator if exact.denominator > 1 else int(exact)
    if at_most:
        return {"at_most": number}
    return {"at_least": number} if at_least else number


def number(schema: Schema, field: Field, value: Any) -> int:
    """One value as a device holds it."""
    if isinstance(value, AtLeast | AtMost):
        value = value.value
    if isinstance(value, Mapping):
        ((_, value), *_) = value.items()  # a bound, or an offset into a span
    match field:
        case Scaled() | Duration():
            # By the nearest step: past 2^53 units, a double is not on one.
            low, step = (
                (field.low, field.step)
                if isinstance(field, Scaled)
                else (Fraction(0), field.step_s)
            )
            exact = low + round((Fraction(value) - low) / step) * step
            return int(exact / _unit(field))
        case Time():
            if isinstance(value, PartialTime):
                return value.offset_s
            if isinstance(value, int):
                return value
            if isinstance(value, str):
                value = datetime.fromisoformat(value)
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
