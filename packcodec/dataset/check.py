"""What no schema of an exchange standard checks, and a dataset must not be published without."""

from collections import Counter
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

from packcodec.dataset.model import Dataset, Deployment
from packcodec.errors import LogError

# A device whose clock was never set starts at 1970, 1980, 1992 or 2000 (common practice, no
# source); no deployment of this program's time lies before this.
EARLIEST = datetime(2020, 1, 1, tzinfo=UTC)
# A summary's interval may begin before its station was set out, and end after it was taken in.
INTERVAL_SLACK = timedelta(hours=1)


def problems(data: Dataset) -> tuple[str, ...]:
    """Everything that is wrong, a line each, with its table, its row and what would be right."""
    return tuple(_problems(data))


def check(data: Dataset) -> Dataset:
    """The dataset itself where nothing is wrong; raises LogError with the first of what is."""
    found = problems(data)
    if found:
        more = f" (and {len(found) - 1} more)" if found[1:] else ""
        raise LogError(found[0] + more, place=data.project.name)
    if data.protection is None:
        raise LogError(
            "nothing has been kept back yet",
            place=data.project.name,
            remedy="pass it through protect(), with exact=True if all of it is wanted",
        )
    return data


def _problems(data: Dataset) -> Iterator[str]:
    homes = {each.id: each for each in data.deployments}
    if len(homes) < len(data.deployments):
        yield "deployments: two have the same id; give each stay one of its own"
    for home in data.deployments:
        yield from _time(f"deployments {home.id}", home.start, home.end)
    ids = Counter(each.id for each in data.sightings)
    for name in sorted(name for name, count in ids.items() if count > 1):
        yield f"sightings {name}: the id is there twice; it must be the only one"
    for seen in data.sightings:
        place = f"sightings {seen.id}"
        if seen.species not in data.species:
            yield f"{place}: {seen.species!r} is no animal of the species table"
        elif not data.species[seen.species].scientific_name:
            yield f"{place}: {seen.species!r} has no scientific name; fill it in the species table"
        if seen.individuals.value < 1:
            yield f"{place}: {seen.individuals.value} individuals; a sighting has 1 or more"
        yield from _within(place, seen.start, seen.end, homes.get(seen.deployment), timedelta())
    for n, total in enumerate(data.totals):
        place = f"totals row {n + 1}"
        if total.species not in data.species:
            yield f"{place}: {total.species!r} is no animal of the species table"
        yield from _within(
            place, total.start, total.end, homes.get(total.deployment), INTERVAL_SLACK
        )
    for n, interval in enumerate(data.intervals):
        place = f"intervals row {n + 1}"
        home_of = homes.get(interval.deployment)
        yield from _within(place, interval.start, interval.end, home_of, INTERVAL_SLACK)
        if interval.start and interval.end and interval.watched_s is not None:
            span = (interval.end - interval.start).total_seconds()
            if not 0 <= interval.watched_s <= span:
                yield f"{place}: watched {interval.watched_s:g} s of {span:g} s; it cannot be more"


def _time(place: str, start: datetime, end: datetime) -> Iterator[str]:
    if start < EARLIEST:
        yield f"{place}: starts {start:%Y-%m-%d}; an unset clock? It must be {EARLIEST:%Y} or later"
    if end < start:
        yield f"{place}: ends before it starts; swap or mend them"


def _within(
    place: str,
    start: datetime | None,
    end: datetime | None,
    home: Deployment | None,
    slack: timedelta,
) -> Iterator[str]:
    if home is None:
        yield f"{place}: lies in no deployment; add it to the deployments"
    if start is None or end is None or home is None:
        return
    yield from _time(place, start, end)
    if start < home.start - slack or end > home.end + slack:
        yield f"{place}: lies outside its deployment {home.id}; mend either"
