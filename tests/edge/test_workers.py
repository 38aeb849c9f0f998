"""A real broker and a real PostgreSQL: workers share the work, one is killed, nothing is lost.

Debian's packages mosquitto and postgresql; where one is absent the test is skipped and says so.
"""

import json
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from threading import Thread
from time import sleep
from typing import Any

import pytest
from frame_stream import CODEC, CSV, EPOCH, TOML, frames_of, summary

from packcodec.base.events import Accepted, Duplicate, Event, Forgeries, Rejected
from packcodec.base.failures import ALARM_A_DAY
from packcodec.frame.codec import Codec
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")
mqtt = pytest.importorskip("paho.mqtt.client", reason="the part [base] is not installed")

from sqlalchemy import text  # noqa: E402

from packcodec.edge.database import open_database  # noqa: E402
from packcodec.edge.heard import Heard  # noqa: E402
from packcodec.edge.mqtt import MqttSource  # noqa: E402
from packcodec.edge.receive import Receiver  # noqa: E402
from packcodec.edge.store import Store  # noqa: E402
from packcodec.edge.store_ask import ListFrame, lists  # noqa: E402
from packcodec.edge.store_failures import failures  # noqa: E402
from packcodec.edge.store_report import keep_card, radio_records, reports  # noqa: E402

POSTGRES_BIN = next(iter(sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True)), None)
MOSQUITTO = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
HOUR = timedelta(hours=1)


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def until(done: Callable[[], bool], what: str) -> None:
    """Look again and again, for a minute at most."""
    for _ in range(1200):
        if done():
            return
        sleep(0.05)
    pytest.fail(f"never came to be: {what}")


@pytest.fixture(scope="module")
def postgres() -> Iterator[str]:
    """The URL of a server of its own, without a network, in a folder that goes with it."""
    if POSTGRES_BIN is None:
        pytest.skip("PostgreSQL is not installed (Debian: postgresql)")
    # PostgreSQL refuses to run as root; Debian's package brings a user for it.
    as_user = ["runuser", "-u", "postgres", "--"] if os.geteuid() == 0 else []
    folder = Path(tempfile.mkdtemp(prefix="pc"))
    if as_user:
        shutil.chown(folder, "postgres")
    data = folder / "data"
    quiet: dict[str, Any] = {"check": True, "stdout": subprocess.DEVNULL, "cwd": "/"}
    initdb = [str(POSTGRES_BIN / "initdb"), "-D", str(data), "-U", "base", "-A", "trust"]
    subprocess.run([*as_user, *initdb, "--no-sync"], **quiet)
    options = f"-c listen_addresses='' -c unix_socket_directories={folder} -c fsync=off"
    control = [*as_user, str(POSTGRES_BIN / "pg_ctl"), "-D", str(data), "-w"]
    subprocess.run([*control, "-l", str(folder / "log"), "-o", options, "start"], **quiet)
    yield f"postgresql://base@/postgres?host={folder}"
    subprocess.run([*control, "-m", "immediate", "stop"], **quiet)
    shutil.rmtree(folder)


@pytest.fixture
def empty(postgres: str) -> str:
    engine = open_database(postgres)
    with engine.begin() as connection:
        connection.execute(text("DROP SCHEMA public CASCADE"))
        connection.execute(text("CREATE SCHEMA public"))
    engine.dispose()
    return postgres


class Broker:
    """A broker on a port of its own, which keeps sessions on the disk."""

    def __init__(self, folder: Path) -> None:
        self.port = free_port()
        self._settings = folder / "broker.conf"
        self._settings.write_text(
            f"listener {self.port} 127.0.0.1\nallow_anonymous true\nmax_queued_messages 0\n"
            f"persistence true\npersistence_location {folder}/\nuser root\n"
        )
        self.start()

    def start(self) -> None:
        assert MOSQUITTO is not None
        command = [MOSQUITTO, "-c", str(self._settings)]
        self._process = subprocess.Popen(command, stderr=subprocess.DEVNULL)
        until(lambda: _answers(self.port), "a broker that answers")

    def stop(self) -> None:
        self._process.terminate()
        self._process.wait(10)


@pytest.fixture
def mosquitto(tmp_path: Path) -> Iterator[Broker]:
    if MOSQUITTO is None:
        pytest.skip("mosquitto is not installed (Debian: mosquitto)")
    started = Broker(tmp_path)
    yield started
    started.stop()


@pytest.fixture
def broker(mosquitto: Broker) -> int:
    """A broker's port."""
    return mosquitto.port


