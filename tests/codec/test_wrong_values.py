"""Values that are not what a field takes: refused, and shown as whoever wrote them would know."""

from collections.abc import Mapping
from copy import deepcopy
from datetime import datetime
from typing import Any

import pytest
from every_kind import EVERY, VALUES

from packcodec.codec import PayloadCodec, reference
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Duration, Field, Integer, ListOf, Scaled


def numbers(fields: tuple[Field, ...], values: Mapping[str, Any]) -> list[tuple[Any, str]]:
    """Every number in `values`, as the object that holds it and its name there."""
    found: list[tuple[Any, str]] = []
    for field in fields:
        value = values[field.name]
        if isinstance(field, ListOf) and value is not None:
            found += [each for row in value for each in numbers(field.fields, row)]
        elif isinstance(field, Integer | Scaled | Duration):
            found.append((values, field.name))
    return found


@pytest.mark.parametrize("number", range(len(EVERY)))
@pytest.mark.parametrize("said", [True, False])
def test_a_boolean_is_no_number(number: int, said: bool) -> None:
    schema = EVERY[number]
    layout = compile_layout(schema)
    message, codec = layout.messages[0].message, PayloadCodec(layout, layout.messages[0])
    values = deepcopy(VALUES[number])
    places = numbers(message.fields, values)
    assert places
    for holder, name in places:
        right, holder[name] = holder[name], said
        with pytest.raises(EncodeError, match=f"{name}: is {str(said).lower()}; it takes a number"):
            codec.pack_values(values)
        with pytest.raises(EncodeError, match="no number"):
            reference.encode(schema, message, values)
        holder[name] = right
    assert codec.pack_values(values) == reference.encode(schema, message, values)


def deep() -> list[Any]:
    brackets: list[Any] = []
    for _ in range(5000):
        brackets = [brackets]
    return brackets


@pytest.mark.parametrize(
    ("name", "value", "words"),
    [
        ("season", datetime(2027, 4, 3), "season: is 2027-04-03T00:00:00; say its offset"),
        ("season", "2027-04-03T00:00:00", "season: is '2027-04-03T00:00:00'; say its offset"),
        ("season", None, "season: has no value"),
        ("season", "2026-04-03T00:00:00Z", "from 2027-04-01T00:00:00Z to 20"),
        ("count_of", [None], r"count_of: is \[null\]; it takes a whole number"),
        ("after", 10**5000, "after: is too long to show; it takes -9"),
        ("count_of", deep(), "count_of: is too long to show; it takes a whole"),
        ("species", "#" + "1" * 5000, "species: is '#111"),
        ("level", float("nan"), "level: is NaN; it takes a finite number"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_what_is_wrong_is_shown_as_written(name: str, value: object, words: str) -> None:
    number = 3 if name == "after" else 0
    layout = compile_layout(EVERY[number])
    codec = PayloadCodec(layout, layout.messages[0])
    with pytest.raises(EncodeError, match=words):
        codec.pack_values({**VALUES[number], name: value})


@pytest.mark.parametrize("at", ["0001-01-01T00:00:00+14:00", "9999-12-31T23:30:00-05:00"])
def test_the_ends_of_the_calendar_wrap_as_any_other_instant(at: str) -> None:
    layout = compile_layout(EVERY[0])
    codec = PayloadCodec(layout, layout.messages[0])
    values = {**VALUES[0], "at": at}
    payload = reference.encode(EVERY[0], layout.messages[0].message, values)
    assert codec.pack_values(values) == payload
    read = codec.unpack_values(payload)["at"]
    elapsed = datetime.fromisoformat(at) - datetime.fromisoformat("2027-04-01T00:00:00Z")
    assert read.offset_s == elapsed.total_seconds() % read.span_s // 60 * 60


@pytest.mark.parametrize(
    ("part", "value", "said"),
    [
        ("station", None, "station: is missing; it takes a whole number"),
        ("station", 1.0, "station: is 1.0; it takes a whole number"),
        ("station", True, "station: is true; it takes a whole number"),
        ("sequence", 10**5000, "sequence: is too long to show; it takes a whole number"),
        ("message", None, "message: is missing; use one of m"),
        ("message", 5, "message: there is none called 5; use one of m"),
        ("values", None, "values: is missing; it takes an object"),
        ("values", [], r"values: is \[\]; it takes an object"),
    ],
    ids=lambda value: type(value).__name__,
)
def test_a_record_names_the_member_that_is_wrong(part: str, value: object, said: str) -> None:
    record = {"message": "m", "station": 1, "sequence": 2, "values": VALUES[0], part: value}
    with pytest.raises(EncodeError, match=f"^{said}"):
        Codec(compile_layout(EVERY[0])).encode(record)
