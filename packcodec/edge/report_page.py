"""A season as one self-contained page that a ranger reads: no script, nothing fetched.

A policy in the page itself forbids every request, so that what is not in it cannot be shown.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date
from typing import Any

from packcodec.base.events import Forgeries
from packcodec.base.untold import summed
from packcodec.dataset.check import check
from packcodec.dataset.days import StationDay, station_days
from packcodec.dataset.diversity import accumulation, hill
from packcodec.dataset.effort import DAY_S
from packcodec.dataset.live import last_heard
from packcodec.dataset.model import Count, Dataset, HealthField
from packcodec.dataset.rates import resampled
from packcodec.dataset.season import (
    SpeciesSeason,
    activity,
    hours_watched,
    knowledge,
    species_seasons,
)
from packcodec.dataset.values import bound
from packcodec.edge.live_words import when
from packcodec.edge.parts import part
from packcodec.edge.pictures import Picture
from packcodec.edge.report_airtime import Airtime
from packcodec.edge.report_charts import (
    accumulation_picture,
    activity_picture,
    calendar_picture,
    named,
    rates_picture,
)
from packcodec.edge.report_missing import (
    gap_rows,
    known_rows,
    unverified_care,
    unverified_part,
)
from packcodec.edge.station_charts import (
    airtime_picture,
    effort_picture,
    health_picture,
    map_picture,
    short,
)
from packcodec.edge.templates import page_text, template
from packcodec.schema.remedy import counted

SEED = 20270401
MOST_CURVES = 6
# Of a lithium-ion cell under load, this little is near its end (common practice, no source).
LOW_BATTERY_MV = 3400
LOW_STORAGE_PERCENT = 10
UNKNOWN_SHARE = 0.05
PICTURED: Mapping[str, str] = {
    "battery_mv": "Battery",
    "temperature_c": "Temperature",
    "storage_percent": "Free storage",
}
HILL_WORDS: Mapping[float, str] = {
    0: "with rare and common alike",
    1: "by how common each is",
    2: "with the common ones foremost",
}
HILL_RESAMPLES = 199
PARTS = (
    ("seen", "What was seen"),
    ("when", "When"),
    ("where", "Where"),
    ("missing", "What is missing"),
    ("stations", "The stations"),
    ("airtime", "Airtime"),
    ("trust", "How far to trust it"),
)


def report_page(
    data: Dataset, airtime: Airtime | None = None, failed: Iterable[Forgeries] = ()
) -> str:
    """The whole page as text; `failed` are days on which frames did not verify.

    Raises LogError where the dataset must not be published, MissingPartError without the part
    `dataset`.
    """
    check(data)
    unverified = unverified_part(data, failed)
    days = station_days(data)
    species = species_seasons(data, days, seed=SEED)
    markup = part("markupsafe", "dataset").Markup
    protection = data.protection
    exact = protection is not None and protection.exact
    words = [protection.generalized, protection.withheld] if protection else []
    kept_back = "; ".join(each for each in words if each)
    return str(
        template("report.html", "dataset").render(
            style=markup(page_text("style.css")),
            title=data.project.title,
            span=_span(data),
            written=f"{data.created:%Y-%m-%d %H:%M}",
            invented=data.project.invented,
            exact=exact,
            kept_back=f"{kept_back[:1].upper()}{kept_back[1:]}." if kept_back else "",
            parts=[each for each in PARTS if each[0] != "airtime" or airtime],
            figures=_figures(data, species),
            cares=[*cares(data), *unverified_care(unverified["alarms"])],
            independence=data.independence_s // 60,
            rates=rates_picture(species) if species else None,
            species=[_species_row(each) for each in species],
            calendar=calendar_picture(data, days),
            activities=_activities(data, species),
            map=map_picture(data, days),
            effort=effort_picture(data),
            known=known_rows(data),
            gaps=gap_rows(data),
            gap_count=len(data.gaps),
            unverified=unverified,
            health=[
                health_picture(data, each.name, PICTURED[each.name], each.unit)
                for each in data.health_fields
                if each.name in PICTURED
                and any(told.at and told.values.get(each.name) is not None for told in data.health)
            ],
            health_heads=[_head(each) for each in data.health_fields],
            stations=_stations(data),
            airtime=_airtime(airtime, exact),
            airtime_words=airtime.words if airtime else "",
            trust=_trust(data, days, species),
            accumulation=_accumulation(days),
        )
    )


def _airtime(airtime: Airtime | None, exact: bool) -> Picture | None:
    # By the day it would tell when a frame was sent of what is kept back.
    return airtime_picture(airtime.fullest, airtime.limit_s) if airtime and exact else None


def _span(data: Dataset) -> str:
    start = min(each.start for each in data.deployments)
    end = max(each.end for each in data.deployments)
    stations = len({each.station for each in data.deployments})
    return f"{stations} stations, {_day(start.date())} to {_day(end.date())}"


def _figures(data: Dataset, species: Sequence[SpeciesSeason]) -> list[tuple[str, str]]:
    known = knowledge(data)
    whole = sum(each.watched_s + each.off_s + each.unknown_s for each in known)
    watched = sum(each.watched_s or 0 for each in data.intervals) / DAY_S
    at_least = any(each.visits.at_least for each in species)
    visits = Count(sum(each.visits.value for each in species), at_least)
    return [
        ("visits", _count(visits)),
        ("species and groups", str(len(species))),
        ("days of 24 h watched", f"{watched:.1f}"),
        ("of the time, nobody knows", f"{sum(e.unknown_s for e in known) / max(whole, 1):.1%}"),
        ("frames missing", str(sum(each.missing for each in data.gaps))),
        *_untold(data),
    ]


def _untold(data: Dataset) -> Iterator[tuple[str, str]]:
    """Visits in frames that never came, where the stations send running totals of them."""
    sums = summed(each for _, each in data.untold)
    visits = [found for (_, count), found in sums.items() if count.endswith("visits")]
    if visits:
        known, unknown = (sum(each) for each in zip(*visits, strict=True))
        rest = f", and {counted(unknown, 'stretch', 'stretches')} unknown" if unknown else ""
        yield "visits counted, but in no record", f"{known}{rest}"


def cares(data: Dataset) -> list[str]:
    """What a ranger should look after, a line each, in the order of the stations."""
    lines = []
    for home, known in zip(data.deployments, knowledge(data), strict=True):
        told = [each for each in data.health if each.deployment == home.id]
        last = told[-1].values if told else {}
        battery, _ = bound(last.get("battery_mv"))
        storage, _ = bound(last.get("storage_percent"))
        name = short(home)
        if battery is not None and battery < LOW_BATTERY_MV:
            lines.append(f"{name}: the battery is low, {battery:g} mV at last.")
        if storage is not None and storage < LOW_STORAGE_PERCENT:
            lines.append(f"{name}: the card is nearly full, {storage:g} % free at last.")
        if known.unknown_share > UNKNOWN_SHARE:
            lines.append(f"{name}: nobody knows of {known.unknown_share:.0%} of its time.")
        if any(each.clock == "unset" for each in data.intervals if each.deployment == home.id):
            lines.append(f"{name}: its clock was unset for a while; what it saw then has no date.")
    return lines


def _species_row(each: SpeciesSeason) -> dict[str, str]:
    return {
        "name": named(each),
        "scientific": each.species.scientific_name,
        "visits": _count(each.visits),
        "rate": f"{each.rate.per_100_days:.0f}" if each.rate else "",
        "range": f"{each.rate.low:.0f} to {each.rate.high:.0f}" if each.rate else "",
        "most": _count(each.most),
        "stations": str(len(each.deployments)),
        "first": _day(each.first) if each.first else "",
        "last": _day(each.last) if each.last else "",
    }


def _activities(data: Dataset, species: Sequence[SpeciesSeason]) -> list[Picture]:
    watched = hours_watched(data)
    made: list[Picture] = []
    for each in species:
        day = activity(data, each.species.label, watched, seed=SEED)
        if day is not None:
            made.append(activity_picture(each, day, len(made)))
        if len(made) == MOST_CURVES:
            break
    return made


def _stations(data: Dataset) -> list[dict[str, Any]]:
    rows = []
    for home in data.deployments:
        told = [each for each in data.health if each.deployment == home.id]
        last = told[-1].values if told else {}
        rows.append(
            {
                "name": short(home),
                "last": when(last_heard(data, home.id)) or "never",
                "told": [_value(last.get(each.name)) for each in data.health_fields],
            }
        )
    return rows


def _head(field: HealthField) -> str:
    name = field.name.removesuffix("_mv").removesuffix("_c").removesuffix("_percent")
    words = name.replace("_", " ").capitalize()
    return f"{words}, {field.unit}" if field.unit else words


def _value(value: Any) -> str:
    inner, side = bound(value)
    sign = {"": "", "at least": "≥ ", "at most": "≤ "}[side]
    match inner:
        case None:
            return "–"
        case float() | int() if not isinstance(inner, bool):
            return f"{sign}{inner:g}"
        case list() | tuple():
            return ", ".join(str(each).replace("_", " ") for each in inner) or "–"
        case _:
            return str(inner)


def _trust(
    data: Dataset, days: Sequence[StationDay], species: Sequence[SpeciesSeason]
) -> list[str]:
    tally = data.tally
    capped = sum(each.visits.at_least or each.most.at_least for each in data.totals)
    left_out = sum(each.left_out.value for each in data.intervals)
    undated = sum(each.start is None for each in data.intervals)
    corrected = sum(each.clock == "corrected" for each in data.intervals)
    whole = sum(each.whole for each in days)
    lines = [
        f"{tally.records:,} records came, {tally.recovered:,} of them given back by repair.",
        f"{whole} of {sum(each.day is not None for each in days)} station-days are known whole; "
        "only on those does a species not told of count as not detected.",
        f"{undated:,} intervals were told by an unset clock: they count, but have no day. "
        f"{corrected:,} more were dated, or put right, by when frames were received.",
        f"{capped:,} counts reached the most that a frame can tell, and mean 'or more'.",
        f"{left_out:,} rows of species did not fit their frame.",
        f"{tally.unknown_codes:,} rows had a code that the species table lacks, and are left out.",
        f"{tally.unplaced:,} records lie in no deployment.",
        f"Detections below a confidence of {data.confidence_least:g} are not counted.",
    ]
    if any(each.visits.value for each in species):
        lines.append(
            "Hill numbers over visits, as many species as if all were equally common, with the "
            f"range that holds 95 % when days are drawn anew: {_hill_words(days)}."
        )
    return lines


def _hill_words(days: Sequence[StationDay]) -> str:
    """Hill numbers in words, with what they would be had other days been watched."""
    seen = [
        {label: count.value for label, count in each.visits.items()}
        for each in days
        if each.watched_s or each.visits
    ]

    def number(order: float, some: Sequence[Mapping[str, int]]) -> float:
        total: Counter[str] = Counter()
        for each in some:
            total.update(each)
        return hill(total.values(), order) if total.total() else 0.0

    words = []
    for order, meaning in HILL_WORDS.items():
        found = resampled(
            lambda some, order=order: number(order, some), seen, seed=SEED, resamples=HILL_RESAMPLES
        )
        words.append(f"{found.value:.1f} ({found.low:.1f} to {found.high:.1f}) {meaning}")
    return ", ".join(words)


def _accumulation(days: Sequence[StationDay]) -> Picture | None:
    samples = [set(each.visits) for each in days if each.day is not None and each.watched_s]
    return accumulation_picture(accumulation(samples)) if len(samples) > 1 else None


def _count(count: Count) -> str:
    return f"{count.value:,}+" if count.at_least else f"{count.value:,}"


def _day(day: date) -> str:
    return f"{day.day} {day:%b %Y}"
