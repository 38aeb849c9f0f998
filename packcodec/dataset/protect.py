"""Sensitive species: what leaves the store, and how coarse.

A. D. Chapman, Current Best Practices for Generalizing Sensitive Species Occurrence Data, GBIF 2020,
doi 10.15468/doc-5jp4-5g10 (read): category 1 is withheld or rounded to 1 degree, 2 to 0.1, 3 to
0.01, 4 to 0.001 degree; generalise, never displace at random; generalise the location, not the
record, for all deployments there. The category is the `sensitivity` of the species code table.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime, time, timedelta

from packcodec.dataset.days import greater, plus
from packcodec.dataset.model import (
    Dataset,
    Deployment,
    Protection,
    Sighting,
    Total,
)
from packcodec.schema.model import Species

WITHHELD = "withheld"
GRADES = (1.0, 0.1, 0.01, 0.001)
# Categories whose hour is kept back as well as the place; the day is common practice, no source.
TO_THE_DAY = (1.0, 0.1)
# The uncertainty that rounding adds, in metres, as Chapman (2020) gives it: the diagonal of a cell
# on the equator. It holds everywhere, for cells only narrow towards the poles.
ADDED_M: Mapping[float, int] = {1.0: 156_904, 0.1: 15_690, 0.01: 1_569, 0.001: 157}
# Where the receiver told no uncertainty: a floor that the guide of GBIF on camera-trap data
# (doi 10.35035/doc-0qzp-2x37, read) takes for a position by satellite.
UNTOLD_M = 30

WITHHELD_WORDS = "records of species that the species table withholds are left out everywhere"


def protect(data: Dataset, *, exact: bool = False) -> Dataset:
    """The dataset as it may be published; with `exact`, all of it, which the caller answers for.

    Withheld species vanish without a trace, from every station alike. A location where a graded
    species was recorded is rounded to the coarsest grade seen there, in all its deployments, and
    loses its name and free text. Sightings of the two coarsest grades keep only their day, and
    their totals become totals of the day; ids that would tell their order are made anew.
    """
    if exact:
        return replace(data, protection=Protection(exact=True))
    grade = {label: _grade(row) for label, row in data.species.items()}
    kept = {label: row for label, row in data.species.items() if row.sensitivity != WITHHELD}
    sightings = [each for each in data.sightings if each.species in kept]
    totals = [each for each in data.totals if each.species in kept]
    homes = {each.id: each for each in data.deployments}
    coarsest: dict[str, float] = {}
    recorded: list[Sighting | Total] = [*sightings, *totals]
    for row in recorded:
        location, degrees = homes[row.deployment].location, grade[row.species]
        if degrees is not None:
            coarsest[location] = max(degrees, coarsest.get(location, 0.0))
    day_only = {label for label in kept if grade[label] in TO_THE_DAY}
    held_back = any(row.sensitivity == WITHHELD for row in data.species.values())
    return replace(
        data,
        species=kept,
        deployments=tuple(_coarse(each, coarsest.get(each.location)) for each in data.deployments),
        sightings=tuple(_hidden(sightings, day_only, homes, data.species)),
        totals=tuple(_by_day(totals, day_only, homes)),
        tally=replace(
            data.tally,
            records=data.tally.records - (len(data.sightings) - len(sightings)),
            undated_sightings=sum(each.start is None for each in sightings),
        ),
        protection=Protection(
            exact=False,
            generalized=_words(coarsest.values(), bool(day_only)),
            withheld=WITHHELD_WORDS if held_back else "",
        ),
    )


def rounded(degrees: float, grade: float) -> float:
    """A coordinate to the nearest whole grade: 51.18061 by 0.001 is 51.181."""
    places = GRADES.index(grade)
    return round(degrees, places) + 0.0


def _grade(row: Species) -> float | None:
    return None if row.sensitivity in ("", WITHHELD) else float(row.sensitivity)


def _coarse(deployment: Deployment, grade: float | None) -> Deployment:
    if grade is None:
        return deployment
    return replace(
        deployment,
        name=f"station {deployment.station}",
        latitude=rounded(deployment.latitude, grade),
        longitude=rounded(deployment.longitude, grade),
        uncertainty_m=(deployment.uncertainty_m or UNTOLD_M) + ADDED_M[grade],
        coordinate_precision=grade,
        feature="",
        habitat="",
        comments="",
    )


def _day(at: datetime, home: Deployment) -> tuple[datetime, datetime]:
    """The whole day of an instant in UTC, as far as the deployment stood."""
    start = datetime.combine(at.astimezone(UTC).date(), time(), UTC)
    end = start + timedelta(days=1) - timedelta(seconds=1)
    return max(start, home.start), min(end, home.end)


def _hidden(
    sightings: Iterable[Sighting],
    day_only: set[str],
    homes: Mapping[str, Deployment],
    species: Mapping[str, Species],
) -> list[Sighting]:
    made: list[Sighting] = []
    seen: dict[str, int] = {}
    for each in sightings:
        day = f"{each.start:%Y%m%d}" if each.start else "undated"
        # The counter in an id would tell which hours' summaries a sighting came between.
        stem = f"{each.deployment}-{species[each.species].code}-{day}"
        seen[stem] = seen.get(stem, 0) + 1
        if each.species in day_only and each.start is not None:
            start, end = _day(each.start, homes[each.deployment])
            each = replace(each, start=start, end=end, to_the_day=True)
        made.append(replace(each, id=f"{stem}-{seen[stem]}"))
    return sorted(made, key=lambda one: (one.deployment, one.start or _never(), one.id))


def _never() -> datetime:
    """What an undated row sorts by: after all that have a date."""
    return datetime.max.replace(tzinfo=UTC)


def _by_day(
    totals: Iterable[Total], day_only: set[str], homes: Mapping[str, Deployment]
) -> list[Total]:
    """Hourly totals of species that keep only their day as one total a day."""
    made: list[Total] = []
    days: dict[tuple[object, ...], Total] = {}
    for each in totals:
        if each.species not in day_only:
            made.append(each)
            continue
        start, end = (
            (None, None) if each.start is None else _day(each.start, homes[each.deployment])
        )
        key = (each.deployment, each.species, start, each.provenance, each.clock)
        so_far = days.get(key)
        days[key] = replace(
            each,
            start=start,
            end=end,
            visits=plus(so_far.visits, each.visits) if so_far else each.visits,
            most=greater(so_far.most, each.most) if so_far else each.most,
            first_s=None,
            last_s=None,
            confidence=None,
            to_the_day=True,
        )
    rows = [*made, *days.values()]
    return sorted(rows, key=lambda one: (one.deployment, one.start or _never(), one.species))


def _words(grades: Iterable[float], day_only: bool) -> str:
    listed = sorted(set(grades), reverse=True)
    if not listed:
        return ""
    said = ", ".join(f"{grade:g}" for grade in listed)
    text = (
        f"coordinates rounded to {said} degree where a sensitive species was recorded; "
        "the held precision is finer"
    )
    return f"{text}; times of the most sensitive given to the day" if day_only else text
