"""What a value means on the air: the value that goes in, as the plain value that comes out.

The compiled codec calls this only for what it does not recognise at once: numbers to be clamped,
JSON forms, subclasses and plain mistakes. Here every mistake gets its message. A settled value is
one that the compiled codec takes without help.
"""

import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime, timedelta
from fractions import Fraction
from operator import index
from typing import Any, NoReturn

from packcodec.codec.record import AtLeast, AtMost, PartialTime, rfc3339
from packcodec.errors import EncodeError
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


def settle_fields(
    fields: Sequence[Field], values: Sequence[object], schema: Schema, path: str
) -> list[Any]:
    """The values of a message, or of a list's element, in field order, settled.

    Raises EncodeError naming the field when a value cannot be sent.
    """
    if isinstance(values, str | Mapping) or len(values) != len(fields):
        _refuse(path, f"holds {shown(values)}", f"give {len(fields)} values in field order")
    return [
        settle(field, value, schema, f"{path}.{field.name}")
        for field, value in zip(fields, values, strict=True)
    ]


def settle(field: Field, value: object, schema: Schema, path: str) -> Any:
    """`value` as the plain value that `field` can carry; raises EncodeError when it cannot."""
    if value is None:
        if field.optional:
            return None
        _refuse(path, "has no value", "give one, or make the field optional")
    _no_boolean(field, value, path)
    match field:
        case Integer():
            return _settle_integer(field, value, path)
        case Scaled():
            return _settle_quantity(
                path, value, field.low, field.high, field.step, field.clamp_below, field.clamp_above
            )
        case Duration():
            if isinstance(value, timedelta):
                value = Fraction(value // timedelta(microseconds=1), 1_000_000)
            return _settle_quantity(
                path, value, Fraction(0), field.high_s, field.step_s, False, field.clamp_above
            )
        case Boolean():
            if value is True or value is False or value == 0 or value == 1:
                return bool(value)
            _refuse(path, f"is {shown(value)}", "a boolean is true or false")
        case Flags():
            return _settle_flags(field, value, path)
        case Enumeration():
            return _settle_name(value, field.values, path)
        case SpeciesCode():
            return _settle_species(value, schema, path)
        case Time():
            return _settle_time(field, value, schema, path)
        case ListOf():
            return _settle_list(field, value, schema, path)


def _no_boolean(field: Field, value: object, path: str) -> None:
    """True passes for 1 wherever Python reckons with it, but says nothing of how many."""
    if isinstance(value, bool) and isinstance(field, Integer | Scaled | Duration):
        _refuse(path, f"is {shown(value)}", "it takes a number")


def _settle_integer(field: Integer, value: object, path: str) -> int:
    value = _unbound(value, field.low, field.high, field.clamp_below, field.clamp_above, path)
    try:
        number = index(value)  # type: ignore[arg-type]
    except TypeError:
        _refuse(path, f"is {shown(value)}", "it takes a whole number")
    if number < field.low and field.clamp_below:
        return field.low
    if number > field.high and field.clamp_above:
        return field.high
    if not field.low <= number <= field.high:
        _refuse(path, f"is {shown(number)}", f"it takes {field.low} to {field.high}")
    return number


def _settle_quantity(
    path: str,
    value: object,
    low: Fraction,
    high: Fraction,
    step: Fraction,
    clamp_below: bool,
    clamp_above: bool,
) -> float | int:
    value = _unbound(value, low, high, clamp_below, clamp_above, path)
    try:
        if isinstance(value, str):
            raise TypeError
        exact = Fraction(value)  # type: ignore[call-overload]
    except (TypeError, ValueError, OverflowError):
        _refuse(path, f"is {shown(value)}", "it takes a finite number")
    code = ((exact - low) / step + Fraction(1, 2)).__floor__()
    most = int((high - low) / step)
    if (code < 0 and not clamp_below) or (code > most and not clamp_above):
        _refuse(path, f"is {shown(value)}", f"it takes {number_of(low)} to {number_of(high)}")
    return number_of(low + min(max(code, 0), most) * step)


def number_of(exact: Fraction) -> int | float:
    """An exact number as JSON can hold it: int where whole, else the nearest double."""
    return exact.numerator if exact.denominator == 1 else exact.numerator / exact.denominator


def _unbound(
    value: object,
    low: int | Fraction,
    high: int | Fraction,
    clamp_below: bool,
    clamp_above: bool,
    path: str,
) -> object:
    """A bound, as an object or in its JSON form, brought to the end of the range it stands for."""
    if isinstance(value, Mapping) and len(value) == 1:
        if "at_least" in value:
            value = AtLeast(value["at_least"])
        elif "at_most" in value:
            value = AtMost(value["at_most"])
    if isinstance(value, AtLeast):
        if clamp_above and _reaches(value.value, high, at_least=True):
            return high
        _refuse(path, f"is at least {shown(value.value)}", _bound_remedy("above", high))
    if isinstance(value, AtMost):
        if clamp_below and _reaches(value.value, low, at_least=False):
            return low
        _refuse(path, f"is at most {shown(value.value)}", _bound_remedy("below", low))
    return value


def _reaches(value: object, end: int | Fraction, *, at_least: bool) -> bool:
    """Whether a bound lies at or past the end it would be sent as; ends are told as doubles."""
    near = number_of(Fraction(end))
    try:
        return bool(value >= near if at_least else value <= near)  # type: ignore[operator]
    except TypeError:
        return False


def _bound_remedy(side: str, end: int | Fraction) -> str:
    return f"the field can say so only of {number_of(Fraction(end))}, and only if it clamps {side}"


def _settle_flags(field: Flags, value: object, path: str) -> tuple[str, ...]:
    if isinstance(value, str | Mapping) or not isinstance(value, Iterable):
        _refuse(path, f"is {shown(value)}", "it takes a list of flag names")
    named = list(value)
    for name in named:
        _settle_name(name, field.flags, path)
    return tuple(flag for flag in field.flags if flag in named)


def _settle_name(value: object, names: tuple[str, ...], path: str) -> str:
    if isinstance(value, str) and value in names:
        return value
    _refuse(path, f"is {shown(value)}", f"it takes {_nearest(value, names)}")


def _settle_species(value: object, schema: Schema, path: str) -> str:
    labels = {row.code: row.label for row in schema.species.rows}
    if isinstance(value, str):
        if value in labels.values():
            return value
        number = value[1:]
        if value.startswith("#") and re.fullmatch("[0-9]{1,5}", number):
            code = int(number)
            if code < schema.species.capacity and value == f"#{code}":
                return labels.get(code, value)
    _refuse(
        path, f"is {shown(value)}", f"it takes {_nearest(value, tuple(sorted(labels.values())))}"
    )


def _settle_time(field: Time, value: object, schema: Schema, path: str) -> datetime:
    when = _instant(field, value, schema, path)
    step = timedelta(seconds=field.step_s)
    code = (when - schema.epoch) // step
    if field.beyond == "reject" and not 0 <= code < field.span_s // field.step_s:
        last = schema.epoch + timedelta(seconds=field.span_s)
        span = f"{rfc3339(schema.epoch)} to {rfc3339(last)}"
        _refuse(path, f"is {shown(value)}", f"it takes an instant from {span}")
    try:
        return schema.epoch + code * step
    except OverflowError:  # its last hours, by an offset, lie outside the calendar
        return schema.epoch + code % (field.span_s // field.step_s) * step


def _instant(field: Time, value: object, schema: Schema, path: str) -> datetime:
    said = value
    if isinstance(value, str):
        try:
            value = datetime.fromisoformat(value)
        except ValueError:
            _refuse(path, f"is {shown(value)}", "a time is written 2027-04-01T06:30:00Z")
    if isinstance(value, Mapping) and set(value) == {"offset_s", "span_s"}:
        value = PartialTime(value["offset_s"], value["span_s"])
    if isinstance(value, PartialTime):
        whole = type(value.offset_s) is int and 0 <= value.offset_s < field.span_s
        if field.beyond == "wrap" and value.span_s == field.span_s and whole:
            return schema.epoch + timedelta(seconds=value.offset_s)
        _refuse(path, f"is {shown(value)}", f"its offset is within a span of {field.span_s} s")
    if not isinstance(value, datetime):
        _refuse(path, f"is {shown(value)}", "it takes a time with its offset from UTC")
    if value.utcoffset() is None:
        _refuse(path, f"is {shown(said)}", "say its offset from UTC, such as Z or +02:00")
    return value


def _settle_list(field: ListOf, value: object, schema: Schema, path: str) -> list[tuple[Any, ...]]:
    if not isinstance(value, list | tuple):
        _refuse(path, f"is {shown(value)}", "it takes a list")
    if not field.least <= len(value) <= field.most:
        _refuse(path, f"holds {len(value)}", f"it takes {field.least} to {field.most}")
    return [
        tuple(settle_fields(field.fields, element, schema, f"{path}[{number}]"))
        for number, element in enumerate(value)
    ]


def ordered(fields: Sequence[Field], values: object, path: str) -> tuple[Any, ...]:
    """A dict of values, lists' elements too, as a tuple in field order.

    Raises EncodeError for an unknown name, and for a boolean where a number belongs.
    """
    if not isinstance(values, Mapping):
        _refuse(path, f"is {shown(values)}", "it takes an object with a value for each field")
    names = {field.name for field in fields}
    for name in values:
        if name not in names:
            _refuse(f"{path}.{name}", "is no field", f"it has {_nearest(name, tuple(names))}")
    row = []
    for field in fields:
        value = values.get(field.name)
        _no_boolean(field, value, f"{path}.{field.name}")
        if isinstance(field, ListOf) and isinstance(value, list | tuple):
            inner = f"{path}.{field.name}"
            value = [
                ordered(field.fields, element, f"{inner}[{number}]")
                for number, element in enumerate(value)
            ]
        row.append(value)
    return tuple(row)


def _nearest(value: object, names: tuple[str, ...]) -> str:
    from difflib import get_close_matches

    near = get_close_matches(str(value), names, n=1)
    if near:
        return f"for instance {near[0]!r}"
    return f"one of {', '.join(names[:8])}{', …' if len(names) > 8 else ''}"


def shown(value: object) -> str:
    """A value as whoever wrote it as JSON would know it, cut short."""
    text = value.isoformat() if isinstance(value, datetime) else _written(value)
    return text if len(text) <= 60 else f"{text[:57]}…"


def _written(value: object) -> str:
    from json import dumps

    for write in (repr,) if isinstance(value, str) else (dumps, repr):
        try:
            return write(value)
        except (TypeError, ValueError, RecursionError):
            continue  # no JSON, or a number of thousands of digits, or brackets as many
    return "too long to show"


def _refuse(path: str, problem: str, remedy: str) -> NoReturn:
    raise EncodeError(problem, place=path, remedy=remedy)
