"""What a monitor costs: its start, its memory, and its detections a second.

    python tools/bench_monitor.py

Start and memory are those of the engine, of the edge round it and of a running Station, less those
of a bare `python -c pass`; the least of several runs each, for whatever else the machine does only
adds. The time is on the wall, and beside it that of the processor, which a busy machine spoils
less. Byte code is cached, as it is where the package is installed.
"""

import os
import subprocess
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path

RUNS = 9
NO_CACHE = "PYTHONDONTWRITEBYTECODE"
BATCHES, BATCH = 40, 5_000
DEMO = Path(__file__).parents[1] / "packcodec" / "edge" / "demo_data" / "schema.toml"

_START = """
import resource, sys, time
begun, worked = time.perf_counter(), time.process_time()
{code}
took_ms = (time.perf_counter() - begun) * 1000
work_ms = (time.process_time() - worked) * 1000
print(took_ms, work_ms, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
"""
_STATION = """
from packcodec.edge.station import Station
Station({schema!r}, "lora-eu-868.1", store={store!r}, station=1)
"""


def started(code: str, cache: str) -> list[float]:
    """Milliseconds on the wall and of work, and resident MiB, of a process that runs `code`."""
    environment = {name: text for name, text in os.environ.items() if name != NO_CACHE}
    runs = []
    for _ in range(1 + RUNS):
        done = subprocess.run(
            [sys.executable, "-c", _START.format(code=code)],
            capture_output=True,
            text=True,
            check=True,
            env=environment | {"PYTHONPYCACHEPREFIX": cache},
        )
        runs.append([float(figure) for figure in done.stdout.split()])
    return [min(column) for column in zip(*runs[1:], strict=True)]


def main(_arguments: list[str]) -> None:
    with tempfile.TemporaryDirectory() as store, tempfile.TemporaryDirectory() as cache:
        bare = started("pass", cache)
        print(f"{'':32}     wall      work       memory")
        print(f"{'python -c pass':32} {bare[0]:6.1f} ms {bare[1]:6.1f} ms {bare[2]:6.1f} MiB")
        for name, code in (
            ("import packcodec.monitor.engine", "import packcodec.monitor.engine"),
            ("import packcodec.edge.station", "import packcodec.edge.station"),
            ("a Station, demo schema", _STATION.format(schema=str(DEMO), store=store)),
        ):
            wall, work, memory = (
                ours - base for ours, base in zip(started(code, cache), bare, strict=True)
            )
            print(f"{name:32} {wall:+6.1f} ms {work:+6.1f} ms {memory:+6.1f} MiB")
    print(f"seen: {seen_per_second():,.0f} detections a second")


def seen_per_second() -> float:
    """On a real file, the best of some batches: each ends with a tick, and what it syncs."""
    from packcodec.edge.station import Station

    with tempfile.TemporaryDirectory() as store:
        station = Station(DEMO, "lora-eu-868.1", store=store, station=1, checkpoint_s=0)
        now = datetime.now(UTC)
        best_s = float("inf")
        for _ in range(BATCHES):
            begun = time.perf_counter()
            for _ in range(BATCH):
                station.seen("mallard", now, 0.9, 2)
            station.tick()
            best_s = min(best_s, time.perf_counter() - begun)
        return BATCH / best_s


if __name__ == "__main__":
    main([])
