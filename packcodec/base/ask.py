"""Which frames a base asks its stations for, once a day: spec/missing-list.md.

What the erasure code won back, what nobody ever sent, and what the station no longer keeps is not
asked for, nor is the same counter for ever.
"""

from collections import Counter
from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from packcodec.errors import CarrierError, KeysError
from packcodec.frame.missing import encode_list, reach
from packcodec.schema.model import Integer, Message, Schema

if TYPE_CHECKING:
    from packcodec.frame.seal import Key

# What was asked for so often and did not come is not there, or nothing reaches the station.
MOST_TIMES = 10
LAST_SENT, FIRST_NUMBER = "last_sent", "first_number"


@dataclass(frozen=True, slots=True)
class Asked:
    """A list that left: its number, when, and the counters that it asked for."""

    number: int
    at: datetime
    counters: tuple[int, ...]


def ask(
    key: "Key | None",
    station: int,
    schema: Schema,
    missing: Iterable[int],
    highest: int,
    before: Sequence[Asked],
    now: datetime,
    most_bytes: int,
) -> tuple[bytes, Asked] | None:
    """The list for a station, and what is to be kept of it before it leaves; None for none now.

    `missing` are counters below `highest`, the highest one heard, in order, without those never
    used; `before` are the lists that this key has signed for the station, in order; `most_bytes` is
    the longest frame that the radio takes to it. At most one a day (UTC).

    Raises KeysError where there is no key, CarrierError if `now` has no offset from UTC,
    EncodeError where a list cannot be so short.
    """
    if now.utcoffset() is None:
        raise CarrierError(f"{now} has no offset from UTC", place="at", remedy="give it one")
    if key is None:
        raise KeysError(
            f"there is none for station {station}",
            place="keys",
            remedy="a station does only what its key has signed: packcodec keys new makes one",
        )
    if before and _day(before[-1].at, schema) == _day(now, schema):
        return None
    asked = (each.counters for each in before)
    wanted = worth_asking(missing, highest, schema.frame.sequence_bits, asked)
    if not wanted:
        return None
    number = max(_day(now, schema), before[-1].number + 1 if before else 0)
    frame, counters = encode_list(key, station, number, wanted, most_bytes)
    return frame, Asked(number, now, counters)


def worth_asking(
    missing: Iterable[int], highest: int, sequence_bits: int, asked: Iterable[Iterable[int]]
) -> list[int]:
    """Those of `missing` that the station may still keep, and that the lists `asked` before do not
    have too often."""
    oldest = highest + 1 - reach(sequence_bits)
    times = Counter(counter for counters in asked for counter in counters)
    return [each for each in missing if each >= oldest and times[each] < MOST_TIMES]


def never_used(
    message: Message, values: Mapping[str, Any], counter: int, heard: Container[int]
) -> range:
    """The counters that a health report declares never used: those after the last number really
    sent and before the first one of the station's start.

    `counter` is the report's own; what was `heard` was used, and then the fields are too narrow to
    tell which counters they mean.
    """
    first = _nearest_below(message, values, FIRST_NUMBER, counter + 1)
    last = None if first is None else _nearest_below(message, values, LAST_SENT, first)
    if first is None or last is None:
        return range(0)
    unused = range(last + 1, first)
    return range(0) if any(each in heard for each in unused) else unused


def _nearest_below(message: Message, values: Mapping[str, Any], name: str, end: int) -> int | None:
    """The counter below `end` that the field says: modulo its range, unless it clamps."""
    said = values.get(name)
    if type(said) is not int:
        return None
    field = next((each for each in message.fields if each.name == name), None)
    if not isinstance(field, Integer) or field.low != 0:
        return None
    if field.clamp_above:
        return said if said < end else None
    counter = end - 1 - (end - 1 - said) % (field.high + 1)
    return counter if counter >= 0 else None


def _day(when: datetime, schema: Schema) -> int:
    """Days since the schema's epoch, 0 before it."""
    return max(0, (when - schema.epoch).days)
