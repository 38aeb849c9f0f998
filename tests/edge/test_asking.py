"""Lost frames got back by asking: the command, and two processes over UDP through a lossy relay."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import suppress
from datetime import timedelta
from pathlib import Path
from random import Random
from threading import Thread
from typing import Any

import pytest
from conftest import Command
from station_bench import over_the_limit
from two_way_bench import TwoWay, audit
from two_way_schema import CODEC, KEY, LINK, SECRET, SPECIES, toml

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from small_schema import EPOCH

from packcodec.base.events import Accepted
from packcodec.edge.asking import Asking
from packcodec.edge.database import open_database
from packcodec.edge.heard import Heard
from packcodec.edge.sources import FileSource, SerialSource, UdpSource
from packcodec.edge.store import Store
from packcodec.edge.store_ask import lists
from packcodec.edge.store_report import reports
from packcodec.errors import KeysError, SourceError
from packcodec.frame import Codec
from packcodec.frame.missing import decode_list
from packcodec.radio.links import find_link

TESTS = Path(__file__).parents[1]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A schema with a seal, and the key of station 1."""
    (tmp_path / "schema.toml").write_text(toml())
    (tmp_path / "species.csv").write_text(SPECIES)
    (tmp_path / "keys").mkdir()
    key = tmp_path / "keys" / "one.key"
    key.write_text(f"1 {SECRET.hex()}\n")
    key.chmod(0o600)
    return tmp_path


class Air:
    """A station on a bench, and a base that hears it through losses both ways."""

    def __init__(self, where: str, loss: float) -> None:
        self.store = Store.open(where, [CODEC])
        self.bench = TwoWay(codec=CODEC, link=LINK)
        self.station = self.bench.boot()
        self.chance = Random(11)
        self.loss = loss
        self.heard_to = 0

    def day(self) -> None:
        """A day of the station; the base hears of it, and asks in the evening."""
        self.bench.live(self.station, 24 * 60, every_s=300)
        batch = [
            Heard(frame, EPOCH + timedelta(seconds=at_s), "base")
            for at_s, _, frame in self.bench.sent[self.heard_to :]
            if self.chance.random() >= self.loss
        ]
        self.heard_to = len(self.bench.sent)
        self.store.ingest(batch)
        now = EPOCH + timedelta(seconds=self.bench.now_s)
        for each in lists(self.store.engine, [CODEC], [1], now, 51):
            if self.chance.random() >= self.loss:
                self.bench.heard.append(each.frame)


def test_what_is_lost_either_way_comes_back_and_the_ledger_holds(tmp_path: Path) -> None:
    air = Air(str(tmp_path / "base.db"), loss=0.3)
    for _ in range(14):
        air.day()
    lost = next(iter(reports(air.store.engine))).gaps
    assert sum(len(each) for each in lost) > 3, "the last day's are still out"
    air.loss = 0.0
    for _ in range(2):
        air.day()
    [report] = reports(air.store.engine)
    assert report.gaps == []
    assert report.end - report.first == len(set(air.bench.frames())) >= 16 * 24
    assert not any(reason for reason in air.station.troubles)
    audit(air.bench)
    # Each number was sent with one run of bytes, however often.
    by_number: dict[int, set[bytes]] = {}
    for frame in air.bench.frames():
        number = int.from_bytes(frame[:2], "big") & 1023
        by_number.setdefault(number, set()).add(frame)
    assert all(len(frames) == 1 for frames in by_number.values())
    assert len(air.bench.frames()) < 1.6 * len(by_number)
    air.store.close()


def test_nothing_is_asked_for_twice_a_day_and_no_number_serves_twice(tmp_path: Path) -> None:
    air = Air(str(tmp_path / "base.db"), loss=0.4)
    air.day()
    now = EPOCH + timedelta(seconds=air.bench.now_s)
    again = open_database(str(tmp_path / "base.db"))
    assert [*lists(again, [CODEC], [1], now, 51)] == []
    later = [
        each
        for day in range(1, 15)
        for each in lists(again, [CODEC], [1], now + timedelta(days=day), 51)
    ]
    # Asked for ten times, a counter is given up.
    assert [each.asked.number for each in later] == [*range(2, 11)]
    assert len({each.frame for each in later}) == 9
    air.store.close()


