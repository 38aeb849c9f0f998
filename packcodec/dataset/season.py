"""What a season came to, species by species and station by station: the figures of a report."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, time, timedelta

import numpy as np

from packcodec.dataset.activity import Floats, angle, concentration, rate_by_hour
from packcodec.dataset.days import NONE, StationDay, by_deployment, dates_of, greater, plus
from packcodec.dataset.model import Count, Dataset, Deployment, State, Stretch
from packcodec.dataset.rates import Rate, rate
from packcodec.schema.model import Species

# Fewer visits than this give no curve: it would be drawn by chance (common practice, no source).
LEAST_VISITS = 10
SLICES = 144
ACTIVITY_GRID = np.linspace(0, 2 * np.pi, 97)
RESAMPLES = 200
BINS = 288


@dataclass(frozen=True, slots=True)
class SpeciesSeason:
    """One species: visits of which `undated` have no day, how often, where, when and how many."""

    species: Species
    visits: Count
    undated: int
    rate: Rate | None
    deployments: tuple[str, ...]
    first: date | None
    last: date | None
    most: Count


@dataclass(frozen=True, slots=True)
class Activity:
    """Visits per hour watched at ACTIVITY_GRID (mean solar time), NaN where nobody watched.

    `low` and `high` hold 95 % of the same from visits drawn anew; `times` are those it is made of.
    """

    times: Floats
    rate: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Knowledge:
    """One deployment's time in seconds: watched, off, and of which nobody knows."""

    deployment: str
    watched_s: float
    off_s: float
    unknown_s: float

    @property
    def unknown_share(self) -> float:
        """The part of the time of which nobody knows, 0 to 1."""
        return self.unknown_s / max(self.watched_s + self.off_s + self.unknown_s, 1.0)


def species_seasons(
    data: Dataset, days: Sequence[StationDay], *, seed: int
) -> tuple[SpeciesSeason, ...]:
    """Every species recorded, the most visits first; `days` are those of `station_days`."""
    found = []
    for label, row in data.species.items():
        seen = [day for day in days if label in day.visits]
        if not seen:
            continue
        # A day before the row joined the table could not have seen it, and says nothing of it.
        asked = [day for day in days if not row.added or _since(day, row.added)]
        visits, most = NONE, NONE
        for day in seen:
            visits = plus(visits, day.visits[label])
            most = greater(most, day.most[label])
        dated = [day.day for day in seen if day.day is not None]
        found.append(
            SpeciesSeason(
                species=row,
                visits=visits,
                undated=sum(day.visits[label].value for day in seen if day.day is None),
                rate=rate(
                    [day.visits.get(label, NONE).value for day in asked],
                    [day.watched_s for day in asked],
                    seed=seed,
                ),
                deployments=tuple(dict.fromkeys(day.deployment for day in seen)),
                first=min(dated, default=None),
                last=max(dated, default=None),
                most=most,
            )
        )
    return tuple(sorted(found, key=lambda one: (-one.visits.value, one.species.label)))


def _since(day: StationDay, added: str) -> bool:
    return day.day is not None and day.day >= date.fromisoformat(added)


def visit_times(data: Dataset, label: str) -> Floats:
    """When in the day its visits began, as angles, in order.

    Sightings tell the minute. Where a species has none, the first detection in each interval in
    which a visit began stands for it, which is early by less than the interval where the species
    was there before.
    """
    homes = {each.id: each for each in data.deployments}
    seen = [
        angle(each.start, homes[each.deployment].longitude)
        for each in data.sightings
        if each.species == label and each.start is not None and not each.to_the_day
    ]
    if not seen:
        seen = [
            angle(each.start + timedelta(seconds=each.first_s), homes[each.deployment].longitude)
            for each in data.totals
            if each.species == label
            and each.start is not None
            and each.first_s is not None
            and each.visits.value
        ]
    return np.asarray(sorted(seen), np.float64)


def hours_watched(data: Dataset) -> Floats:
    """Hours watched in each of SLICES equal slices of the day, mean solar time."""
    homes = {each.id: each for each in data.deployments}
    hours = np.zeros(SLICES)
    slice_s = 86400 / SLICES
    for each in data.intervals:
        if each.start is None or each.end is None or not each.watched_s:
            continue
        # The share watched is taken to be even over the interval: nothing tells it better.
        share = each.watched_s / (each.end - each.start).total_seconds()
        at = each.start
        while at < each.end:
            step = min(timedelta(seconds=slice_s), each.end - at)
            turn = angle(at + step / 2, homes[each.deployment].longitude)
            hours[int(turn / (2 * np.pi) * SLICES) % SLICES] += share * step.total_seconds() / 3600
            at += step
    return hours


def activity(data: Dataset, label: str, watched: Floats, *, seed: int) -> Activity | None:
    """The species' day; None for fewer than LEAST_VISITS times. `watched` is `hours_watched`."""
    times = visit_times(data, label)
    if times.size < LEAST_VISITS:
        return None
    nu = concentration(times)
    rng = np.random.default_rng(seed)
    # Drawn from times to the five minutes: a long season's visits drawn one by one take minutes.
    counts, edges = np.histogram(times, BINS, (0, 2 * np.pi))
    middles = (edges[:-1] + edges[1:]) / 2
    drawn = rng.multinomial(times.size, counts / times.size, RESAMPLES)
    rates = rate_by_hour(ACTIVITY_GRID, middles, watched, nu=nu, weights=drawn)
    low, high = np.quantile(rates, (0.025, 0.975), axis=0)
    return Activity(times, rate_by_hour(ACTIVITY_GRID, times, watched, nu=nu), low, high)


def knowledge(data: Dataset) -> tuple[Knowledge, ...]:
    """How much of each deployment the base knows about."""
    effort = by_deployment(data.effort)
    return tuple(_knowledge(each, effort.get(each.id, [])) for each in data.deployments)


def _knowledge(home: Deployment, effort: Sequence[Stretch]) -> Knowledge:
    watched = sum(each.watched_s for each in effort)
    unknown = sum(
        (each.end - each.start).total_seconds() for each in effort if each.state == "unknown"
    )
    whole = (home.end - home.start).total_seconds()
    return Knowledge(home.id, watched, max(whole - watched - unknown, 0.0), unknown)


def daily_states(data: Dataset) -> tuple[Stretch, ...]:
    """The effort of every deployment with one state a day (UTC), days of one state joined.

    A day of which any part is unknown is unknown; one with any watch is watching.
    """
    made: list[Stretch] = []
    for home in data.deployments:
        states: dict[date, State] = {}
        for each in (one for one in data.effort if one.deployment == home.id):
            for day in dates_of(each.start, each.end):
                worst = max(each.state, states.get(day, "off"), key=_WEIGHT.index)
                states[day] = worst
        first = True
        for day, state in sorted(states.items()):
            start = datetime.combine(day, time(), UTC)
            if not first and made[-1].state == state:
                made[-1] = replace(made[-1], end=start + timedelta(days=1))
            else:
                made.append(Stretch(home.id, start, start + timedelta(days=1), state, 0.0))
            first = False
    return tuple(made)


_WEIGHT: tuple[State, ...] = ("off", "watching", "unknown")
