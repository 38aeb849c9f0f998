"""The fields of a message: for every kind, the keys it takes and the bounds it must keep.

A field kind is one row of `_KINDS`; whoever adds one adds its dataclass to the model and its
reader here.
"""

from collections.abc import Callable
from datetime import MAXYEAR, UTC, datetime
from fractions import Fraction
from typing import Any, cast

from packcodec.schema.model import (
    DEEPEST_LIST,
    LONGEST_LIST,
    Beyond,
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Scaled,
    Since,
    SpeciesCode,
    Time,
)
from packcodec.schema.remedy import decimal
from packcodec.schema.table import Table

INTEGER_LEAST, INTEGER_MOST = -(1 << 63), (1 << 64) - 1

# A count of steps and a bound in steps stay well inside a double's 53 bits, so that the nearest
# step of any value in range can be found in every emitted language.
MOST_COUNTS = 1 << 48
MOST_STEPS_FROM_ZERO = 1 << 50

MOST_FLAGS = 64
MOST_VALUES = 256

_LAST_INSTANT = datetime(MAXYEAR, 12, 31, 23, 59, 59, tzinfo=UTC)
_SHARED = ("kind", "name", "optional", "note")
_OUTSIDE = ("reject", "clamp")


class FieldReader:
    """Reads fields of one schema: its epoch bounds times, its species table species fields."""

    def __init__(self, epoch: datetime, has_species: bool) -> None:
        self.has_species = has_species
        self.longest_span_s = int((_LAST_INSTANT - epoch).total_seconds())

    def fields(self, parent: Table, depth: int = 0) -> tuple[Field, ...]:
        """The list under `fields`, in order. Raises SchemaError; `depth` counts lists around it."""
        read: dict[str, Field] = {}
        for table in parent.tables("fields"):
            field = self._field(table, depth)
            if field.name in read:
                raise table.error(
                    "name", f"the field {field.name!r} is there twice", "rename one of the two"
                )
            read[field.name] = field
        for table, field in zip(parent.tables("fields"), read.values(), strict=True):
            if isinstance(field, Integer) and field.total_of:
                _totals(table, field, read, depth)
        return tuple(read.values())

    def _field(self, table: Table, depth: int) -> Field:
        if "kind" not in table.values:  # a misspelt key is a better find than a missing one
            table.only((*_SHARED, *(key for keys, _ in _KINDS.values() for key in keys)))
        keys, read = _KINDS[table.choice("kind", _KINDS)]
        table.only((*_SHARED, *keys))
        shared = {
            "name": table.name("name"),
            "optional": table.boolean("optional", False),
            "note": table.text("note", ""),
        }
        return read(self, table, depth, shared)

    def integer(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        low = table.integer("low", INTEGER_LEAST, INTEGER_MOST)
        high = table.integer("high", INTEGER_LEAST, INTEGER_MOST)
        _not_empty(table, Fraction(low), "high", Fraction(high))
        return Integer(
            low=low,
            high=high,
            total_of=table.text("total_of", ""),
            **_sides_and_unit(table),
            **shared,
        )

    def scaled(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        low, high, step = table.exact("low"), table.exact("high"), table.exact("step")
        _stepped(table, low, "high", high, "step", step)
        return Scaled(low=low, high=high, step=step, **_sides_and_unit(table), **shared)

    def boolean(self, _table: Table, _: int, shared: dict[str, Any]) -> Field:
        return Boolean(**shared)

    def flags(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        return Flags(flags=table.names("flags", MOST_FLAGS), **shared)

    def enumeration(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        return Enumeration(values=table.names("values", MOST_VALUES), **shared)

    def species(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        if not self.has_species:
            raise table.error(
                "kind",
                "a species field needs a species table",
                'add [species] with file = "species.csv" and codes = 64',
            )
        return SpeciesCode(**shared)

    def time(self, table: Table, _: int, shared: dict[str, Any]) -> Field:
        step_s = table.integer("step_s", 1, self.longest_span_s)
        span_s = table.integer("span_s", 1, INTEGER_MOST)
        if span_s > self.longest_span_s:
            raise table.error(
                "span_s",
                f"{span_s} s from the epoch ends past the year {MAXYEAR}",
                f"use at most {self.longest_span_s}",
            )
        if span_s % step_s:
            near = max(1, round(Fraction(span_s, step_s))) * step_s
            raise table.error(
                "span_s",
                f"{span_s} s is not a whole number of steps of {step_s} s",
                f"the nearest that is: span_s = {near}",
            )
        beyond = cast(Beyond, table.choice("beyond", ("wrap", "reject"), "wrap"))
        return Time(step_s=step_s, span_s=span_s, beyond=beyond, **shared)

    def duration(self, table: Table, depth: int, shared: dict[str, Any]) -> Field:
        step_s, high_s = table.exact("step_s"), table.exact("high_s")
        _stepped(table, Fraction(0), "high_s", high_s, "step_s", step_s)
        clamp_above = table.choice("above", _OUTSIDE, "reject") == "clamp"
        since: Since = ""
        if "since" in table.values:
            since = cast(Since, table.choice("since", ("previous",)))
            _counts_from_previous(table, depth, step_s, shared["optional"])
        return Duration(
            step_s=step_s, high_s=high_s, clamp_above=clamp_above, since=since, **shared
        )

    def list_of(self, table: Table, depth: int, shared: dict[str, Any]) -> Field:
        if depth == DEEPEST_LIST:
            raise table.error(
                "kind",
                f"lists are nested more than {DEEPEST_LIST} deep",
                "move this list up, or into a message of its own",
            )
        least = table.integer("least", 0, LONGEST_LIST)
        most = table.integer("most", 0, LONGEST_LIST)
        _not_empty(table, Fraction(least), "most", Fraction(most))
        return ListOf(fields=self.fields(table, depth + 1), least=least, most=most, **shared)


_KINDS: dict[
    str, tuple[tuple[str, ...], Callable[[FieldReader, Table, int, dict[str, Any]], Field]]
] = {
    "integer": (("low", "high", "below", "above", "unit", "total_of"), FieldReader.integer),
    "scaled": (("low", "high", "step", "below", "above", "unit"), FieldReader.scaled),
    "boolean": ((), FieldReader.boolean),
    "flags": (("flags",), FieldReader.flags),
    "enumeration": (("values",), FieldReader.enumeration),
    "species": ((), FieldReader.species),
    "time": (("step_s", "span_s", "beyond"), FieldReader.time),
    "duration": (("step_s", "high_s", "above", "since"), FieldReader.duration),
    "list": (("least", "most", "fields"), FieldReader.list_of),
}


def _counts_from_previous(table: Table, depth: int, step_s: Fraction, optional: bool) -> None:
    if depth != 1:
        raise table.error(
            "since", "there is no previous element", "use it in a list that is not within a list"
        )
    if step_s.denominator != 1:
        raise table.error("step_s", "is no whole number of seconds", "use one, or leave out since")
    if optional:
        raise table.error(
            "optional",
            "an element that may lack it stops the clock",
            "leave it out, or leave out since",
        )


def _totals(table: Table, field: Integer, fields: dict[str, Field], depth: int) -> None:
    """What a running total must be, for a lost stretch to be told from it and from nothing else."""
    if depth:
        raise table.error(
            "total_of", "a running total is of the whole message", "move it out of the list"
        )
    most = _most_counted(table, field, fields)
    if field.low or field.high & (field.high + 1) or field.high < most:
        raise table.error(
            "high",
            f"a running total goes from 0 to one less than a power of two, and one record may "
            f"count {most}",
            f"use low = 0 and high = {(1 << most.bit_length() + 8) - 1}, or another such number",
        )
    if field.clamp_below or field.clamp_above:
        side = "below" if field.clamp_below else "above"
        raise table.error(side, "a running total goes round, it does not clamp", "leave it out")
    if not field.optional:
        raise table.error(
            "optional" if "optional" in table.values else None,
            "a station that has lost its running total must be able to leave it out",
            "set optional = true",
        )


def _most_counted(table: Table, field: Integer, fields: dict[str, Field]) -> int:
    """The greatest count in one record."""
    head, dot, tail = field.total_of.partition(".")
    found, times = fields.get(head), 1
    if dot and isinstance(found, ListOf):
        times = found.most
        found = next((inner for inner in found.fields if inner.name == tail), None)
    elif dot:
        found = None
    if not isinstance(found, Integer) or found.low < 0 or found.total_of:
        raise table.error(
            "total_of",
            f"{field.total_of!r} is no count of this message",
            f"name an integer from 0 up: {_counts(fields)}",
        )
    return times * found.high


def _counts(fields: dict[str, Field]) -> str:
    names = []
    for field in fields.values():
        inner = field.fields if isinstance(field, ListOf) else (field,)
        lead = f"{field.name}." if isinstance(field, ListOf) else ""
        names += [
            f"{lead}{each.name}"
            for each in inner
            if isinstance(each, Integer) and each.low >= 0 and not each.total_of
        ]
    return ", ".join(names) or "there is none"


def _sides_and_unit(table: Table) -> dict[str, Any]:
    return {
        "clamp_below": table.choice("below", _OUTSIDE, "reject") == "clamp",
        "clamp_above": table.choice("above", _OUTSIDE, "reject") == "clamp",
        "unit": table.text("unit", ""),
    }


def _not_empty(table: Table, low: Fraction, high_key: str, high: Fraction) -> None:
    if high < low:
        raise table.error(
            high_key,
            f"the range from {decimal(low)} to {decimal(high)} is empty",
            f"use {high_key} = {decimal(low)} or more",
        )


def _stepped(
    table: Table, low: Fraction, high_key: str, high: Fraction, step_key: str, step: Fraction
) -> None:
    """The range holds a whole number of steps, of a size every language can count."""
    if step <= 0:
        raise table.error(step_key, f"a step of {decimal(step)} never gets on", "use more than 0")
    _not_empty(table, low, high_key, high)
    steps = (high - low) / step
    if steps.denominator != 1:
        near = low + max(1, round(steps)) * step
        raise table.error(
            high_key,
            f"from {decimal(low)} to {decimal(high)} is not a whole number of steps "
            f"of {decimal(step)}",
            f"the nearest that is: {high_key} = {decimal(near)}",
        )
    if steps >= MOST_COUNTS:
        raise table.error(step_key, "the range has more than 2^48 values", "use a larger step")
    if max(abs(low), abs(high)) / step > MOST_STEPS_FROM_ZERO:
        raise table.error(
            step_key, "a bound lies more than 2^50 steps from zero", "use a larger step"
        )
