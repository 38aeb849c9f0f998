"""Frames: header widths, what the carrier says, reasons of refusal, whole schemas, any bytes."""

from dataclasses import replace
from typing import Any

import pytest
from every_kind import EVERY, VALUES, schema_of
from hypothesis import given
from hypothesis import strategies as st
from strategies import schemas, values_for
from tool_loader import tool

import packcodec
from packcodec.codec import Record, reference
from packcodec.errors import CarrierError, DecodeError, EncodeError, LayoutError, Reason
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import (
    Boolean,
    Enumeration,
    Flags,
    Integer,
    ListOf,
    Message,
    Schema,
)

ARBITRARY = tool("arbitrary_bytes")
ALL_SENT = {"tag_bits": 8, "message_bits": 1, "station_bits": 4, "sequence_bits": 10}
NONE_SENT = dict.fromkeys(ALL_SENT, 0)


def codec_of(*fields: Any, **frame: int) -> Codec:
    return Codec(compile_layout(schema_of(*fields, **frame)))


def refusal(codec: Codec, frame: bytes, **carried: Any) -> Reason:
    with pytest.raises(DecodeError) as refused:
        codec.decode(frame, **carried)
    return refused.value.reason


def with_check(codec: Codec, data: bytes) -> bytes:
    return data + codec.check(data, 0, 0).to_bytes(codec.layout.check.octets, "big")


# The header


def test_header_parts_stand_in_order_most_significant_first() -> None:
    codec = codec_of(Integer("n", 0, 255), **ALL_SENT)
    frame = codec.encode({"message": "m", "values": {"n": 0xA5}}, station=9, sequence=0x2AB)
    bits = f"{codec.layout.tag:08b}" + "0" + "1001" + f"{0x2AB:010b}" + f"{0xA5:08b}" + "0"
    assert frame[:-3] == int(bits, 2).to_bytes(4, "big")


def test_only_the_last_bits_of_the_counter_are_sent() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    said = {"message": "m", "values": {"b": True}}
    frame = codec.encode(said, station=9, sequence=(1 << 32) - 1)
    assert codec.decode(frame).sequence == 1023
    assert codec.encode(said, station=9, sequence=1023) == frame


def test_a_frame_without_header_or_payload_is_its_check() -> None:
    codec = codec_of(Integer("n", 7, 7), **NONE_SENT)
    frame = codec.encode({"message": "m", "values": {"n": 7}}, station=1)
    assert len(frame) == 3
    assert codec.decode(frame, station=1) == Record("m", {"n": 7}, 1, None)
    assert codec.decode(frame, station=1, sequence=12).sequence == 12
    assert refusal(codec, frame, station=2) is Reason.FAILED_CHECK


def test_what_the_header_says_counts_not_what_the_carrier_says() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    frame = codec.encode({"message": "m", "values": {"b": False}}, station=5, sequence=6)
    record = codec.decode(frame, station=7, message="other", sequence=8)
    assert (record.message, record.station, record.sequence) == ("m", 5, 6)


@pytest.mark.parametrize("station", [None, -1, 1 << 32, "1", True])
def test_a_station_that_the_carrier_must_say(station: Any) -> None:
    codec = codec_of(Boolean("b"), **{**ALL_SENT, "station_bits": 0})
    frame = codec.encode({"message": "m", "values": {"b": True}}, station=70_000, sequence=1)
    assert codec.decode(frame, station=70_000).station == 70_000
    with pytest.raises(CarrierError) as refused:
        codec.decode(frame, station=station)
    assert refused.value.place == "station"


def test_a_message_that_the_carrier_must_say_unless_there_is_one() -> None:
    schema = schema_of(Boolean("b"), **{**ALL_SENT, "message_bits": 0})
    one = Codec(compile_layout(schema))
    frame = one.encode({"message": "m", "values": {"b": True}}, station=1, sequence=1)
    assert one.decode(frame).message == "m"
    two = replace(schema, messages=(*schema.messages, Message("n", 200, (Boolean("b"),))))
    codec = Codec(compile_layout(two))
    frame = codec.encode({"message": "n", "values": {"b": True}}, station=1, sequence=1)
    assert codec.decode(frame, message="n").message == "n"
    assert refusal(codec, frame, message="m") is Reason.FAILED_CHECK
    for message in (None, "o"):
        with pytest.raises(CarrierError) as refused:
            codec.decode(frame, message=message)
        assert refused.value.place == "message"


