"""Reading logs: what is taken, what is skipped and said, what is refused."""

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_schema import EPOCH, at, saw, schema_of

from packcodec.edge.logs import (
    daily_stretches,
    opened,
    read_detections,
    read_health,
    read_watches,
    station_number,
)
from packcodec.errors import LogError
from packcodec.monitor import Detection, Health, Stretch

SCHEMA = schema_of()
HEADER = "time,station,label,confidence,individuals,image\n"
ROW = "2027-04-01T06:00:00Z,north_hide,coot,0.9,2,a.jpg\n"
COOT = Detection(1, at("06:00"), "coot", 0.9, 2, "a.jpg")


def detections(text: str, **columns: str) -> list[Detection]:
    found = read_detections(text.splitlines(keepends=True), SCHEMA, "log.csv", columns)
    assert found.refused == []
    return found.rows


@pytest.mark.parametrize(
    "text",
    [
        HEADER + ROW,
        HEADER + ROW.rstrip("\n"),
        (HEADER + ROW).replace("\n", "\r\n"),
        "\n" + HEADER + "\n" + ROW + "  \n",
        HEADER + ROW.replace("north_hide", "1"),
        HEADER + ROW.replace(",", " , ").replace(" coot ", '"coot"'),
        HEADER + ROW.replace("06:00:00Z", "08:00:00+02:00"),
        HEADER + ROW.replace("T06:00:00Z", " 06:00:00.000z"),
        "image,x,individuals,confidence,label,station,time\n"
        "a.jpg,?,2,9e-1,coot,1,2027-04-01T06:00:00Z\n",
    ],
)
def test_one_detection_however_written(text: str) -> None:
    assert detections(text) == [COOT]


def test_other_column_names_and_defaults() -> None:
    text = "when,station,label,score\n2027-04-01T06:00:00Z,1,coot,0.9\n"
    (row,) = detections(text, time="when", confidence="score")
    assert row == saw("06:00", "coot")
    (row,) = detections(HEADER + ROW.replace(",2,", ",,"))
    assert row.individuals == 1


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (ROW.replace("T06:00:00Z", "T25:61:00Z"), "log.csv:3 time: there is no"),
        (ROW.replace("2027", "9999"), "log.csv:3 time: the year of '9999.* out of range"),
        (ROW.replace("2027", "0001"), "log.csv:3 time: the year of '0001.* out of range"),
        ("x" * 200_000 + "\n", "log.csv:3: is a line of 200001 letters; .* at most 65536"),
        (ROW.replace("Z", ""), "log.csv:3 time: .*no time with an offset.*2027-04-01T06:30:00Z"),
        (ROW.replace("2027-04-01T06:00:00Z", "20270401T060000Z"), "log.csv:3 time"),
        (ROW.replace("2027-04-01T06:00:00Z", "0001-01-01T00:00:00+23:00"), "log.csv:3 time"),
        (ROW.replace("2027", "２０２７"), "log.csv:3 time"),
        (ROW.replace("north_hide", "north_hid"), "station: .*did you mean 'north_hide'"),
        (ROW.replace("north_hide", "16"), "station: .*a number 0 to 15"),
        (ROW.replace("north_hide", "-1"), "station"),
        (ROW.replace("north_hide", "9" * 5000), "station"),
        (ROW.replace("coot", ""), "log.csv:3 label: is empty"),
        (ROW.replace("0.9", "1.01"), "confidence: '1.01' is not from 0 to 1"),
        (ROW.replace("0.9", "nan"), "confidence"),
        (ROW.replace("0.9", "90%"), "confidence"),
        (ROW.replace("0.9", ""), "confidence"),
        (ROW.replace("0.9", "0,9"), "log.csv:3: has 7 cells where the header has 6"),
        (ROW.replace(",2,", ",0,"), "individuals: '0' is no count"),
        (ROW.replace(",2,", ",2.5,"), "individuals"),
        (ROW.replace(",2,", f",{'9' * 5000},"), "individuals"),
        (ROW.replace("coot", '"coot'), "log.csv:3: is not CSV"),
        ("2027-04-01T06:00:00Z\n", "log.csv:3: has 1 cell where"),
    ],
)
def test_a_bad_row_is_skipped_with_its_place_and_reason(row: str, says: str) -> None:
    lines = (HEADER + ROW + row + ROW).splitlines(keepends=True)
    found = read_detections(lines, SCHEMA, "log.csv")
    assert found.rows == [COOT, COOT]
    (error,) = found.refused
    assert re.search(says, str(error))
    with pytest.raises(LogError, match=says.replace("csv:3", "csv:2")):
        read_detections([HEADER, row], SCHEMA, "log.csv")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", r"^log\.csv: the file is empty; start it with the header time,station,label"),
        ("\n \n", "the file is empty"),
        (ROW, r"log\.csv:1 header: the column 'time' is missing"),
        (
            HEADER.replace("time", "tyme"),
            r"'time' is missing; the nearest is 'tyme'.*--column time",
        ),
        (HEADER.replace("time", "Time"), "the nearest is 'Time'"),
        (HEADER.replace("image", "time"), "'time' is there twice"),
        (HEADER.replace(",", ";"), r"header: columns are separated by ';'; use commas"),
        (HEADER.replace(",", "\t"), r"header: columns are separated by '\\t'; use commas"),
        ("x" * 200_000, r"log\.csv:1 header: is a line of 200000 letters; a row has at most"),
        ('"time,station\n' + ROW, r"log\.csv:1 header: is not CSV"),
    ],
)
def test_a_log_without_its_header_is_refused(text: str, says: str) -> None:
    with pytest.raises(LogError, match=says):
        read_detections(text.splitlines(keepends=True), SCHEMA, "log.csv")