def test_a_station_whose_schema_is_not_given_is_not_asked(tmp_path: Path) -> None:
    air = Air(str(tmp_path / "base.db"), loss=0.4)
    air.day()
    now = EPOCH + timedelta(days=9)
    other = Codec(CODEC.layout)
    assert [*lists(air.store.engine, [], [1], now, 51)] == []
    with pytest.raises(KeysError, match="there is none for station 1"):
        list(lists(air.store.engine, [other], [1], now, 51))
    assert [each.station for each in lists(air.store.engine, [CODEC], [1, 7], now, 51)] == [1]
    air.store.close()


def test_the_command_prints_lists_once(folder: Path, packcodec: Command) -> None:
    air = Air(str(folder / "base.db"), loss=0.0)
    air.bench.live(air.station, 8 * 60, every_s=300)
    batch = [
        Heard(frame, EPOCH + timedelta(seconds=at_s), "base") for at_s, _, frame in air.bench.sent
    ]
    air.store.ingest([each for at, each in enumerate(batch) if at not in (2, 5)])
    air.store.close()
    ask = ["ask", folder / "base.db", "--schema", folder / "schema.toml", "--keys"]
    on = ["--at", (EPOCH + timedelta(days=3)).isoformat()]
    ran = packcodec(*ask, folder / "keys", *on)
    assert ran.code == 0
    assert "station 1 is asked for 2 frames, 2 to 5" in ran.err
    frame = bytes.fromhex(ran.out.strip())
    assert decode_list(KEY, 1, frame, after=None, following=8).counters == (2, 5)
    again = packcodec(*ask, folder / "keys", *on)
    assert (again.code, again.out) == (0, "")
    assert "it was asked today" in again.err
    on = ["--at", (EPOCH + timedelta(days=4)).isoformat(), "--json"]
    said = json.loads(packcodec(*ask, folder / "keys", *on).out)
    assert (said["station"], said["number"], said["counters"]) == (1, 4, [2, 5])
    short = ["--at", (EPOCH + timedelta(days=5)).isoformat(), "--most", "11", "--station", "1"]
    ran = packcodec(*ask, folder / "keys", *short)
    assert len(bytes.fromhex(ran.out.strip())) == 11


def test_without_the_stations_key_the_command_says_what_to_do(
    folder: Path, packcodec: Command
) -> None:
    air = Air(str(folder / "base.db"), loss=0.4)
    air.day()
    air.store.close()
    other = folder / "other.key"
    other.write_text(f"2 {SECRET.hex()}\n")
    other.chmod(0o600)
    ask = ["ask", folder / "base.db", "--schema", folder / "schema.toml", "--keys", other]
    at = ["--at", (EPOCH + timedelta(days=9)).isoformat()]
    ran = packcodec(*ask, *at)
    assert ran.code == 2
    assert "no station of the store has one; give the folder that packcodec keys new" in ran.err
    ran = packcodec(*ask, *at, "--station", "north_hide")
    assert ran.code == 2
    assert "there is none for station 1; a station does only what its key has signed" in ran.err


def test_the_command_makes_no_store_and_knows_what_cannot_be_sent_again(
    folder: Path, packcodec: Command
) -> None:
    ask = ["ask", folder / "bse.db", "--keys", folder / "keys", "--schema"]
    ran = packcodec(*ask, folder / "schema.toml")
    assert ran.code == 2
    assert "there is no store here" in ran.err
    assert not (folder / "bse.db").exists()
    Store.open(str(folder / "bse.db"), [CODEC]).close()
    carried = toml().replace("sequence_bits = 10", "sequence_bits = 0")
    carried = carried.replace("message_bits = 2", "message_bits = 4")
    (folder / "carried.toml").write_text(carried)
    ran = packcodec(*ask, folder / "carried.toml")
    assert (ran.code, ran.out) == (0, "")
    assert "none of them can be sent again" in ran.err


