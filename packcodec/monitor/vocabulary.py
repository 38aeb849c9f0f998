"""The messages and fields that the summariser knows how to fill, by name.

`VOCABULARY` is the whole of it; the messages of `BATCHES` hold several of a kind, with a duration
since the one before in place of a time for each. A schema may leave out any of these fields and
any of these messages but not all, and may add optional fields of its own, which the summariser
leaves absent. Fields of `health` are filled from what the station tells of itself under the same
name; only `at` and `state` are ours.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction
from typing import Any

from packcodec.errors import SchemaError
from packcodec.frame.fill import BATCHES as BATCHES
from packcodec.frame.fill import batch_list
from packcodec.frozen import frozen
from packcodec.schema.model import (
    Duration,
    Field,
    Flags,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    SpeciesCode,
    SpeciesKind,
    Time,
)
from packcodec.schema.remedy import decimal, nearest, one_of
from packcodec.schema.words import kind_of

SIGHTING, SUMMARY, HEALTH = "sighting", "summary", "health"
SIGHTINGS, SUMMARIES = "sightings", "summaries"
ROWS = "rows"


@frozen
class Slot:
    """The kind a field of this name must have, and what is put into it."""

    kind: type[Field]
    holds: str


_STATE = Slot(Flags, "any of clock_unset, restarted")
FLAGS = ("clock_unset", "restarted")

VOCABULARY: Mapping[str, Mapping[str, Slot]] = {
    SIGHTING: {
        "at": Slot(Time, "when it was seen; absent while the clock is unset"),
        "species": Slot(SpeciesCode, "what was seen"),
        "individuals": Slot(Integer, "how many in that picture"),
        "confidence": Slot(Scaled, "the model's, 0 to 1"),
        "state": _STATE,
    },
    SUMMARY: {
        "start": Slot(Time, "start of the interval; absent while the clock is unset"),
        "watched": Slot(Duration, "how long the station really watched; absent where unknown"),
        "left_out": Slot(Integer, "species rows that did not fit"),
        "people": Slot(Integer, "visits of rows of kind human whose report is count"),
        "vehicles": Slot(Integer, "visits of rows of kind vehicle whose report is count"),
        "unidentified": Slot(Integer, "visits of unknown, unclassified whose report is count"),
        "animals": Slot(Integer, "visits of animals whose report is count"),
        "dropped": Slot(Integer, "detections of low confidence, unknown label, retired row"),
        "state": _STATE,
        ROWS: Slot(ListOf, "one row a species, the one most worth sending first"),
    },
    HEALTH: {
        "at": Slot(Time, "when it was told; absent while the clock is unset"),
        "state": _STATE,
    },
}
ROW: Mapping[str, Slot] = {
    "species": Slot(SpeciesCode, "what was seen"),
    "visits": Slot(Integer, "visits that began in the interval; 0 where an earlier one goes on"),
    "most": Slot(Integer, "most individuals in one picture"),
    "first": Slot(Duration, "first detection, into the interval"),
    "last": Slot(Duration, "last detection, into the interval"),
    "confidence": Slot(Scaled, "mean of the detections counted"),
    "detections": Slot(Integer, "detections counted"),
}

# The field of the summary that counts the visits of a row whose report is "count".
COUNTED_AS: Mapping[SpeciesKind, str] = {
    "human": "people",
    "vehicle": "vehicles",
    "unknown": "unidentified",
    "unclassified": "unidentified",
    "animal": "animals",
}


@frozen
class Form:
    """How the summariser fills a message: `fields` by name, of a batch those of one element too.

    `listed` and `since` are the names of a batch's list and of the duration since the element
    before; None where the message is no batch.
    """

    message: str
    fields: Mapping[str, Field]
    listed: str | None = None
    since: str | None = None

    def values(self, filled: Mapping[str, Any]) -> dict[str, Any]:
        """`filled` by the names of `fields` as the message has them: a batch of one."""
        if self.listed is None:
            return dict(filled)
        head = {name: value for name, value in filled.items() if name in TIMES}
        row = {name: value for name, value in filled.items() if name not in TIMES}
        return {**head, self.listed: [{**row, self.since: 0}]}

    def first(self, values: Mapping[str, Any]) -> Mapping[str, Any]:
        """The values of the record, or of a batch's first element."""
        if self.listed is None:
            return values
        first: Mapping[str, Any] = values[self.listed][0]
        return first

    def with_first(self, values: Mapping[str, Any], changes: Mapping[str, Any]) -> dict[str, Any]:
        """`values` with those that `first` gives changed."""
        if self.listed is None:
            return {**values, **changes}
        first, *rest = values[self.listed]
        return {**values, self.listed: [{**first, **changes}, *rest]}