@pytest.mark.parametrize(
    ("carried", "place"),
    [
        ({"station": 16, "sequence": 1}, "station"),
        ({"station": None, "sequence": 1}, "station"),
        ({"station": True, "sequence": 1}, "station"),
        ({"station": 1, "sequence": None}, "sequence"),
        ({"station": 1, "sequence": 1 << 32}, "sequence"),
        ({"station": 1, "sequence": -1}, "sequence"),
    ],
)
def test_encode_refuses_numbers_that_do_not_fit(carried: dict[str, Any], place: str) -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    with pytest.raises(EncodeError) as refused:
        codec.encode({"message": "m", "values": {"b": True}}, **carried)
    assert refused.value.place == place


@pytest.mark.parametrize(
    "record",
    [
        None,
        "m",
        {"message": "m"},
        {"message": "m", "values": None},
        {"message": "other", "values": {"b": True}},
        {"message": ["m"], "values": {"b": True}},
        {"message": None, "values": {"b": True}},
        {"message": "m", "values": {"b": True, "c": 1}},
        {"message": "m", "values": {}},
        Record("m", {"b": "maybe"}),
    ],
)
def test_encode_refuses_what_is_no_record(record: Any) -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    with pytest.raises(EncodeError):
        codec.encode(record, station=1, sequence=1)


def test_a_record_says_its_own_station_and_sequence() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    record = Record("m", {"b": True}, 3, 4)
    assert codec.decode(codec.encode(record)) == record
    assert codec.decode(codec.encode(record.to_json())) == record
    assert codec.decode(codec.encode(record, station=5)).station == 5


# Refusals


def test_wrong_length() -> None:
    codec = codec_of(ListOf("rows", (Integer("n", 0, 255),), 0, 3), **ALL_SENT)
    frame = codec.encode(
        {"message": "m", "values": {"rows": [{"n": 1}] * 2}}, station=1, sequence=1
    )
    for wrong in (b"", b"\x00", frame[:5], bytes(341), frame + bytes(400)):
        assert refusal(codec, wrong) is Reason.WRONG_LENGTH
    data = frame[:-3]
    assert codec.decode(with_check(codec, data)) == codec.decode(frame)
    assert refusal(codec, with_check(codec, data[:-1])) is Reason.WRONG_LENGTH
    assert refusal(codec, with_check(codec, data + b"\x00")) is Reason.WRONG_LENGTH


def test_unknown_tag_comes_before_the_check() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    frame = codec.encode({"message": "m", "values": {"b": True}}, station=1, sequence=1)
    assert refusal(codec, bytes([frame[0] ^ 1]) + frame[1:]) is Reason.UNKNOWN_TAG


def test_failed_check() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    frame = codec.encode({"message": "m", "values": {"b": True}}, station=1, sequence=1)
    assert refusal(codec, frame[:-1] + bytes([frame[-1] ^ 1])) is Reason.FAILED_CHECK


def test_unknown_message() -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    data = (codec.layout.tag << 16 | 1 << 15).to_bytes(3, "big")
    assert refusal(codec, with_check(codec, data)) is Reason.UNKNOWN_MESSAGE


@pytest.mark.parametrize("field", [Integer("n", 0, 4), Enumeration("n", ("a", "b", "c", "d", "e"))])
def test_out_of_range_names_the_field(field: Any) -> None:
    codec = codec_of(field, **{**NONE_SENT, "station_bits": 5})
    with pytest.raises(DecodeError) as refused:
        codec.decode(with_check(codec, bytes([0b00001_101])))
    assert refused.value.reason is Reason.OUT_OF_RANGE
    assert refused.value.place == "message.m.n"