def _answers(port: int) -> bool:
    with socket.socket() as probe:
        return probe.connect_ex(("127.0.0.1", port)) == 0


def heard(frame: bytes, hour: float, source: str = "base_1") -> Heard:
    return Heard(frame, EPOCH + hour * HOUR, source)


def rows(url: str, table: str) -> int:
    engine = open_database(url)
    with engine.connect() as connection:
        count = connection.execute(text(f"SELECT count(*) FROM {table}")).scalar_one()
    engine.dispose()
    return int(count)


def test_postgresql_keeps_what_sqlite_keeps(empty: str, tmp_path: Path) -> None:
    frames = frames_of(200)
    batch = [heard(frame, at) for at, frame in enumerate(frames) if at % 5]
    batch += [heard(b"noise", 300), heard(frames[7], 7.001, "base_2")]
    found = []
    for where in (str(tmp_path / "store.db"), empty):
        store = Store.open(where, [CODEC])
        events = store.ingest(batch)
        again = [event for each in store.ingest(batch) for event in each]
        assert all(isinstance(event, Duplicate | Rejected) for event in again)
        records = [*radio_records(store.engine, CODEC)]
        reported = [*reports(store.engine)]
        kept = keep_card(store.engine, records, "card"), keep_card(store.engine, records, "card")
        # Heard when they began, these summaries are by a clock that is an hour ahead.
        refits = store.refit(), store.refit(everything=True)
        found.append((events, records, reported, kept, refits))
        store.close()
    assert found[0] == found[1]
    assert found[1][4] == (len(found[1][1]), 0)
    assert found[1][3] == (len(found[1][1]), 0)


def test_postgresql_reads_strays_again(empty: str) -> None:
    other = Codec(compile_layout(replace(CODEC.schema, version=2)))
    store = Store.open(empty, [other])
    store.ingest([heard(frame, at) for at, frame in enumerate(frames_of(20))])
    store.close()
    assert rows(empty, "stray") == 20
    store = Store.open(empty, [CODEC])
    read = [event for events in store.redecode() for event in events]
    assert Counter(type(event) for event in read)[Accepted] == 20
    assert rows(empty, "stray") == 0
    store.close()


def test_bases_that_ask_at_once_sign_one_list(empty: str, tmp_path: Path) -> None:
    """Of SQLite and of PostgreSQL: a number that served twice would be a nonce used twice."""
    codec = Codec(CODEC.layout, {3: Key(bytes(16))})
    batch = [heard(frame, at) for at, frame in enumerate(frames_of(200)) if not 150 <= at < 190]
    for where in (str(tmp_path / "store.db"), empty):
        store = Store.open(where, [codec])
        store.ingest(batch)
        engines = [open_database(where) for _ in range(6)]
        made: list[ListFrame] = []

        def ask(engine: Any, made: list[ListFrame] = made) -> None:
            made += lists(engine, [codec], [3], EPOCH + 300 * HOUR, 51)

        threads = [Thread(target=ask, args=(engine,)) for engine in engines]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        assert [(each.asked.number, each.asked.counters[0]) for each in made] == [(12, 150)]
        for engine in engines:
            engine.dispose()
        store.close()


def test_postgresql_counts_what_does_not_verify(empty: str) -> None:
    schema = replace(CODEC.schema, repair=None)
    frame = replace(schema.frame, seal="ccm4", tag_bits=8, sequence_bits=10)
    layout = compile_layout(replace(schema, frame=frame))
    codec, forger = (Codec(layout, {3: Key(bytes([each]) * 16)}) for each in (1, 2))
    forged = [forger.encode(summary(0, 1), station=3, sequence=at) for at in range(ALARM_A_DAY + 7)]
    store = Store.open(empty, [codec])
    events = store.ingest([heard(each, at / 1000) for at, each in enumerate(forged)])
    alarm = Forgeries(3, EPOCH.date(), ALARM_A_DAY + 7)
    assert events[-1][1:] == [alarm]
    assert failures(store.engine) == [alarm]
    store.close()


class Listening:
    """A receiver in this process, with one MQTT source."""

    def __init__(self, store: Store, port: int) -> None:
        self.told: list[str] = []
        self.accepted = 0
        source = MqttSource("127.0.0.1", port, "marsh/#", "one", "base_1")
        self.receiver = Receiver(store, [source], on_events=self._count, tell=self.told.append)
        self.thread = Thread(target=self.receiver.run)
        self.thread.start()
        assert source.ready.wait(20)

    def _count(self, events: list[Event]) -> None:
        self.accepted += sum(isinstance(event, Accepted) for event in events)

    def stop(self) -> None:
        self.receiver.stop.set()
        self.thread.join(20)
        assert not self.thread.is_alive()


