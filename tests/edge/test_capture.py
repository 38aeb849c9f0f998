"""What receivers hand over: lines, and anyone's JSON by pointers; each error names its place."""

import json
from datetime import timedelta
from typing import Any

import pytest
from frame_stream import EPOCH
from hypothesis import given
from hypothesis import strategies as st

from packcodec.edge.capture import Pointers, Reader, read_lines
from packcodec.edge.heard import Heard
from packcodec.errors import LogError, SourceError

pytest.importorskip("jsonpointer", reason="the part [base] is not installed")

WHEN = "2027-04-01T06:30:00Z"
AT = EPOCH + timedelta(hours=6, minutes=30)
ANYONES = {
    "end_device": {"name": "reed_bed"},
    "up": {"data": "AP8=", "count": 7, "rx": [{"time": WHEN, "signal": -112, "snr": -4.5}]},
}
POINTERS = Pointers(
    frame="/up/data",
    received="/up/rx/0/time",
    rssi="/up/rx/0/signal",
    snr="/up/rx/0/snr",
    device="/end_device/name",
    sequence="/up/count",
    coding="base64",
)


def test_lines_of_hex_and_base64() -> None:
    assert Reader("b").read(f"00ff {WHEN}", "p", None) == Heard(b"\0\xff", AT, "b")
    assert Reader("b", "base64").read("AP8=", "p", AT) == Heard(b"\0\xff", AT, "b")


def test_a_byte_order_mark_is_passed_over() -> None:
    assert Reader("b").read(f"\ufeff00ff {WHEN}", "p", None) == Heard(b"\0\xff", AT, "b")
    text = "\ufeff" + json.dumps({"frame": "00ff"})
    assert Reader("b", "json").read(text, "p", AT) == Heard(b"\0\xff", AT, "b")


def test_a_servers_json_by_pointers() -> None:
    reader = Reader("b", "json", POINTERS, {"reed_bed": 2})
    expected = Heard(b"\0\xff", AT, "b", -112.0, -4.5, station=2, sequence=7)
    assert reader.read(json.dumps(ANYONES), "p", None) == expected


@pytest.mark.parametrize(
    ("device", "station"), [(5, 5), ("12", 12), ("reed_bed", 2), ("nobody", None), (True, None)]
)
def test_a_device_is_a_name_or_a_number(device: Any, station: int | None) -> None:
    reader = Reader("b", "json", None, {"reed_bed": 2})
    text = json.dumps({"frame": "00", "station": device})
    assert reader.read(text, "p", AT).station == station


def test_our_own_json_needs_no_pointers() -> None:
    text = json.dumps({"frame": "00ff", "received": WHEN, "rssi_dbm": -90, "base": "tower"})
    assert Reader("b", "json").read(text, "p", None) == Heard(b"\0\xff", AT, "tower", -90.0)


@pytest.mark.parametrize(
    ("form", "text", "problem"),
    [
        ("hex", "xyz", "is not hex"),
        ("hex", f"00 {WHEN} more", "is not a frame"),
        ("hex", "00 yesterday", "is not a reception time"),
        ("hex", "00 2027-04-01T06:30:00", "is not a reception time"),
        ("hex", "00", "nothing says when"),
        ("base64", "A$==", "is not base64"),
        (
            "json",
            "{",
            "not JSON: Expecting property name .* in line 1, column 2; give one object a frame$",
        ),
        ("json", "[" * 100_000, "not JSON to be read: a number or its brackets"),
        ("json", '{"frame": ' + "9" * 5000 + "}", "not JSON to be read: a number or its brackets"),
        ("json", '{"other": 1}', "has no text at /frame"),
        ("json", '{"frame": 12}', "has no text at /frame"),
        ("json", '{"frame": "00", "received": 1}', "is not a reception time"),
    ],
)
def test_what_is_wrong_is_named_with_its_place(form: Any, text: str, problem: str) -> None:
    with pytest.raises(LogError, match=problem) as refused:
        Reader("b", form).read(text, "capture:7", None)
    assert refused.value.place == "capture:7"


def test_a_pointer_that_is_none_is_refused() -> None:
    with pytest.raises(SourceError, match="no JSON Pointer"):
        Reader("b", "json", Pointers(frame="data"))


@given(st.text(max_size=60), st.sampled_from(["hex", "base64", "json"]))
def test_no_text_makes_another_error(text: str, form: Any) -> None:
    try:
        heard = Reader("b", form).read(text, "p", AT)
    except LogError:
        return
    assert isinstance(heard.frame, bytes)


def test_lines_without_times_are_told_apart_the_same_way_each_time() -> None:
    lines = ["00", "", "01\n", "zz", f"02 {WHEN}"]
    found = list(read_lines(lines, Reader("b"), "f", EPOCH))
    assert found[:2] == list(read_lines(lines, Reader("b"), "f", EPOCH))[:2]
    times = [each.received for each in found if isinstance(each, Heard)]
    assert times == [EPOCH + timedelta(microseconds=1), EPOCH + timedelta(microseconds=3), AT]
    assert [each.place for each in found if isinstance(each, LogError)] == ["f:4"]