def test_nonzero_pad() -> None:
    codec = codec_of(Flags("f", ("a", "b")), **{**NONE_SENT, "station_bits": 4})
    assert codec.decode(with_check(codec, bytes([0b0001_11_00]))).values == {"f": ("a", "b")}
    for pad in (1, 2, 3):
        assert refusal(codec, with_check(codec, bytes([0b0001_1100 | pad]))) is Reason.NONZERO_PAD


@pytest.mark.parametrize("frame", ["00ff", None, 7, [1, 2]])
def test_what_is_not_bytes_is_refused_too(frame: Any) -> None:
    with pytest.raises(CarrierError, match="a frame is bytes"):
        codec_of(Boolean("b")).decode(frame)


@pytest.mark.parametrize("wrapped", [bytes, bytearray, memoryview])
def test_any_kind_of_bytes_is_read(wrapped: Any) -> None:
    codec = codec_of(Boolean("b"), **ALL_SENT)
    record = Record("m", {"b": True}, 3, 4)
    assert codec.decode(wrapped(codec.encode(record))) == record


def test_a_layout_past_the_reach_of_its_check_is_refused() -> None:
    long = ListOf("rows", (Integer("n", 0, 255),), 0, 20)
    with pytest.raises(LayoutError, match="use check = 'crc16'"):
        compile_layout(schema_of(long, check="crc16-short"))
    assert compile_layout(schema_of(long, check="crc16")).check.name == "crc16"


# Whole schemas


@given(schema=schemas(check="auto"), data=st.data())
def test_any_record_of_any_schema_comes_back(schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    message = data.draw(st.sampled_from(schema.messages))
    values = data.draw(values_for(schema, message, wrap_spans=2, beyond_clamps=True))
    widths = schema.frame
    station = data.draw(st.integers(0, (1 << (widths.station_bits or 32)) - 1))
    sequence = data.draw(st.integers(0, (1 << 32) - 1))
    frame = codec.encode(Record(message.name, values, station, sequence))
    (laid_out,) = (one for one in codec.layout.messages if one.name == message.name)
    assert laid_out.least_frame_bytes <= len(frame) <= laid_out.most_frame_bytes
    record = codec.decode(frame, station=station, message=message.name)
    payload = reference.encode(schema, message, values)
    assert record.values == reference.decode(schema, message, payload)
    assert record.station == station
    bits = widths.sequence_bits
    assert record.sequence == (sequence % (1 << bits) if bits else None)
    assert codec.encode(record, station=station) == frame
    assert codec.encode(record.to_json(), station=station) == frame


@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_every_kind_comes_back(schema: Schema, values: dict[str, Any]) -> None:
    codec = Codec(compile_layout(schema))
    frame = codec.encode({"message": "m", "values": values}, station=1, sequence=2)
    record = codec.decode(frame)
    assert codec.encode(record) == frame
    expected = reference.decode(
        schema, schema.messages[0], reference.encode(schema, schema.messages[0], values)
    )
    assert record.values == expected


@given(schema=schemas(check="auto"), data=st.data())
def test_any_bytes_are_a_record_or_refused_with_a_reason(
    schema: Schema, data: st.DataObject
) -> None:
    codec = Codec(compile_layout(schema))
    longest = max(message.most_frame_bytes for message in codec.layout.messages)
    frame = data.draw(st.binary(max_size=longest + 2))
    name = schema.messages[0].name
    if data.draw(st.booleans()):
        frame = ARBITRARY.mended(codec, frame)
    try:
        record = codec.decode(frame, station=3, message=name)
    except DecodeError:
        return
    assert codec.encode(record) == frame


def test_arbitrary_bytes_through_the_demo_schema() -> None:
    codec = packcodec.load(ARBITRARY.DEMO)
    outcomes = ARBITRARY.decode_arbitrary(codec, 40_000, seed=2)
    assert outcomes.total() == 40_000
    expected = {reason.name for reason in Reason if reason is not Reason.NOT_CANONICAL}
    assert set(outcomes) == {*expected, "a record"}