def published(port: int, frames: Sequence[bytes]) -> None:
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for each in [client.publish("marsh/up", frame, qos=1) for frame in frames]:
        each.wait_for_publish(20)
    client.disconnect()
    client.loop_stop()


def test_what_the_broker_keeps_is_not_lost(mosquitto: Broker, tmp_path: Path) -> None:
    """The broker goes and comes back; then the receiver does."""
    frames = frames_of(90)
    store = Store.open(str(tmp_path / "store.db"), [CODEC])
    listening = Listening(store, mosquitto.port)
    published(mosquitto.port, frames[:30])
    until(lambda: listening.accepted == 30, "thirty frames")
    mosquitto.stop()
    mosquitto.start()
    published(mosquitto.port, frames[30:60])
    until(lambda: listening.accepted == 60, "thirty more after the broker came back")
    assert any("connection lost" in line for line in listening.told)
    listening.stop()
    published(mosquitto.port, frames[60:])
    again = Listening(store, mosquitto.port)
    until(lambda: again.accepted == 30, "what was sent while nobody listened")
    again.stop()
    store.close()


@contextmanager
def worker(folder: Path, url: str, port: int, name: str) -> Iterator[subprocess.Popen[bytes]]:
    source = f"mqtt://127.0.0.1:{port}/marsh/up/%23?client={name}&group=bases"
    command = [sys.executable, "-m", "packcodec", "receive", url, source, "--form", "json"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    with open(folder / f"{name}.log", "ab") as log:
        process = subprocess.Popen(
            [*command, "--schema", str(folder / "marsh.toml")],
            stdout=log,
            stderr=log,
            env=environment,
        )
    try:
        yield process
    finally:
        process.kill()
        process.wait(10)


def test_three_workers_one_killed(empty: str, broker: int, tmp_path: Path) -> None:
    """The one that is killed comes back under its name, and takes up its session."""
    (tmp_path / "marsh.toml").write_text(TOML)
    (tmp_path / "species.csv").write_text(CSV)
    messages = [
        json.dumps(
            {
                "frame": frame.hex(),
                "received": (EPOCH + at * HOUR).isoformat(),
                "base": f"base_{base}",
            }
        )
        for at in range(300)
        for station, frames in STATIONS.items()
        for base in range(2)
        for frame in [frames[at]]
        if station or base
    ]
    publisher = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2, protocol=mqtt.MQTTv5)
    publisher.max_inflight_messages_set(200)

    def publish(part: list[str]) -> None:
        sent = [publisher.publish("marsh/up/one", message, qos=1) for message in part]
        for each in sent:
            each.wait_for_publish(60)

    with (
        worker(tmp_path, empty, broker, "first"),
        worker(tmp_path, empty, broker, "second") as second,
        worker(tmp_path, empty, broker, "third"),
    ):
        names = ("first", "second", "third")
        until(
            lambda: all("listening" in (tmp_path / f"{each}.log").read_text() for each in names),
            "three workers that listen",
        )
        publisher.connect("127.0.0.1", broker)
        publisher.loop_start()
        third_part = len(messages) // 3
        publish(messages[:third_part])
        publish(messages[third_part : third_part + 60])
        second.kill()
        second.wait(10)
        publish(messages[third_part + 60 : 2 * third_part])
        with worker(tmp_path, empty, broker, "second"):
            publish(messages[2 * third_part :])
            expected = len(messages)
            until(
                lambda: rows(empty, "reception") >= expected,
                f"{expected} receptions",
            )
    publisher.loop_stop()
    assert rows(empty, "reception") == len(messages)
    assert rows(empty, "stray") == 0
    engine = open_database(empty)
    with engine.connect() as connection:
        kept = connection.execute(
            text("SELECT station, counter, bytes FROM frame WHERE state = 'heard'")
        ).all()
    engine.dispose()
    assert {(row.station, row.counter): bytes(row.bytes) for row in kept} == {
        (station, at): frame
        for station, frames in STATIONS.items()
        for at, frame in enumerate(frames)
    }
    assert not any("Traceback" in (tmp_path / f"{each}.log").read_text() for each in names)


STATIONS = {station: frames_of(300, station=station) for station in (1, 2, 3)}
