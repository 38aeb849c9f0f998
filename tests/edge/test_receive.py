"""Receiving: several sources at once, none of which loses what it heard."""

import json
import os
import socket
import tty
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from click.testing import CliRunner
from frame_stream import CODEC, CSV, EPOCH, TOML, frames_of

from packcodec.base.events import Accepted, Duplicate, Event, Rejected
from packcodec.errors import PackcodecError, SourceError

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")
pytest.importorskip("jsonpointer", reason="the part [base] is not installed")

from packcodec.edge.capture import Reader
from packcodec.edge.cli.receive import _source, command
from packcodec.edge.framing import Cobs, Kiss
from packcodec.edge.receive import Receiver
from packcodec.edge.sources import FileSource, SerialSource, Source, UdpSource
from packcodec.edge.store import Store


class Hearing:
    """A receiver in a thread, its events and what it told."""

    def __init__(self, store: Store, *sources: Source) -> None:
        self.events: list[Event] = []
        self.told: list[str] = []
        self.error: PackcodecError | None = None
        self.receiver = Receiver(
            store, sources, on_events=self.events.extend, tell=self.told.append
        )
        self.thread = Thread(target=self._run)
        self.thread.start()

    def _run(self) -> None:
        try:
            self.receiver.run()
        except PackcodecError as error:
            self.error = error

    def until(self, count: int) -> list[Event]:
        """Wait for that many events, stop, and give them all."""
        for _ in range(2000):
            if len(self.events) >= count or not self.thread.is_alive():
                break
            self.thread.join(0.01)
        return self.end()

    def until_told(self) -> None:
        for _ in range(2000):
            if self.told:
                return
            self.thread.join(0.01)

    def end(self) -> list[Event]:
        self.receiver.stop.set()
        self.thread.join(30)
        assert not self.thread.is_alive()
        return self.events


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "store.db"), [CODEC])
    yield opened
    opened.close()


def written(path: Path, frames: list[bytes]) -> Path:
    lines = [
        f"{frame.hex()} {(EPOCH + timedelta(hours=at)).isoformat()}\n"
        for at, frame in enumerate(frames)
    ]
    path.write_text("".join(lines))
    return path


def test_several_files_at_once(store: Store, tmp_path: Path) -> None:
    one = written(tmp_path / "one.hex", frames_of(30, station=1))
    other = written(tmp_path / "other.hex", frames_of(40, station=2))
    hearing = Hearing(store, *(FileSource(str(path), Reader("b")) for path in (one, other)))
    hearing.thread.join(30)
    assert sum(isinstance(event, Accepted) for event in hearing.end()) == 70
    assert hearing.told == []


def test_a_missing_file_does_not_stop_the_others(store: Store, tmp_path: Path) -> None:
    there = written(tmp_path / "there.hex", frames_of(5))
    sources = [FileSource(str(path), Reader("b")) for path in (tmp_path / "not", there)]
    hearing = Hearing(store, *sources)
    hearing.thread.join(30)
    assert len(hearing.end()) == 5
    assert isinstance(hearing.error, SourceError)
    assert "not" in hearing.error.place


@pytest.mark.parametrize(("name", "framing"), [("cobs", Cobs), ("kiss", Kiss)])
def test_a_serial_line(store: Store, name: str, framing: Any) -> None:
    pytest.importorskip("serial", reason="the part [serial] is not installed")
    near, far = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    source = SerialSource(os.ttyname(far), "b", framing=name)
    hearing = Hearing(store, source)
    assert source.ready.wait(10)
    frames = frames_of(12)
    for frame in frames:
        os.write(near, b"noise" + framing().wrap(frame))
    events = hearing.until(12)
    assert [event.counter for event in events if isinstance(event, Accepted)] == [*range(12)]
    os.close(near)
    os.close(far)


def test_a_serial_line_that_is_not_there_is_tried_again(store: Store, tmp_path: Path) -> None:
    pytest.importorskip("serial", reason="the part [serial] is not installed")
    hearing = Hearing(store, SerialSource(str(tmp_path / "tty"), "b"))
    hearing.until_told()
    hearing.end()
    assert "trying again in 1 s" in hearing.told[0]
    assert hearing.error is None


def test_datagrams(store: Store) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    source = UdpSource("127.0.0.1", port, "b")
    hearing = Hearing(store, source)
    assert source.ready.wait(10)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for frame in [*frames_of(8), b"noise"]:
            sender.sendto(frame, ("127.0.0.1", port))
    events = hearing.until(9)
    assert sum(isinstance(event, Accepted) for event in events) == 8
    assert sum(isinstance(event, Rejected) for event in events) == 1