def test_a_key_that_is_not_the_stations_signs_nothing(folder: Path, packcodec: Command) -> None:
    air = Air(str(folder / "base.db"), loss=0.4)
    air.day()
    air.store.close()
    other = folder / "other.key"
    other.write_text(f"1 {bytes(16).hex()}\n")
    other.chmod(0o600)
    ask = ["ask", folder / "base.db", "--schema", folder / "schema.toml", "--keys"]
    at = ["--at", (EPOCH + timedelta(days=9)).isoformat()]
    ran = packcodec(*ask, other, *at)
    assert (ran.code, ran.out) == (2, "")
    assert "keys: the one for station 1 does not open what it sent; give the key" in ran.err
    assert packcodec(*ask, folder / "keys", *at).out != ""


def test_who_cannot_be_asked_is_told(folder: Path, packcodec: Command) -> None:
    air = Air(str(folder / "base.db"), loss=0.4)
    air.day()
    air.store.close()
    (folder / "newer.toml").write_text(toml().replace("version = 1", "version = 2"))
    ask = ["ask", folder / "base.db", "--keys", folder / "keys", "--schema"]
    at = ["--at", (EPOCH + timedelta(days=9)).isoformat()]
    ran = packcodec(*ask, folder / "newer.toml", *at)
    assert (ran.code, ran.out) == (2, "")
    assert "station 1 speaks another schema, and is not asked" in ran.err
    assert "none of these stations can be asked; name one that was heard, and give its" in ran.err
    assert "nothing to ask for" not in ran.err
    ran = packcodec(*ask, folder / "schema.toml", *at, "--station", "2", "--station", "1")
    assert ran.code == 0
    assert "station 2 was never heard, and is not asked" in ran.err
    assert "station 1 is asked for" in ran.err


def test_asking_needs_a_way_and_a_key(tmp_path: Path) -> None:
    store = Store.open(str(tmp_path / "base.db"), [CODEC])
    with pytest.raises(SourceError, match="none of these sources can send"):
        Asking(store, [FileSource("-", None)], 51, print)  # type: ignore[arg-type]
    bare = Store.open(str(tmp_path / "base.db"), [Codec(CODEC.layout)])
    with pytest.raises(KeysError, match="give --keys"):
        Asking(bare, [UdpSource("127.0.0.1", 0, "b"), SerialSource("tty", "b")], 51, print)
    store.close()
    bare.close()


