"""The dataset by station and day: what each day's watch saw, and how far it can be trusted.

Days are of UTC. An interval belongs to the day it starts in, and a visit to its interval.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from typing import TypeVar

from packcodec.dataset.model import (
    Count,
    Dataset,
    Deployment,
    Gap,
    Health,
    Interval,
    Sighting,
    Stretch,
    Total,
)

Row = TypeVar("Row", Interval, Stretch, Total, Sighting, Gap, Health)

NONE = Count(0)
DAY = timedelta(days=1)


@dataclass(frozen=True, slots=True)
class StationDay:
    """One day of one deployment; `day` is None for what no clock dates.

    `visits` and `most` are by species label; a species seen has a row in both. `whole`: the base
    knows of all of the day, and no species was left out for want of room, so that a species
    without a row was not detected in `watched_s`.
    """

    deployment: str
    day: date | None
    start: datetime
    end: datetime
    watched_s: float
    whole: bool
    visits: Mapping[str, Count]
    most: Mapping[str, Count]
    confidence: Mapping[str, float]

    @property
    def id(self) -> str:
        """The deployment's id and the day, `undated` for what no clock dates."""
        return f"{self.deployment}-{f'{self.day:%Y%m%d}' if self.day else 'undated'}"


def station_days(data: Dataset) -> tuple[StationDay, ...]:
    """Every day of every deployment, in order, days that saw nothing included.

    Visits are those of the interval totals; where a day has no total of a species, its sightings.
    """
    intervals = by_deployment(data.intervals)
    effort = by_deployment(data.effort)
    totals = by_deployment(data.totals)
    sightings = by_deployment(data.sightings)
    days: list[StationDay] = []
    for home in data.deployments:
        own = intervals.get(home.id, []), effort.get(home.id, [])
        days += _days_of(home, *own, totals.get(home.id, []), sightings.get(home.id, []))
    return tuple(days)


def by_deployment(rows: Iterable[Row]) -> dict[str, list[Row]]:
    """Rows of any table by the deployment they name, in their order."""
    found: dict[str, list[Row]] = {}
    for row in rows:
        found.setdefault(row.deployment, []).append(row)
    return found


def _days_of(
    home: Deployment,
    intervals: list[Interval],
    effort: list[Stretch],
    own_totals: list[Total],
    sightings: list[Sighting],
) -> Iterator[StationDay]:
    watched: dict[date | None, float] = {}
    broken: set[date | None] = {None}
    for interval in intervals:
        day = _day(interval.start, home)
        watched[day] = watched.get(day, 0.0) + (interval.watched_s or 0.0)
        if interval.left_out.value or interval.watched_s is None:
            broken.add(day)
    for stretch in effort:
        if stretch.state == "unknown":
            broken |= set(dates_of(stretch.start, stretch.end))
    totals: dict[date | None, list[Total]] = {}
    for total in own_totals:
        totals.setdefault(_day(total.start, home), []).append(total)
    seen: dict[date | None, list[Sighting]] = {}
    for sighting in sightings:
        seen.setdefault(_day(sighting.start, home), []).append(sighting)
    days: list[date | None] = [*dates_of(home.start, home.end)]
    if None in watched or None in totals or None in seen:
        days.append(None)
    for day in days:
        start, end = (home.start, home.end) if day is None else _bounds(day, home)
        visits, most, confidence = _rows(totals.get(day, []), seen.get(day, []))
        seconds = watched.get(day, 0.0)
        whole = seconds > 0 and day not in broken
        yield StationDay(home.id, day, start, end, seconds, whole, visits, most, confidence)


def _rows(
    totals: list[Total], seen: list[Sighting]
) -> tuple[dict[str, Count], dict[str, Count], dict[str, float]]:
    visits: dict[str, Count] = {}
    most: dict[str, Count] = {}
    told: dict[str, list[float]] = {}
    for total in totals:
        visits[total.species] = plus(visits.get(total.species, NONE), total.visits)
        most[total.species] = greater(most.get(total.species, NONE), total.most)
        if total.confidence is not None:
            told.setdefault(total.species, []).append(total.confidence)
    counted = set(visits)
    for sighting in seen:
        if sighting.species not in counted:
            visits[sighting.species] = plus(visits.get(sighting.species, NONE), Count(1))
            most[sighting.species] = greater(most.get(sighting.species, NONE), sighting.individuals)
            if sighting.confidence is not None:
                told.setdefault(sighting.species, []).append(sighting.confidence)
    mean = {species: sum(values) / len(values) for species, values in told.items()}
    return visits, most, mean


def plus(one: Count, other: Count) -> Count:
    """The sum, which is a bound if either is."""
    return Count(one.value + other.value, one.at_least or other.at_least)


def greater(one: Count, other: Count) -> Count:
    """The greater of two counts; of equal ones the one that may be more."""
    return max(one, other, key=lambda each: (each.value, each.at_least))


def _day(at: datetime | None, home: Deployment) -> date | None:
    # An interval may begin before its station was set out: it counts for the first day.
    return None if at is None else max(at, home.start).astimezone(UTC).date()


def dates_of(start: datetime, end: datetime) -> Iterator[date]:
    """The days (UTC) that any of start to end lies in."""
    day = start.astimezone(UTC).date()
    while datetime.combine(day, time(), UTC) < end:
        yield day
        day += DAY


def _bounds(day: date, home: Deployment) -> tuple[datetime, datetime]:
    start = datetime.combine(day, time(), UTC)
    return max(start, home.start), min(start + DAY - timedelta(seconds=1), home.end)