# What a batch says once, for its first element.
TIMES = frozenset({"at", "start"})


def form_of(message: Message) -> Form:
    """The form of a message that `check_vocabulary` lets pass."""
    listed = batch_list(message) if message.name in BATCHES else None
    if listed is None:
        return Form(message.name, {field.name: field for field in message.fields})
    since = next(f.name for f in listed.fields if isinstance(f, Duration) and f.since)
    fields = (*message.fields[:-1], *(f for f in listed.fields if f.name != since))
    return Form(message.name, {field.name: field for field in fields}, listed.name, since)


def check_vocabulary(schema: Schema) -> None:
    """Refuse a schema whose records the summariser cannot make.

    Raises SchemaError naming the message and field, and the nearest name that is known.
    """
    known = [each for each in schema.messages if each.name in VOCABULARY or each.name in BATCHES]
    if not known:
        raise SchemaError(
            f"has none of the messages {one_of((*VOCABULARY, *BATCHES))}",
            place=schema.name,
            remedy="name a message so that the summariser knows how to fill it",
        )
    if {SUMMARY, SUMMARIES} <= {message.name for message in known}:
        raise SchemaError(
            "every interval would be told twice",
            place=f"message.{SUMMARIES}",
            remedy=f"leave out message.{SUMMARY}, or this one",
        )
    for message in known:
        place = f"message.{message.name}"
        if message.name in BATCHES:
            _check_batch(message, place, schema.policy.interval_s)
            continue
        own = message.name == HEALTH
        _check_fields(message.fields, VOCABULARY[message.name], place, own_allowed=own)
        if message.name == SUMMARY:
            _check_summary(message.fields, place, schema.policy.interval_s)


def _check_batch(message: Message, place: str, interval_s: int) -> None:
    """A batch that can be joined from elements, and taken apart again."""
    listed, kind = batch_list(message), BATCHES[message.name]
    if listed is None or listed.least > 1:
        raise SchemaError(
            "is no batch", place=place, remedy="give it one time, then one list with least = 0 or 1"
        )
    inside = f"{place}.{listed.name}"
    sinces = [field for field in listed.fields if isinstance(field, Duration) and field.since]
    if not sinces:
        raise SchemaError(
            "nothing says how its elements follow one another",
            place=inside,
            remedy='add { name = "after", kind = "duration", since = "previous", step_s = 60, '
            "high_s = 86400 } to its fields",
        )
    times, since = message.fields[:-1], sinces[0]
    slots = VOCABULARY[kind]
    _check_fields(times, {name: slots[name] for name in slots if name in TIMES}, place)
    rest = [field for field in listed.fields if field is not since]
    _check_fields(rest, {name: slots[name] for name in slots if name not in TIMES}, inside)
    where = f"{inside}.{since.name}"
    if since.clamp_above or since.optional:
        raise SchemaError(
            "what it leaves unsaid would misplace all that follows",
            place=where,
            remedy="let it neither clamp nor be optional: a longer time begins another batch",
        )
    if kind == SUMMARY:
        _check_summary((*times, *rest), inside, interval_s)
        _check_reach(since, interval_s, where)
        if not times or interval_s % since.step_s:
            raise SchemaError(
                "its elements could not be told apart by their intervals",
                place=where,
                remedy=f"give the message a time 'start', and this a step_s that divides "
                f"{interval_s}",
            )
    elif any(isinstance(time, Time) and since.step_s % time.step_s for time in times):
        raise SchemaError(
            f"a step of {decimal(since.step_s)} s is finer than those of the time",
            place=where,
            remedy=f"give the time a step_s that divides {decimal(since.step_s)}",
        )