def test_a_list_goes_back_by_the_way_a_station_was_heard(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    air = Air(str(tmp_path / "base.db"), loss=0.4)
    air.day()
    at = [EPOCH + timedelta(days=5)]
    monkeypatch.setattr("packcodec.edge.asking.now", lambda: at[0])
    source, told, gone = UdpSource("127.0.0.1", 0, "b"), [], []
    asking = Asking(air.store, [source], 51, told.append)
    record = CODEC.decode(air.bench.sent[0][2])
    event = Accepted(record, 0, CODEC.layout.identity)
    asking.heard([event])
    assert told[-1].endswith("nothing was there to carry it")

    def broken(_: bytes) -> None:
        raise OSError("unreachable")

    source.back.open("broken", broken)
    source.back.open("there", gone.append)
    at[0] += timedelta(minutes=30)
    asking.heard([event])
    assert gone == [], "looked at within the hour"
    at[0] += timedelta(days=1)
    asking.heard([event])
    assert len(gone) == 1
    assert decode_list(KEY, 1, gone[0], after=5, following=100).number == 6
    at[0] -= timedelta(days=3)
    asking.heard([event])
    assert len(gone) == 2, "a clock that was set back does not silence the base"
    for number in range(100):
        source.back.open(number, broken)
    assert source.back.send(b"") == 0, "the oldest address is forgotten"
    air.store.close()


class Relay:
    """Between a station and a base on UDP: loses frames, and puts garbage among the lists."""

    def __init__(self, base_port: int) -> None:
        self.near = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.near.bind(("127.0.0.1", 0))
        self.far = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
        self.far.bind(("127.0.0.1", 0))
        self.base, self.port = ("127.0.0.1", base_port), self.near.getsockname()[1]
        self.loss = 0.35
        self.up = self.down = 0
        self._chance = Random(4)
        self._station: Any = None
        self._open = True
        self._threads = [Thread(target=each) for each in (self._upward, self._downward)]
        for thread in self._threads:
            thread.start()

    def _upward(self) -> None:
        while self._open:
            data, self._station = self.near.recvfrom(9999)
            if self._open and self._chance.random() >= self.loss:
                self.up += 1
                self.far.sendto(data, self.base)

    def _downward(self) -> None:
        while self._open:
            data, _ = self.far.recvfrom(9999)
            if self._open:
                self.down += 1
                for each in (b"", b"noise", data[:-1] + b"x", bytes(400), data, data):
                    self.near.sendto(each, self._station)

    def close(self) -> None:
        self._open = False
        for end in (self.near, self.far):
            end.sendto(b"", end.getsockname())
        for thread in self._threads:
            thread.join()
        self.near.close()
        self.far.close()


def wait_until(holds: Callable[[], bool]) -> None:
    for _ in range(600):
        if holds():
            return
        time.sleep(0.05)
    raise AssertionError("waited half a minute for nothing")


class BaseProcess:
    """`packcodec receive`, until it is told to stop."""

    def __init__(self, folder: Path, port: int, *options: object) -> None:
        arguments = ["receive", folder / "base.db", f"udp://127.0.0.1:{port}", *options]
        shared = ["--schema", folder / "schema.toml", "--keys", folder / "keys"]
        self.process = subprocess.Popen(
            [sys.executable, "-m", "packcodec", *map(str, [*arguments, *shared])],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
        )
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            wait_until(lambda: self._listens(probe, port))

    def _listens(self, probe: socket.socket, port: int) -> bool:
        assert self.process.poll() is None, "the base did not start"
        with suppress(OSError):
            probe.bind(("127.0.0.1", port))
            probe.close()
            probe.__init__(socket.AF_INET, socket.SOCK_DGRAM)  # type: ignore[misc]
            return False
        return True

    def stop(self) -> str:
        self.process.send_signal(signal.SIGINT)
        _, err = self.process.communicate(timeout=30)
        return err


def heard_by(folder: Path) -> set[int]:
    """Counters of which the store has the frame."""
    engine = open_database(str(folder / "base.db"))
    with engine.connect() as connection:
        rows = connection.exec_driver_sql("SELECT counter FROM frame WHERE state = 'heard'")
        return {row[0] for row in rows}


def test_two_processes_over_a_lossy_air_get_back_what_was_lost(folder: Path) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.bind(("127.0.0.1", 0))
        base_port = probe.getsockname()[1]
    base, relay = BaseProcess(folder, base_port), Relay(base_port)
    station = subprocess.Popen(
        [sys.executable, str(TESTS / "edge" / "two_way_script.py"), str(relay.port), "S", "40"],
        cwd=folder,
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(TESTS), str(TESTS.parent)])},
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    )
    assert station.stdin is not None
    assert station.stdout is not None
    said = [*iter(station.stdout.readline, "seen\n")]
    wait_until(lambda: len(heard_by(folder)) == relay.up)
    base.stop()
    first = min(heard_by(folder))
    lost = set(range(first, 40)) - heard_by(folder)
    assert len(lost) > 5
    relay.loss = 0.0
    base = BaseProcess(folder, base_port, "--ask", "51")
    station.stdin.write("on\n")
    station.stdin.flush()
    wait_until(lambda: heard_by(folder) >= set(range(first, 80)))
    told = base.stop()
    out, _ = station.communicate(timeout=30)
    relay.close()
    assert told.count("station 1 is asked for") == 1
    assert relay.down == 1
    on_air = [line.split() for line in [*said, *out.splitlines()]]
    frames = [bytes.fromhex(frame) for _, frame in on_air]
    fresh = [*dict.fromkeys(frames)]
    assert len({int.from_bytes(frame[:2], "big") & 1023 for frame in fresh}) == len(fresh) >= 80
    assert {frame for frame in frames if frames.count(frame) > 1} == {fresh[n] for n in lost}
    link = find_link(LINK)
    spent = [(float(at), link.airtime(len(f) // 2).airtime_s) for at, f in on_air]
    assert over_the_limit(spent, 36.0, 3600) == []
