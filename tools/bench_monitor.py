"""What a monitor costs: its start, its memory, and its detections a second.

    python tools/bench.py monitor

Start and memory are those of a process: a bare `python -c pass`, the engine, the edge round it, and
a Station that is ready to send; up to that moment, for no monitor tidies up and ends. All are run
in turn, so that a busy machine is busy for each of them; what is told is the median, its distance
from the bare one, and the ratio. The time is on the wall, and beside it that of the processor,
which other work spoils less. Byte code is cached, as it is where the package is installed.
"""

import os
import shutil
import sys
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from statistics import median

ROUNDS = 21
NO_CACHE = "PYTHONDONTWRITEBYTECODE"
BATCHES, BATCH = 40, 5_000
DEMO = Path(__file__).parents[1] / "packcodec" / "edge" / "demo_data" / "schema.toml"

_STATION = """
from packcodec.edge.station import Station
Station({schema!r}, "lora-eu-868.1", store={store!r}, station=1)
"""


def started(code: str, cache: str) -> tuple[float, float, float]:
    """Milliseconds on the wall and of work, and resident MiB, of a process that runs `code`."""
    environment = {name: text for name, text in os.environ.items() if name != NO_CACHE}
    begun = time.perf_counter()
    child = os.posix_spawn(
        sys.executable,
        [sys.executable, "-c", f"{code}\nimport os; os._exit(0)"],
        environment | {"PYTHONPYCACHEPREFIX": cache},
    )
    _, status, used = os.wait4(child, 0)
    took_ms = (time.perf_counter() - begun) * 1000
    if status:
        raise SystemExit(f"a process that ran {code!r} failed")
    return took_ms, (used.ru_utime + used.ru_stime) * 1000, used.ru_maxrss / 1024


def main(_arguments: list[str]) -> None:
    with tempfile.TemporaryDirectory() as store, tempfile.TemporaryDirectory() as cache:
        codes = {
            "python -c pass": "pass",
            "import packcodec.monitor.engine": "import packcodec.monitor.engine",
            "import packcodec.edge.station": "import packcodec.edge.station",
            "a Station, demo schema": _STATION.format(schema=str(DEMO), store=store),
            "the same, modelled coding": _STATION.format(schema=_modelled(store), store=store),
        }
        for code in codes.values():
            started(code, cache)
        rounds = [[started(code, cache) for code in codes.values()] for _ in range(ROUNDS)]
        medians = [
            [median(column) for column in zip(*runs, strict=True)]
            for runs in zip(*rounds, strict=True)
        ]
        units = ("wall", "ms"), ("work", "ms"), ("memory", "MiB")
        print(" " * 32 + "".join(f"{name:>26}" for name, _ in units))
        for name, figures in zip(codes, medians, strict=True):
            print(f"{name:32}" + "".join(map(_beside, figures, medians[0], (u for _, u in units))))
    print(f"seen: {seen_per_second():,.0f} detections a second")


def _modelled(folder: str) -> str:
    """The demo's schema with the other coding, beside its species table."""
    path = Path(folder) / DEMO.name
    path.write_text(DEMO.read_text(encoding="utf-8").replace('"fixed"', '"modelled"'))
    shutil.copy(DEMO.with_name("species.csv"), folder)
    return str(path)


def _beside(figure: float, bare: float, unit: str) -> str:
    """A figure, how far it is from the bare one, and how many times that."""
    return f"{figure:7.1f} ({figure - bare:+5.1f}) {unit:3} {figure / bare:4.1f} ×"


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
