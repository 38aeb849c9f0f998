"""How the stations are right now: the facts of a live page, from what the base has heard so far."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from packcodec.base.cadence import Cadence
from packcodec.dataset.build import Heard
from packcodec.dataset.days import NONE, plus
from packcodec.dataset.model import Count, Dataset, Deployment
from packcodec.dataset.values import number

RECENT = timedelta(days=2)
RECENT_GAPS = timedelta(days=7)
TREND = timedelta(days=7)


@dataclass(frozen=True, slots=True)
class StationNow:
    """One station. `battery_mv` and `battery_at` are its reports of the last week, in order.

    `overdue_from` is when its silence became, or will become, longer than it ever was by half;
    None while too little is known of its habits. `today` are species with the visits of this day
    (UTC), the most first, without those that keep their hour back. `missing` frames never came in
    the last week.
    """

    deployment: str
    name: str
    last_heard: datetime | None
    overdue_from: datetime | None
    overdue: bool
    battery_at: tuple[datetime, ...]
    battery_mv: tuple[float, ...]
    storage_percent: float | None
    watched_today_s: float
    today: tuple[tuple[str, Count], ...]
    missing: int


@dataclass(frozen=True, slots=True)
class Alert:
    """A sighting of a species that is reported at once; only its day, once over, where
    `to_the_day`."""

    at: datetime
    to_the_day: bool
    station: str
    species: str
    individuals: Count
    confidence: float | None


@dataclass(frozen=True, slots=True)
class RecentGap:
    """`missing` frames that never came, between two dated reports where known."""

    station: str
    missing: int
    after: datetime | None
    before: datetime | None


@dataclass(frozen=True, slots=True)
class Live:
    """All stations at `now`, sightings of the last two days and gaps of the last week, newest
    first."""

    now: datetime
    stations: tuple[StationNow, ...]
    alerts: tuple[Alert, ...]
    gaps: tuple[RecentGap, ...]


def live(data: Dataset, heard: Sequence[Heard], now: datetime) -> Live:
    """The state at `now`; `heard` is what `data` was made of, whose receptions say who is silent.

    Names, places and species are those of `data`: what it keeps back, this keeps back.
    """
    current = _current(data, now)
    names = {each.id: each.name.replace("_", " ") for each in data.deployments}
    alerts = [
        Alert(
            each.start,
            each.to_the_day,
            names[each.deployment],
            data.species[each.species].common_name or each.species.replace("_", " "),
            each.individuals,
            each.confidence,
        )
        for each in data.sightings
        if each.start is not None
        and data.species[each.species].report == "priority"
        and now - RECENT <= each.start <= now
        # What keeps only its day is news when the day is over: freshness would tell the hour.
        and (not each.to_the_day or (each.end or each.start) < now)
    ]
    gaps = [
        RecentGap(names[each.deployment], each.missing, each.after, each.before)
        for each in data.gaps
        if each.before is None or each.before >= now - RECENT_GAPS
    ]
    never = datetime.max.replace(tzinfo=UTC)
    return Live(
        now,
        tuple(_station(data, each, heard, now) for each in current),
        tuple(sorted(alerts, key=lambda one: one.at, reverse=True)),
        tuple(sorted(gaps, key=lambda one: one.before or never, reverse=True)),
    )


def _current(data: Dataset, now: datetime) -> list[Deployment]:
    """For each station the deployment it stands in, or its last one."""
    latest: dict[int, Deployment] = {}
    for each in data.deployments:
        known = latest.get(each.station)
        if known is None or (each.start <= now and each.start > known.start):
            latest[each.station] = each
    return list(latest.values())


def _station(data: Dataset, home: Deployment, heard: Sequence[Heard], now: datetime) -> StationNow:
    exact = data.protection is not None and data.protection.exact
    # Where something is kept back, a frame between the regular ones must not tell of it.
    received = sorted(
        (each.received, each.counter if each.counter is not None else -1)
        for each in heard
        if each.record.station == home.station
        and each.received
        and each.provenance == "radio"
        and (exact or each.record.message != "sighting")
    )
    cadence = Cadence()
    for at, counter in received:
        if at <= now:
            cadence.heard(counter, at)
    overdue_from = cadence.overdue_from
    told = [
        (each.at, each.values) for each in data.health if each.deployment == home.id and each.at
    ]
    battery = [
        (at, value)
        for at, values in told
        if now - TREND <= at <= now and (value := number(values.get("battery_mv"))) is not None
    ]
    day = now.astimezone(UTC).date()
    visits: dict[str, Count] = {}
    for total in data.totals:
        if total.deployment != home.id or total.start is None or total.to_the_day:
            continue
        if total.start.date() == day:
            visits[total.species] = plus(visits.get(total.species, NONE), total.visits)
    named = [
        (data.species[label].common_name or label.replace("_", " "), count)
        for label, count in visits.items()
    ]
    return StationNow(
        deployment=home.id,
        name=home.name.replace("_", " "),
        last_heard=received[-1][0] if received else last_heard(data, home.id),
        overdue_from=overdue_from,
        overdue=overdue_from is not None and now >= overdue_from,
        battery_at=tuple(at for at, _ in battery),
        battery_mv=tuple(value for _, value in battery),
        storage_percent=number(told[-1][1].get("storage_percent")) if told else None,
        watched_today_s=sum(
            each.watched_s or 0.0
            for each in data.intervals
            if each.deployment == home.id and each.start and each.start.date() == day
        ),
        today=tuple(sorted(named, key=lambda one: (-one[1].value, one[0]))),
        missing=sum(
            each.missing
            for each in data.gaps
            if each.deployment == home.id
            and (each.before is None or each.before >= now - RECENT_GAPS)
        ),
    )


def last_heard(data: Dataset, deployment: str) -> datetime | None:
    """The time of the last record that a clock dates."""
    ends = [
        *(each.end for each in data.intervals if each.deployment == deployment),
        *(
            each.end
            for each in data.sightings
            if each.deployment == deployment and not each.to_the_day
        ),
        *(each.at for each in data.health if each.deployment == deployment),
    ]
    told = [each.astimezone(UTC) for each in ends if each is not None]
    return max(told, default=None)
