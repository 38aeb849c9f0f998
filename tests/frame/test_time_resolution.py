"""Times that are sent modulo a span, resolved by when the frame was received."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone

import pytest
from every_kind import EPOCH, schema_of
from hypothesis import given
from hypothesis import strategies as st
from strategies import schemas

from packcodec.codec import PartialTime
from packcodec.errors import CarrierError
from packcodec.frame import Codec, resolve
from packcodec.layout import compile_layout
from packcodec.schema.model import ListOf, Message, Schema, Time


def at(text: str) -> datetime:
    return datetime.fromisoformat(text)


DAY = 86400
MORNING = PartialTime(6 * 3600, DAY)


@pytest.mark.parametrize(
    ("received", "resolved"),
    [
        ("2027-04-01T06:00:00Z", "2027-04-01T06:00:00Z"),
        ("2027-06-09T07:15:00Z", "2027-06-09T06:00:00Z"),
        ("2027-06-09T04:15:00Z", "2027-06-09T06:00:00Z"),  # a base whose clock is behind
        ("2027-06-09T17:59:59Z", "2027-06-09T06:00:00Z"),
        ("2027-06-09T18:00:00Z", "2027-06-09T06:00:00Z"),  # a tie: the earlier
        ("2027-06-09T18:00:01Z", "2027-06-10T06:00:00Z"),
        ("2027-06-09T09:15:00+02:00", "2027-06-09T06:00:00Z"),
        ("2027-12-31T23:59:59Z", "2028-01-01T06:00:00Z"),
        ("2026-01-01T00:00:00Z", "2026-01-01T06:00:00Z"),  # before the epoch too
    ],
)
def test_a_partial_time_is_the_instant_nearest_to_reception(received: str, resolved: str) -> None:
    assert resolve(MORNING, EPOCH, at(received)) == at(resolved)


@given(
    offset=st.integers(0, DAY - 1),
    received=st.datetimes(datetime(2000, 1, 1), datetime(2100, 1, 1), timezones=st.just(UTC)),
)
def test_no_other_instant_of_that_offset_is_nearer(offset: int, received: datetime) -> None:
    found = resolve(PartialTime(offset, DAY), EPOCH, received)
    assert (found - EPOCH - timedelta(seconds=offset)) % timedelta(days=1) == timedelta(0)
    assert abs(found - received) <= timedelta(hours=12)


@given(schema=schemas(), data=st.data())
def test_a_delay_under_half_the_span_changes_no_time(schema: Schema, data: st.DataObject) -> None:
    span_s = data.draw(st.integers(2, 1000))
    schema = replace(schema, messages=(Message("m", 0, (Time("at", 1, span_s, "wrap"),)),))
    when = schema.epoch + timedelta(seconds=data.draw(st.integers(0, 10**8)))
    codec = Codec(compile_layout(schema))
    frame = codec.encode({"message": "m", "values": {"at": when}}, station=0, sequence=0)
    delay_s = data.draw(st.integers(-((span_s - 1) // 2), (span_s - 1) // 2))
    received = when.astimezone(timezone(timedelta(hours=3))) + timedelta(seconds=delay_s)
    record = codec.decode(frame, received=received, station=0, sequence=0)
    assert record.values == {"at": when}


def test_lists_and_absent_times_are_resolved_too() -> None:
    times = (Time("at", 60, DAY, "wrap", True),)
    codec = Codec(
        compile_layout(schema_of(ListOf("rows", times, 0, 3), Time("whole", 60, DAY, "reject")))
    )
    noon = EPOCH + timedelta(hours=12)
    rows = [{"at": noon}, {"at": None}]
    said = {"message": "m", "values": {"rows": rows, "whole": noon}}
    frame = codec.encode(said, station=1, sequence=1)
    unresolved = codec.decode(frame).values
    assert unresolved["rows"] == [{"at": PartialTime(43200, DAY)}, {"at": None}]
    assert codec.decode(frame, received=noon + timedelta(hours=1)).values == said["values"]


@pytest.mark.parametrize("received", [datetime(2027, 4, 1), datetime.max.replace(tzinfo=UTC)])
def test_a_reception_time_that_cannot_be_is_refused(received: datetime) -> None:
    codec = Codec(compile_layout(schema_of(Time("at", 1, 40 * DAY, "wrap"))))
    late = EPOCH + timedelta(days=39)
    frame = codec.encode({"message": "m", "values": {"at": late}}, station=1, sequence=1)
    with pytest.raises(CarrierError) as refused:
        codec.decode(frame, received=received)
    assert refused.value.place == "received"
