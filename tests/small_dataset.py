"""A season small enough to know by heart, and the whole demonstration, for tests of the dataset.

Invented, like the demonstration whose schema it uses: nothing here was recorded by anyone.
"""

from datetime import UTC, datetime, timedelta
from functools import cache
from pathlib import Path
from typing import Any

from packcodec.codec.record import AtLeast, Record
from packcodec.dataset.build import Heard, build
from packcodec.dataset.inputs import read_deployments, read_project
from packcodec.dataset.model import Dataset, Deployment, Project
from packcodec.edge.files import load
from packcodec.edge.logs import read_detections, read_health, read_watches
from packcodec.frame.codec import Codec
from packcodec.monitor.whole_log import summarise

FOLDER = Path(__file__).resolve().parents[1] / "packcodec" / "edge" / "demo_data"
CREATED = datetime(2027, 5, 1, 12, tzinfo=UTC)
DAY = datetime(2027, 4, 2, tzinfo=UTC)


@cache
def demo_codec() -> Codec:
    return load(FOLDER / "schema.toml")


@cache
def demo_deployments() -> tuple[Deployment, ...]:
    text = (FOLDER / "deployments.csv").read_text(encoding="utf-8")
    return read_deployments(text, demo_codec().schema, "deployments.csv")


@cache
def demo_project() -> Project:
    return read_project((FOLDER / "project.toml").read_text(encoding="utf-8"), "project.toml")


def dataset(*heard: Heard | Record) -> Dataset:
    """A dataset of what is given, at the demonstration's stations."""
    all_heard = [each if isinstance(each, Heard) else Heard(each) for each in heard]
    return build(
        demo_codec().schema, demo_project(), demo_deployments(), all_heard, created=CREATED
    )


def summary(sequence: int, hour: float | None, *rows: Any, station: int = 1, **more: Any) -> Record:
    """A summary of an hour of DAY; None for one by an unset clock."""
    start = None if hour is None else DAY + timedelta(hours=hour)
    state = ("clock_unset",) if hour is None else ()
    values = {"start": start, "watched": 3600, "left_out": 0, "state": state, "rows": list(rows)}
    return Record("summary", values | more, station, sequence)


def row(species: str, visits: Any = 1, most: Any = 1, first: int = 600, last: int = 1200) -> Any:
    """A row of a summary, minutes and counts to choose."""
    return {
        "species": species,
        "visits": visits,
        "most": most,
        "first": first,
        "last": last,
        "confidence": 0.8,
    }


def sighting(sequence: int, hour: float | None, species: str, station: int = 1) -> Record:
    """A sighting of one animal at an hour of DAY."""
    at = None if hour is None else DAY + timedelta(hours=hour)
    values = {"at": at, "species": species, "individuals": 1, "confidence": 0.9, "state": ()}
    return Record("sighting", values, station, sequence)


def small() -> Dataset:
    """Station 1 tells of four hours, one of them lost, with sensitive and withheld species."""
    return dataset(
        summary(0, 6, row("mallard", 2, AtLeast(16)), row("otter")),
        sighting(1, 6.5, "otter"),
        summary(2, 7, row("white_tailed_eagle"), row("mallard", 0)),
        sighting(3, 7.25, "white_tailed_eagle"),
        summary(5, 9),
        summary(0, 6, row("kingfisher"), station=2),
        summary(1, 7, station=2),
    )


@cache
def demo() -> Dataset:
    """The whole demonstration: its logs summarised, as if every frame had come."""
    codec = demo_codec()
    read = {"detections": read_detections, "watch": read_watches, "health": read_health}
    told: dict[str, Any] = {}
    for name, reader in read.items():
        with (FOLDER / f"{name}.csv").open(encoding="utf-8", newline="") as lines:
            told[name] = reader(lines, codec.schema, name).rows  # type: ignore[operator]
    records = summarise(codec, told["detections"], told["watch"], told["health"]).records
    return dataset(*records)
