"""A night's worth of power cuts: 1,000 kills at random moments, and seasons of 180 days.

    python tools/nightly_monitor.py [KILLS] [SEASONS]

The rounds and the seasons are those of tests/kill_rounds.py and tests/season.py, with new random
moments each night; the seed is printed. Exit 1 with what was lost, repeated or against the rule.
"""

import sys
import tempfile
import time
from importlib import import_module
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))

kill_rounds = import_module("kill_rounds")
season_of = import_module("season").Season
# One record a frame, and as many as it takes.
CODECS = import_module("season").CODEC, import_module("batch_schema").batch_codec("modelled")

# A link and its rule, told again by hand: seconds on air in any so many.
LINKS = (
    ("lora-eu-868.1:sf=9", 36.0, 3600.0),
    ("lora-eu-864.0:sf=11", 3.6, 3600.0),
    ("lora-eu-864.0:sf=12", 3.6, 3600.0),
)
DAYS = 180
MOST_SHOWN = 20


def main() -> None:
    kills = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    seasons = int(sys.argv[2]) if len(sys.argv) > 2 else len(LINKS)
    seed = time.time_ns() % 1_000_000
    print(f"seed {seed}")
    found = _killed(kills, Random(seed))
    for number in range(seasons):
        link, limit_s, window_s = LINKS[number % len(LINKS)]
        begun = time.perf_counter()
        codec = CODECS[number % len(CODECS)]
        season = season_of(link, limit_s, window_s, Random(seed + number), codec)
        season.live(DAYS)
        faults_found = season.audit()
        print(
            f"{DAYS} days on {link}, {codec.schema.coding} coding: {season.detections} detections, "
            f"{len(season.bench.sent)} frames, {season.cut_off} power cuts, "
            f"{len(faults_found)} faults, {time.perf_counter() - begun:.0f} s"
        )
        found += faults_found
    for line in found[:MOST_SHOWN]:
        print(line)
    sys.exit(bool(found))


def _killed(count: int, chance: Random) -> list[str]:
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "store"
        told = kill_rounds.rounds(store, count, chance)
        found: list[str] = kill_rounds.faults(store, told)
    print(
        f"{count} kills: {len(told.acknowledged)} acknowledged, {len(told.sent)} frames, "
        f"{len(found)} faults"
    )
    return found


if __name__ == "__main__":
    main()
