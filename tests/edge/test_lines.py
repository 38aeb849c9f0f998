"""Records as lines of JSON."""

import json
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_schema import codec_of, saw

from packcodec.codec.record import Record
from packcodec.edge.lines import FrameLine, read_frames, read_records, record_line
from packcodec.errors import EncodeError, LogError
from packcodec.monitor import summarise


def test_records_come_back_from_their_lines() -> None:
    codec = codec_of()
    records = summarise(codec, [saw("06:00", "otter", 12), saw("07:00", "coot")]).records
    lines = [record_line(record) + "\n" for record in records]
    again = [item for item in read_records(["\n", *lines], "r.jsonl") if isinstance(item, tuple)]
    assert [place for place, _ in again] == [f"r.jsonl:{n}" for n in range(2, 2 + len(records))]
    assert [codec.encode(each) for _, each in again] == [codec.encode(each) for each in records]


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("{", " is not JSON: Expecting property name enclosed in double quotes in column 2;"),
        ("[]", r" is \[\], and no object; a record is "),
        ("1", " is 1, and no object; a record is "),
        ("[" * 100_000, " brackets are nested too deep to read; "),
        ('{"message": "summary"}', " values: is missing; it takes an object"),
        ('{"message": "summary", "values": []}', r" values: is \[\]; it takes an object"),
        ('{"message": 1, "values": {}}', " message: is 1; it takes the name"),
        ('{"values": {}}', " message: is missing; "),
        ('{"message": "summary", "station": "north_hide", "values": {}}', " station: is 'north_h"),
        ('{"message": "summary", "station": 1.0, "values": {}}', " station: is 1.0; it takes a"),
        ('{"message": "summary", "station": true, "values": {}}', " station: is true; "),
        ('{"message": "summary", "sequence": "7", "values": {}}', " sequence: is '7'; "),
        ('{"message": "summary", "values": {"a": 1, "a": 1}}', " 'a': is there twice; keep one"),
        ('{"message": "summary", "message": "summary", "values": {}}', " 'message': is there twi"),
        ('{"message": "summary", "values": {"a": NaN}}', " NaN is no number in JSON; "),
        (
            '{"message": "summary", "values": {"a": ' + "9" * 5000 + "}}",
            " there is a number of 5000 digits; no field takes more than 20",
        ),
    ],
)
def test_a_line_that_is_no_record_is_refused_at_its_place(line: str, said: str) -> None:
    good = record_line(Record("summary", {}, 1, 0))
    first, second, third = read_records([good, line, good], "r.jsonl")
    assert isinstance(second, LogError)
    assert re.match(rf"r\.jsonl:2:?{said}", str(second))
    assert (first, third) == (
        ("r.jsonl:1", Record("summary", {}, 1, 0)),
        ("r.jsonl:3", Record("summary", {}, 1, 0)),
    )


def test_a_byte_order_mark_is_passed_over() -> None:
    record = Record("summary", {}, 1, 0)
    [(_, read)] = [
        each
        for each in read_records(["\ufeff" + record_line(record), "\ufeff\n"], "r.jsonl")
        if not isinstance(each, LogError)
    ]
    assert read == record
    assert list(read_frames(["\ufeff00ff\n"], "f.hex")) == [FrameLine("f.hex:1", b"\0\xff", None)]


def test_spaces_among_the_digits_of_a_frame_are_told_from_a_time() -> None:
    [refused] = read_frames(["2f 4e bc\n"], "f.hex")
    assert str(refused) == (
        "f.hex:1: there are spaces among the digits of a frame; write them without; "
        "only packcodec explain takes them so"
    )
    [refused] = read_frames(["2f4ebc yesterday\n"], "f.hex")
    assert "'yesterday' is not a reception time" in str(refused)


JSON = st.recursive(
    st.one_of(
        st.none(),
        st.booleans(),
        st.integers(-(10**30), 10**30),
        st.floats(),
        st.text(max_size=4),
        st.sampled_from(["otter", "#3", "2027-04-01T06:00:00Z", "0001-01-01T00:00:00+14:00"]),
    ),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3),
        st.dictionaries(st.sampled_from(["at_least", "offset_s", "span_s", "species"]), inner),
    ),
    max_leaves=6,
)


@given(st.data())
def test_any_line_is_a_record_or_refused_and_any_record_a_frame_or_refused(
    data: st.DataObject,
) -> None:
    codec = codec_of()
    summary = next(each for each in codec.schema.messages if each.name == "summary")
    values = {field.name: data.draw(JSON) for field in summary.fields}
    record = {"message": "summary", "station": 1, "sequence": 0, "values": values}
    for part in data.draw(st.lists(st.sampled_from(sorted(record)), max_size=1)):
        record[part] = data.draw(JSON)
    line = json.dumps(record)
    cut = data.draw(st.integers(0, 2 * len(line)))
    [item] = read_records([line[:cut] or "x"], "r.jsonl")
    if isinstance(item, tuple):
        try:
            frame = codec.encode(item[1])
        except EncodeError:
            return
        assert codec.decode(frame).message == "summary"
