"""Records as lines of JSON."""

import pytest
from small_schema import codec_of, saw

from packcodec.codec.record import Record
from packcodec.edge.lines import read_records, record_line
from packcodec.errors import LogError
from packcodec.monitor import summarise


def test_records_come_back_from_their_lines() -> None:
    codec = codec_of()
    records = summarise(codec, [saw("06:00", "otter", 12), saw("07:00", "coot")]).records
    lines = [record_line(record) + "\n" for record in records]
    again = [item for item in read_records(["\n", *lines], "r.jsonl") if isinstance(item, tuple)]
    assert [place for place, _ in again] == [f"r.jsonl:{n}" for n in range(2, 2 + len(records))]
    assert [codec.encode(each) for _, each in again] == [codec.encode(each) for each in records]


@pytest.mark.parametrize(
    "line",
    [
        "{",
        "[]",
        "1",
        "[" * 100_000,
        '{"message": "summary"}',
        '{"message": 1, "values": {}}',
        '{"message": "summary", "values": []}',
        '{"message": "summary", "station": "one", "values": {}}',
        '{"message": "summary", "sequence": true, "values": {}}',
    ],
)
def test_a_line_that_is_no_record_is_refused_at_its_place(line: str) -> None:
    good = record_line(Record("summary", {}, 1, 0))
    first, second, third = read_records([good, line, good], "r.jsonl")
    assert isinstance(second, LogError)
    assert str(second).startswith("r.jsonl:2: is not ")
    assert (first, third) == (
        ("r.jsonl:1", Record("summary", {}, 1, 0)),
        ("r.jsonl:3", Record("summary", {}, 1, 0)),
    )
