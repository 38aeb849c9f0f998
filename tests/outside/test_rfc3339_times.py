"""Times as RFC 3339 writes them, by the examples of its section 5.8.

Source: RFC 3339 (G. Klyne, C. Newman, 2002), section 5.8; the examples from memory.
"""

from datetime import UTC, datetime
from typing import Any

import pytest
from every_kind import schema_of

from packcodec.errors import EncodeError
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Schema, Time

SPAN_S = 100 * 366 * 86400


def schema(step_s: int = 1) -> Schema:
    made = schema_of(Time("at", step_s, SPAN_S, "reject"))
    return Schema(
        **{name: getattr(made, name) for name in Schema.__slots__ if name != "epoch"},
        epoch=datetime(1930, 1, 1, tzinfo=UTC),
    )


def sent_and_read(text: str) -> Any:
    codec = Codec(compile_layout(schema()))
    frame = codec.encode({"message": "m", "values": {"at": text}}, station=1, sequence=1)
    return codec.decode(frame).to_json()["values"]["at"]


@pytest.mark.parametrize(
    ("written", "read"),
    [
        ("1985-04-12T23:20:50.52Z", "1985-04-12T23:20:50Z"),  # brought down to the step of 1 s
        ("1996-12-19T16:39:57-08:00", "1996-12-20T00:39:57Z"),  # equivalent, says the RFC
        ("1937-01-01T12:00:27.87+00:20", "1937-01-01T11:40:27Z"),
    ],
)
def test_examples(written: str, read: str) -> None:
    assert sent_and_read(written) == read
    assert sent_and_read(read) == read


@pytest.mark.parametrize("leap", ["1990-12-31T23:59:60Z", "1990-12-31T15:59:60-08:00"])
def test_a_leap_second_is_refused_for_time_is_counted_without_them(leap: str) -> None:
    with pytest.raises(EncodeError, match="a time is written") as refused:
        sent_and_read(leap)
    assert refused.value.place == "message.m.at"


def test_a_time_without_offset_is_refused() -> None:
    with pytest.raises(EncodeError, match="offset from UTC"):
        sent_and_read("1985-04-12T23:20:50")