def test_a_store_that_fails_is_tried_again_before_anything_is_acknowledged(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("packcodec.edge.receive.RETRY_S", 0.01)
    right = store._writer.frames
    acknowledged: list[bool] = []

    class Once:
        def run(self, outlet: Any) -> None:
            store._writer.frames = "INSERT INTO nowhere VALUES (1)"
            heard = Reader("b").read(frames_of(1)[0].hex(), "p", EPOCH)
            outlet.put([heard], lambda: acknowledged.append(store._writer.frames == right))

    hearing = Hearing(store, Once())
    hearing.until_told()
    assert acknowledged == []
    store._writer.frames = right
    assert len(hearing.until(1)) == 1
    assert acknowledged == [True]
    assert "nowhere" in hearing.told[0]


@pytest.fixture
def marsh(tmp_path: Path) -> Path:
    (tmp_path / "marsh.toml").write_text(TOML)
    (tmp_path / "species.csv").write_text(CSV)
    return tmp_path


def run(marsh: Path, *arguments: str, stdin: str = "") -> Any:
    fixed = [str(marsh / "store.db"), "--schema", str(marsh / "marsh.toml")]
    return CliRunner().invoke(command, [*fixed, *arguments], input=stdin)


def test_the_command_counts_what_it_heard(marsh: Path) -> None:
    frames = frames_of(30)
    file = written(marsh / "a.hex", [*frames[:10], *frames[12:]])
    result = run(marsh, str(file))
    assert result.exit_code == 0, result.output
    assert "28 frames heard" in result.output
    assert "2 numbers were missing" in result.output
    again = run(marsh, str(file), "--events")
    kinds = [json.loads(line)["event"] for line in again.output.splitlines()]
    assert kinds == ["duplicate"] * 28


def test_a_file_of_good_and_bad_lines_keeps_the_good_and_says_so(marsh: Path) -> None:
    """2 where a line is no frame, 1 where a frame gives no record, 0 where all is well."""
    frames = frames_of(6)
    good = [f"{frame.hex()} 2027-04-01T0{at}:00:00Z" for at, frame in enumerate(frames)]
    damaged = f"{frames[0][:-1].hex()}00 2027-04-01T09:00:00Z"
    other = marsh / "b.hex"
    for lines, more, code, said in (
        (
            [good[0], "not a frame", good[1], "zz 2027-04-01T01:00:00Z"],
            [],
            2,
            "2 lines gave no frame",
        ),
        ([good[2], damaged, good[3]], [], 1, "1 gave no record: damaged"),
        ([good[4], damaged, "zz 2027-04-01T01:00:00Z"], [good[5]], 2, "1 line gave no frame"),
        (good, [], 0, "6 duplicate"),
    ):
        file = marsh / "a.hex"
        file.write_text("\n".join(lines) + "\n")
        other.write_text("\n".join(more) + "\n")
        result = run(marsh, str(file), str(other))
        assert result.exit_code == code, result.output
        assert said in result.output
        if code == 2:
            at = next(at for at, line in enumerate(lines, 1) if line not in [*good, damaged])
            assert f"{file}:{at}" in result.output
    piped = run(marsh, "-", "--received", "2027-04-01T00:00:00Z", stdin="what\n")
    assert piped.exit_code == 2
    assert "standard input:1" in piped.output


def test_events_say_on_standard_error_what_gave_no_record(marsh: Path) -> None:
    file = written(marsh / "a.hex", [*frames_of(2), b"noise"])
    result = run(marsh, str(file), "--events")
    assert result.exit_code == 1
    assert "1 frame gave no record: 1 unreadable" in result.stderr
    assert [json.loads(line)["event"] for line in result.stdout.splitlines()][-1] == "rejected"


def test_the_lines_that_are_kept_in_mind_do_not_grow_with_the_file(marsh: Path) -> None:
    file = marsh / "log.txt"
    file.write_text("not a frame\n" * 500)
    result = run(marsh, str(file))
    assert result.exit_code == 2
    last = result.stderr.splitlines()[-1]
    assert "500 lines gave no frame" in last
    assert last.count("log.txt:") == 10
    assert last.endswith("…")
    assert len(result.stderr.splitlines()) == 20 + 2


def test_a_file_without_times_needs_one(marsh: Path) -> None:
    file = marsh / "bare.hex"
    file.write_text("".join(f"{frame.hex()}\n" for frame in frames_of(3)))
    assert "nothing says when" in run(marsh, str(file)).output
    timed = run(marsh, str(file), "--received", "2027-04-01T00:00:00Z", "--events")
    assert [json.loads(line)["event"] for line in timed.output.splitlines()] == ["accepted"] * 3


@pytest.mark.parametrize(
    ("named", "problem"),
    [
        ("ftp://somewhere/file", "no source that is known"),
        ("udp://0.0.0.0", "has no port"),
        ("udp://0.0.0.0:99999", "Port out of range"),
        ("serial:/dev/ttyUSB0?speed=3", "no option 'speed'"),
        ("serial:/dev/ttyUSB0?baud=fast", "baud is 'fast'"),
        ("mqtt://broker", "has no topic"),
    ],
)
def test_what_is_no_source_says_what_would_be(named: str, problem: str) -> None:
    with pytest.raises(SourceError, match=problem):
        _source(named, None, "b", lambda form: Reader("b", form), None)


def test_a_topic_filter_may_hold_what_a_url_may_not() -> None:
    pytest.importorskip("paho.mqtt.client", reason="the part [base] is not installed")
    source: Any = _source(
        "mqtt://ranger@broker:1884/marsh/%2B/up/#?client=one&group=bases",
        None,
        "b",
        lambda form: Reader("b", form),
        None,
    )
    assert (source.topic, source.client, source.group) == ("marsh/+/up/#", "one", "bases")
    assert (source.host, source.port, source.user) == ("broker", 1884, "ranger")


def test_duplicates_within_one_capture_are_one_record(store: Store, tmp_path: Path) -> None:
    frames = frames_of(4)
    file = written(tmp_path / "twice.hex", [frames[0], frames[0], frames[1]])
    hearing = Hearing(store, FileSource(str(file), Reader("b")))
    hearing.thread.join(30)
    assert [type(event) for event in hearing.end()] == [Accepted, Duplicate, Accepted]
