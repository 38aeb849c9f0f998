"""What takes too long for every change: a receiver killed again and again, and ten million frames.

    python tools/nightly_base.py kill [--rounds 200]       kill -9 under load; nothing lost, doubled
    python tools/nightly_base.py memory [--frames 10000000]   memory while a long capture comes in

Needs `pip install packcodec[base]`. Exit 1 where a promise is broken.
"""

from __future__ import annotations

import argparse
import os
import resource
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from random import Random

import bench_base

from packcodec.base.events import Event
from packcodec.edge.files import load
from packcodec.edge.heard import Heard
from packcodec.edge.receive import Receiver
from packcodec.edge.sources import Outlet
from packcodec.edge.store import Store
from packcodec.edge.store_report import radio_records

STATION = 1
# How long a receiver lives after its first acknowledgement, in seconds.
LIFE_S = (0.0, 0.5)
LARGEST_GROWTH = 1.2
WARM_FRAMES = 500_000
TOLD_EVERY = 500_000


class Numbered:
    """Frames from a number on, for ever; each is written to standard output once it is stored."""

    def __init__(self, first: int) -> None:
        self._first = first

    def run(self, outlet: Outlet) -> None:
        for at, heard in enumerate(frames(self._first), self._first):
            if outlet.stop.is_set():
                return
            outlet.put([heard], partial(_tell, at))


def _tell(counter: int) -> None:
    os.write(1, b"%d\n" % counter)


def frames(first: int) -> Iterator[Heard]:
    """The frame of each counter from `first` on: the same one however often it is asked for."""
    codec = load(bench_base.SCHEMA)
    counter = first
    while True:
        values = {
            "at": codec.schema.epoch + timedelta(minutes=counter % 200_000),
            "species": "otter",
            "individuals": 1 + counter % 8,
            "confidence": 0.75,
            "state": [],
        }
        record = {"message": "sighting", "values": values}
        frame = codec.encode(record, station=STATION, sequence=counter)
        received = codec.schema.epoch + timedelta(seconds=counter)
        yield Heard(frame, received, "nightly")
        counter += 1


def receive(store: str, first: int) -> None:
    """What the killed process runs."""

    def quiet(_events: list[Event]) -> None:
        pass

    opened = Store.open(store, [load(bench_base.SCHEMA)])
    Receiver(opened, [Numbered(first)], on_events=quiet, tell=print).run()


def kill(rounds: int) -> bool:
    """Kill a receiver at random moments; then every acknowledged frame is there, and once."""
    draw = Random(1)
    acknowledged: set[int] = set()
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "store.db")
        for round_number in range(rounds):
            # A sender that got no acknowledgement sends again.
            first = max(acknowledged, default=-1) + 1 - min(20, len(acknowledged))
            acknowledged |= _one_life(store, first, draw.uniform(*LIFE_S))
            if round_number % 10 == 9:
                print(f"{round_number + 1} rounds, {len(acknowledged):,} acknowledged", flush=True)
        return _kept(store, acknowledged)


def _one_life(store: str, first: int, life_s: float) -> set[int]:
    command = [sys.executable, __file__, "receive", "--store", store, "--first", str(first)]
    with subprocess.Popen(command, stdout=subprocess.PIPE) as process:
        assert process.stdout is not None
        told = process.stdout.readline()
        time.sleep(life_s)
        process.send_signal(signal.SIGKILL)
        # The last line may have been cut off in its middle.
        *lines, _ = (told + process.stdout.read()).split(b"\n")
    return {int(line) for line in lines}


def _kept(store: str, acknowledged: set[int]) -> bool:
    codec = load(bench_base.SCHEMA)
    opened = Store.open(store, [codec])
    records = list(radio_records(opened.engine, codec))
    with opened.engine.connect() as connection:
        receptions = connection.exec_driver_sql("SELECT count(*) FROM reception").scalar() or 0
        intact = connection.exec_driver_sql("PRAGMA integrity_check").scalar()
    opened.close()
    kept = {record.sequence for record in records}
    lost = acknowledged - kept
    doubled = len(records) - len(kept)
    print(
        f"{len(acknowledged):,} acknowledged, {len(kept):,} kept; {len(lost)} acknowledged lost, "
        f"{doubled} doubled, {receptions - len(kept)} receptions too many; file {intact}"
    )
    return not lost and not doubled and receptions == len(kept) and intact == "ok"


def memory(count: int) -> bool:
    """Resident memory at its highest, after a warm start and at the end."""
    codec = bench_base.with_repair(load(bench_base.SCHEMA))
    lines = bench_base.lines(codec, count, loss=0.05)
    with tempfile.TemporaryDirectory() as folder:
        store = Store.open(str(Path(folder) / "store.db"), [codec])
        warm = done = 0
        batch: list[Heard] = []
        for line in lines:
            text, received = line.split()
            batch.append(Heard(bytes.fromhex(text), datetime.fromisoformat(received), "nightly"))
            if len(batch) < 2000:
                continue
            store.ingest(batch)
            done += len(batch)
            batch = []
            if warm == 0 and done >= min(WARM_FRAMES, count // 4):
                warm = _peak_kb()
            if done % TOLD_EVERY < 2000:
                print(f"{done:,} frames: {_peak_kb() / 1024:.0f} MB", flush=True)
        store.close()
    growth = _peak_kb() / warm
    print(f"peak memory grew by {100 * (growth - 1):.1f} % from {warm / 1024:.0f} MB")
    return growth <= LARGEST_GROWTH


def _peak_kb() -> int:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("what", choices=("kill", "memory", "receive"))
    parser.add_argument("--rounds", type=int, default=200)
    parser.add_argument("--frames", type=int, default=10_000_000)
    parser.add_argument("--store", help=argparse.SUPPRESS)
    parser.add_argument("--first", type=int, help=argparse.SUPPRESS)
    said = parser.parse_args()
    if said.what == "receive":
        receive(said.store, said.first)
        return 0
    good = kill(said.rounds) if said.what == "kill" else memory(said.frames)
    return 0 if good else 1


if __name__ == "__main__":
    raise SystemExit(main())
