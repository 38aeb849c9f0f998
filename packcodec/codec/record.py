"""Records: one message's values, in Python and in JSON.

Values by kind of field (spec/wire-format.md, "Values"):

    integer       int, or AtLeast / AtMost where the field clamps
    scaled        float (int where low and step are whole), or AtLeast / AtMost
    boolean       bool
    flags         tuple of names, in the schema's order
    enumeration   str
    species       str, the row's label; "#31" for a code this table has no row for
    time          datetime in UTC, or PartialTime where the span is not yet resolved
    duration      int or float seconds, or AtLeast
    list          list of dicts
    optional      None where absent
"""

from collections.abc import Mapping
from datetime import UTC, datetime
from typing import Any

from packcodec.frozen import frozen

Values = dict[str, Any]


@frozen
class AtLeast:
    """A value that was clamped: the true one is this or more."""

    value: int | float


@frozen
class AtMost:
    """A value that was clamped: the true one is this or less."""

    value: int | float


@frozen
class PartialTime:
    """An instant known only within its span: `offset_s` seconds into a span of `span_s`.

    Spans are counted from the schema's epoch.
    """

    offset_s: int
    span_s: int


@frozen
class Record:
    """One message's values, with the station that said them and its frame's sequence.

    `sequence` holds as many bits of the counter as the frame carries; None where the carrier says
    the sequence and nobody passed it on.
    """

    message: str
    values: Values
    station: int | None = None
    sequence: int | None = None

    def to_json(self) -> dict[str, Any]:
        """The record as JSON data: {"message", "station", "sequence", "values"}."""
        return {
            "message": self.message,
            "station": self.station,
            "sequence": self.sequence,
            "values": to_json(self.values),
        }


def to_json(value: object) -> Any:
    """A value, or a whole dict of them, as JSON data; `settle` reads it back."""
    match value:
        case Mapping():
            return {name: to_json(inner) for name, inner in value.items()}
        case list() | tuple():
            return [to_json(inner) for inner in value]
        case datetime():
            return rfc3339(value)
        case AtLeast():
            return {"at_least": value.value}
        case AtMost():
            return {"at_most": value.value}
        case PartialTime():
            return {"offset_s": value.offset_s, "span_s": value.span_s}
        case _:
            return value


def rfc3339(when: datetime) -> str:
    """An aware datetime in UTC as RFC 3339 writes it, with Z."""
    return when.astimezone(UTC).isoformat().replace("+00:00", "Z")
