"""The messages and fields that the summariser knows how to fill, by name.

`VOCABULARY` is the whole of it. A schema may leave out any of these fields and any of these
messages but not all, and may add optional fields of its own, which the summariser leaves absent.
Fields of `health` are filled from what the station tells of itself under the same name; only `at`
and `state` are ours.
"""

from collections.abc import Iterable, Mapping
from fractions import Fraction

from packcodec.errors import SchemaError
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


def check_vocabulary(schema: Schema) -> None:
    """Refuse a schema whose records the summariser cannot make.

    Raises SchemaError naming the message and field, and the nearest name that is known.
    """
    known = [message for message in schema.messages if message.name in VOCABULARY]
    if not known:
        raise SchemaError(
            f"has none of the messages {one_of(VOCABULARY)}",
            place=schema.name,
            remedy="name a message so that the summariser knows how to fill it",
        )
    for message in known:
        place = f"message.{message.name}"
        own = message.name == HEALTH
        _check_fields(message.fields, VOCABULARY[message.name], place, own_allowed=own)
        if message.name == SUMMARY:
            _check_summary(message, schema.policy.interval_s)


def _check_fields(
    fields: Iterable[Field], slots: Mapping[str, Slot], place: str, *, own_allowed: bool
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


def _check_summary(message: Message, interval_s: int) -> None:
    """What a sound log would otherwise trip over in the field."""
    by_name = {field.name: field for field in message.fields}
    place = f"message.{message.name}"
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
    _check_fields(rows.fields, ROW, place, own_allowed=False)
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