def _check_fields(
    fields: Iterable[Field], slots: Mapping[str, Slot], place: str, *, own_allowed: bool = False
) -> None:
    for field in fields:
        where = f"{place}.{field.name}"
        slot = slots.get(field.name)
        if slot is None:
            if not (own_allowed or field.optional):
                raise SchemaError(
                    "the summariser cannot fill this field",
                    place=where,
                    remedy=f"{nearest(field.name, list(slots))} Or make it optional",
                )
            continue
        if not isinstance(field, slot.kind):
            raise SchemaError(
                f"is of kind {kind_of(field)}, and the summariser fills it with {slot.holds}",
                place=where,
                remedy=f"make it of kind {_KINDS[slot.kind]}",
            )
        if isinstance(field, Flags):
            _check_flags(field, where)


_KINDS: Mapping[type[Field], str] = {
    Time: "time",
    SpeciesCode: "species",
    Integer: "integer",
    Scaled: "scaled",
    Duration: "duration",
    Flags: "flags",
    ListOf: "list",
}


def _check_flags(field: Flags, where: str) -> None:
    for flag in field.flags:
        if flag not in FLAGS:
            raise SchemaError(
                f"the summariser never sets the flag {flag!r}, so it would always read as no",
                place=where,
                remedy=nearest(flag, FLAGS),
            )


def _check_summary(fields: Iterable[Field], place: str, interval_s: int) -> None:
    """What a sound log would otherwise trip over in the field."""
    by_name = {field.name: field for field in fields}
    start, watched, rows = (by_name.get(name) for name in ("start", "watched", ROWS))
    if isinstance(start, Time) and interval_s % start.step_s:
        raise SchemaError(
            f"its step of {start.step_s} s does not divide the interval of {interval_s} s",
            place=f"{place}.start",
            remedy=f"use step_s = {interval_s}",
        )
    if isinstance(watched, Duration):
        _check_reach(watched, interval_s, f"{place}.watched")
    if isinstance(rows, ListOf):
        _check_rows(rows, interval_s, f"{place}.{ROWS}")
        if "left_out" not in by_name:
            raise SchemaError(
                "rows that do not fit would be left out in silence",
                place=place,
                remedy="add an integer 'left_out' from 0, with above = \"clamp\"",
            )


def _check_rows(rows: ListOf, interval_s: int, place: str) -> None:
    _check_fields(rows.fields, ROW, place)
    if rows.least:
        raise SchemaError(
            f"needs at least {rows.least} rows, and an interval may see nothing",
            place=place,
            remedy="set least = 0",
        )
    for field in rows.fields:
        if isinstance(field, Duration):
            _check_reach(field, interval_s - field.step_s, f"{place}.{field.name}")
        if isinstance(field, Integer) and field.name == "visits" and field.low > 0:
            raise SchemaError(
                f"starts at {field.low}, and a visit that began in an earlier interval counts 0",
                place=f"{place}.visits",
                remedy="set low = 0",
            )


def _check_reach(field: Duration, least_s: Fraction | int, place: str) -> None:
    if not field.clamp_above and field.high_s < least_s:
        raise SchemaError(
            f"reaches {decimal(field.high_s)} s, short of the interval",
            place=place,
            remedy=f"set high_s = {decimal(Fraction(least_s))} or more",
        )
