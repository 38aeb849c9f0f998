"""The frame codec and the reference frame are one: same bytes, same records, same refusals."""

from datetime import UTC, datetime
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from strategies import schemas, values_for
from tool_loader import tool

from packcodec.codec import Record
from packcodec.errors import DecodeError, Reason
from packcodec.frame import Codec, reference, resolve
from packcodec.frame.crc import crc_function
from packcodec.layout import CHECKS, compile_layout
from packcodec.schema.model import Schema

ARBITRARY = tool("arbitrary_bytes")
NOON = datetime(2030, 6, 1, 12, tzinfo=UTC)


@given(schema=schemas(check="auto"), data=st.data())
def test_both_write_and_read_the_same(schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    message = data.draw(st.sampled_from(schema.messages))
    values = data.draw(values_for(schema, message, wrap_spans=2, beyond_clamps=True))
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    counter = data.draw(st.integers(0, (1 << 32) - 1))
    frame = codec.encode(Record(message.name, values, station, counter))
    assert frame == reference.encode(
        codec.layout, message.name, values, station=station, counter=counter
    )
    read = codec.decode(frame, station=station, message=message.name)
    assert read == reference.decode(codec.layout, frame, station=station, message=message.name)
    assert resolve(read.values, schema.epoch, NOON) == reference.resolved(
        read.values, schema.epoch, NOON
    )


@given(schema=schemas(check="auto"), data=st.data())
def test_both_read_any_bytes_the_same(schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    longest = max(message.most_frame_bytes for message in codec.layout.messages)
    frame = data.draw(st.binary(max_size=longest + 2))
    if data.draw(st.booleans()):
        frame = ARBITRARY.mended(codec, frame)
    carried = {"station": ARBITRARY.STATION, "message": schema.messages[0].name, "sequence": 5}
    one = outcome(lambda: codec.decode(frame, **carried))
    other = outcome(lambda: reference.decode(codec.layout, frame, **carried))
    # A payload with two faults may be refused for either (spec/wire-format.md, "Errors").
    either = (Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH)
    assert one == other or (one in either and other in either)


def outcome(decode: Any) -> Record | Reason:
    try:
        return decode()
    except DecodeError as refused:
        return refused.reason


@given(st.sampled_from(sorted(CHECKS)), st.binary(max_size=50))
def test_both_checks_are_one(name: str, data: bytes) -> None:
    bits = "".join(format(byte, "08b") for byte in data)
    assert crc_function(CHECKS[name])(data) == reference.check_value(CHECKS[name], bits)
