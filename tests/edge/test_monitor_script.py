"""The README's monitor script, for real: two processes, a serial line, a power cut."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from threading import Event, Thread
from typing import Any

from packcodec.codec.record import to_json
from packcodec.edge.files import load
from packcodec.edge.logs import read_detections
from packcodec.monitor import Stretch, summarise

SCRIPT = Path(__file__).parent / "monitor_script.py"
DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data"
STATION = 2
ROWS = 150


class Line:
    """Two ends of a serial line, and how many bytes have passed."""

    def __init__(self) -> None:
        (self._from, self._near), (self._to, self._far) = os.openpty(), os.openpty()
        for end in (self._near, self._far):
            tty.setraw(end)
        self.near, self.far = os.ttyname(self._near), os.ttyname(self._far)
        self.passed = 0
        self._done = Event()
        Thread(target=self._carry, daemon=True).start()

    def _carry(self) -> None:
        with suppress(OSError):
            while not self._done.is_set():
                data = os.read(self._from, 4096)
                os.write(self._to, data)
                self.passed += len(data)


def wait_until(holds: Any) -> None:
    for _ in range(600):
        if holds():
            return
        time.sleep(0.05)
    raise AssertionError("waited half a minute for nothing")


@contextmanager
def base(line: Line, folder: Path) -> Iterator[list[dict[str, Any]]]:
    """A base on the far end; its events, once the block is left."""
    events: list[dict[str, Any]] = []
    arguments = ["receive", folder / "base.db", f"serial:{line.far}?framing=cobs", "--events"]
    with subprocess.Popen(
        [sys.executable, "-m", "packcodec", *arguments, "--schema", DEMO / "schema.toml"],
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        descriptors = Path(f"/proc/{process.pid}/fd")

        def listens() -> bool:
            assert process.poll() is None, "the base did not start"
            for each in descriptors.iterdir():
                with suppress(FileNotFoundError):  # closed since it was listed
                    if os.readlink(each) == line.far:
                        return True
            return False

        try:
            wait_until(listens)
            yield events
            time.sleep(0.5)  # what is on the line still arrives
        finally:
            process.send_signal(signal.SIGINT)
        out, _ = process.communicate()
    events += [json.loads(text) for text in out.splitlines()]


def test_the_script_survives_a_power_cut_in_the_middle(tmp_path: Path) -> None:
    line = Line()
    command = [sys.executable, str(SCRIPT), line.near, str(tmp_path / "store")]
    with base(line, tmp_path) as events:
        monitor = subprocess.Popen(command)
        wait_until(lambda: line.passed > 300)
        monitor.kill()
        assert monitor.wait() == -signal.SIGKILL
        before = line.passed
        assert subprocess.run(command, check=True).returncode == 0
        assert line.passed > before
    heard = [event["record"] for event in events if event["event"] == "accepted"]
    assert {event["event"] for event in events} <= {"accepted", "gap", "restart", "unsent"}
    assert len({record["sequence"] for record in heard}) == len(heard)
    assert len(heard) > 30
    expected = offline()
    for message, key in (("sighting", "at"), ("summary", "start")):
        told = {_key(each, key): _said(each) for each in heard if each["message"] == message}
        whole = {_key(each, key): _said(each) for each in expected if each["message"] == message}
        last = max(told)
        assert told == {at: said for at, said in whole.items() if at <= last}
    assert any("restarted" in record["values"]["state"] for record in heard)


def offline() -> list[dict[str, Any]]:
    """The records of the same detections as `packcodec summarise` makes them, at one go."""
    codec = load(DEMO / "schema.toml")
    with (DEMO / "detections.csv").open(encoding="utf-8") as log:
        names = {name for name, number in codec.schema.stations if number == STATION}
        rows = [row for row in csv.reader(log) if row[1] in {"station", *names}][: ROWS + 1]
    lines = [",".join(row) + "\n" for row in rows]
    seen = read_detections(lines, codec.schema, "demo").rows
    start = min(each.at for each in seen)
    watched = [Stretch(STATION, start, max(each.at for each in seen))]
    return [record.to_json() for record in summarise(codec, seen, watched).records]


def _key(record: dict[str, Any], name: str) -> tuple[Any, ...]:
    values = record["values"]
    return values[name], values.get("species")


def _said(record: dict[str, Any]) -> Any:
    """All but what a power cut may change: effort, and the flag that there was one."""
    values = to_json(record["values"])
    return {name: value for name, value in values.items() if name not in ("watched", "state")}