def test_a_header_alone_is_an_empty_log() -> None:
    assert detections(HEADER) == []


@given(st.lists(st.text(max_size=60), max_size=5))
def test_whatever_the_rows_every_one_is_read_or_said(rows: list[str]) -> None:
    lines = [row.replace("\n", " ").replace("\r", " ") + "\n" for row in rows]
    found = read_detections([HEADER, ROW, *lines], SCHEMA, "log.csv")
    assert len(found.rows) + len(found.refused) == 1 + sum(bool(line.strip()) for line in lines)


def test_watches() -> None:
    lines = [
        "station,start,end,clock\n",
        "reed_bed,2027-04-01T06:00:00Z,2027-04-01T08:00:00Z,trusted\n",
        "2,2000-01-01T00:00:00Z,2000-01-01T01:00:00Z,unset\n",
        "2,2027-04-01T06:00:00Z,2027-04-01T06:00:00Z,trusted\n",
        "2,2027-04-01T06:00:00Z,2027-04-01T07:00:00Z,fast\n",
    ]
    found = read_watches(lines, SCHEMA, "watch.csv")
    wrong = datetime(2000, 1, 1, tzinfo=UTC)
    assert found.rows == [
        Stretch(2, at("06:00"), at("08:00")),
        Stretch(2, wrong, wrong + timedelta(hours=1), clock_trusted=False),
    ]
    assert [str(error) for error in found.refused] == [
        "watch.csv:4 end: is not after the start; swap or drop them",
        "watch.csv:5 clock: 'fast' is no state of a clock; use trusted or unset",
    ]
    with pytest.raises(LogError, match=r"'end' is missing; the nearest is 'ends'$"):
        read_watches(["station,start,ends\n"], SCHEMA, "watch.csv")


def test_health() -> None:
    lines = [
        "time,station,battery_mv,restarts,sealed,weather,clock\n",
        "2027-04-01T06:00:00Z,1,4000,,true,rain,unset\n",
        "2027-04-01T06:00:00Z,1,4.0,,,,\n",
        "2027-04-01T06:00:00Z,1,4000,,yes,,\n",
    ]
    found = read_health(lines, SCHEMA, "health.csv")
    values = {"battery_mv": 4000, "restarts": None, "sealed": True}
    assert found.rows == [Health(1, at("06:00"), values, clock_trusted=False)]
    assert [str(error) for error in found.refused] == [
        "health.csv:3 battery_mv: '4.0' does not fit integer; the schema takes 2800 to 4300",
        "health.csv:4 sealed: 'yes' does not fit boolean; the schema takes true or false",
    ]
    with pytest.raises(LogError, match=r"'battery_mv' is missing; the nearest is 'battery'$"):
        read_health(["time,station,battery\n"], SCHEMA, "health.csv")


def test_the_same_stretch_every_day_from_first_to_last() -> None:
    seen = [
        saw("12:00", "coot"),
        saw("12:00", "coot", day=2),
        Detection(1, EPOCH - timedelta(days=9000), "coot", 0.9),
    ]
    assert daily_stretches(seen, SCHEMA, "04:30-20:15") == [
        Stretch(1, at("04:30", day), at("20:15", day)) for day in (0, 1, 2)
    ]
    assert daily_stretches(seen[:1], SCHEMA, "20:00-04:00") == [
        Stretch(1, at("20:00"), at("04:00", 1))
    ]
    assert daily_stretches(seen[:1], SCHEMA, "00:00-24:00") == [Stretch(1, EPOCH, at("00:00", 1))]
    for wrong in ("", "4:30-20:15", "04:30", "25:00-26:00", "04:30-20:60"):
        with pytest.raises(LogError, match="write 04:30-20:15"):
            daily_stretches(seen, SCHEMA, wrong)
    with pytest.raises(LogError, match="station 1 saw something on 2027-04-01 and on 2029"):
        daily_stretches([*seen, saw("12:00", "coot", day=800)], SCHEMA, "04:30-20:15")


def test_a_station_by_name_or_number() -> None:
    assert station_number("reed_bed", SCHEMA, "--station") == 2
    assert station_number("7", SCHEMA, "--station") == 7
    with pytest.raises(LogError, match=r"--station: 'reed_bd'.*did you mean 'reed_bed'"):
        station_number("reed_bd", SCHEMA, "--station")


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    def text_of(path: Path) -> str:
        with opened(str(path)) as lines:
            return "".join(lines)

    log = tmp_path / "log.csv"
    log.write_bytes(b"\xef\xbb\xbftime\r\n")
    assert text_of(log) == "time\r\n"
    log.write_bytes(b"time\xff\n")
    with pytest.raises(LogError, match=r"log\.csv: is not UTF-8 text; save it as UTF-8"):
        text_of(log)
    with pytest.raises(LogError, match=r"none\.csv: the file is not there"):
        text_of(tmp_path / "none.csv")
    with pytest.raises(LogError, match="cannot be read: Is a directory; name a file that you may"):
        text_of(tmp_path)
