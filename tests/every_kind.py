"""Fixed schemas that between them hold every kind of field, in every place a field can stand.

Beside the drawn schemas of strategies.py: what a test must have seen, whatever was drawn.
"""

from collections.abc import Iterator
from datetime import UTC, datetime
from fractions import Fraction
from typing import Any, get_args

from strategies import species_table

from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    FrameWidths,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)
KINDS = frozenset(get_args(Field))


def schema_of(*fields: Field, check: str = "crc24", **frame: int) -> Schema:
    """A schema of one message `m` over a table of five species codes with room for 40."""
    widths = {"tag_bits": 8, "message_bits": 1, "station_bits": 4, "sequence_bits": 10, **frame}
    return Schema(
        name="every_kind",
        version=1,
        epoch=EPOCH,
        coding="fixed",
        frame=FrameWidths(**widths, check=check),
        messages=(Message("m", 0, fields),),
        species=species_table(5, 40),
    )


def plain(optional: bool) -> tuple[Field, ...]:
    """One field of every kind but a list."""
    return (
        Integer("count_of", -3, 40, True, True, "m", optional),
        Scaled("level", Fraction(-2), Fraction(3), Fraction(1, 20), True, True, "V", optional),
        Boolean("lid", optional),
        Flags("state", ("clock_unset", "restarted", "moved"), optional),
        Enumeration("power", ("battery", "solar", "mains"), optional),
        SpeciesCode("species", optional),
        Time("at", 60, 86400, "wrap", optional),
        Time("season", 3600, 15811200, "reject", optional),
        Duration("watched", Fraction(5, 2), Fraction(60), True, optional),
    )


ONE_VALUE: tuple[Field, ...] = (
    Integer("a", 7, 7),
    Scaled("b", Fraction(1, 2), Fraction(1, 2), Fraction(1, 10)),
    Enumeration("c", ("only",)),
    Time("d", 60, 60, "wrap"),
    Duration("e", Fraction(1), Fraction(0)),
    ListOf("f", (Integer("g", 3, 3),), 2, 2),
)

EVERY = (
    schema_of(*plain(False)),
    schema_of(*plain(True)),
    schema_of(ListOf("rows", plain(False), 0, 3)),
    schema_of(
        Boolean("before"),
        ListOf("rows", (*plain(True), ListOf("inner", plain(False), 1, 2)), 1, 3, True),
        Integer("after", -(1 << 63), (1 << 64) - 1),
    ),
    schema_of(*ONE_VALUE, Boolean("one_bit")),
    schema_of(*ONE_VALUE),
)

# Values of the first message of each, as an encoder takes them.
_FIRST: dict[str, Any] = {
    "count_of": 17,
    "level": 1.35,
    "lid": True,
    "state": ["restarted"],
    "power": "mains",
    "species": "label 3",
    "at": datetime(2027, 4, 1, 6, 30, tzinfo=UTC),
    "season": datetime(2027, 6, 9, 5, tzinfo=UTC),
    "watched": 42.5,
}
_NONE: dict[str, Any] = dict.fromkeys(_FIRST)
_ENDS: dict[str, Any] = {
    **_FIRST,
    "count_of": 40,
    "level": -2,
    "state": [],
    "species": "#39",
    "watched": 60,
}
_ONE: dict[str, Any] = {
    "a": 7,
    "b": 0.5,
    "c": "only",
    "d": EPOCH,
    "e": 0,
    "f": [{"g": 3}, {"g": 3}],
}
VALUES: tuple[dict[str, Any], ...] = (
    _FIRST,
    {**_NONE, "level": 0, "power": "battery", "at": EPOCH},
    {"rows": [_FIRST, _ENDS]},
    {
        "before": False,
        "rows": [
            {**_NONE, "inner": [_ENDS]},
            {**_FIRST, "inner": [_FIRST, _ENDS]},
        ],
        "after": (1 << 64) - 1,
    },
    {**_ONE, "one_bit": True},
    _ONE,
)


def kinds_in(fields: tuple[Field, ...]) -> Iterator[type]:
    for field in fields:
        yield type(field)
        if isinstance(field, ListOf):
            yield from kinds_in(field.fields)
