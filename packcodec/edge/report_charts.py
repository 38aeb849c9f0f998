"""The report's pictures of what was seen: how often, when, and how much more there is."""

from collections.abc import Sequence
from datetime import date, timedelta
from math import isnan, pi
from typing import Any

from packcodec.dataset.days import StationDay
from packcodec.dataset.model import Dataset
from packcodec.dataset.season import ACTIVITY_GRID, Activity, SpeciesSeason
from packcodec.edge.parts import part
from packcodec.edge.pictures import BLUE, GREY, PALE, Picture, svg
from packcodec.edge.station_charts import MOST_DAYS_SHOWN, short

MOST_STROKES = 300


def rates_picture(species: Sequence[SpeciesSeason]) -> Picture:
    """Visits per 100 station-days, with the interval that holds 95 % of resamples."""
    shown = [each for each in species if each.rate is not None][:15][::-1]

    def draw(axes: Any) -> None:
        for row, each in enumerate(shown):
            assert each.rate is not None
            axes.hlines(row, each.rate.low, each.rate.high, color=BLUE, linewidth=2)
            axes.plot(each.rate.per_100_days, row, "o", color=BLUE)
        axes.set_yticks(range(len(shown)), [named(each) for each in shown])
        axes.set_xlim(0, None)
        axes.set_ylim(-0.7, len(shown) - 0.3)
        axes.grid(axis="x", color="#DDDDDD")
        axes.set_xlabel("visits per 100 days of 24 h watched")

    return Picture(
        "How often",
        "Dot: the rate. Line: the range that holds 95 % of rates when days are drawn anew.",
        svg("rates", "Visits by effort", draw, height_in=0.9 + 0.26 * len(shown)),
    )


def activity_picture(each: SpeciesSeason, day: Activity, number: int) -> Picture:
    """Visits per hour watched over the day."""
    hours = [angle * 12 / pi for angle in ACTIVITY_GRID]
    strokes = day.times.size <= MOST_STROKES

    def draw(axes: Any) -> None:
        axes.fill_between(hours, day.low, day.high, color=BLUE, alpha=0.2, linewidth=0)
        axes.plot(hours, day.rate, color=BLUE, linewidth=2)
        top = max([value for value in day.high if not isnan(value)], default=1.0) or 1.0
        _not_watched(axes, hours, day, top)
        if strokes:
            at = [angle * 12 / pi for angle in day.times]
            axes.plot(at, [0] * len(at), "|", color="black", markersize=7, alpha=0.6)
        axes.set_xlim(0, 24)
        axes.set_ylim(0, top * 1.05)
        axes.set_xticks(range(0, 25, 4))
        axes.set_xlabel("hour of the day by the sun (noon is 12)")
        axes.set_ylabel("visits per hour watched")

    return Picture(
        named(each),
        f"{day.times.size:,} visits{', one stroke each at the foot' if strokes else ''}. "
        "Band: 95 % of resamples. Hatched: hours in which no station watched.",
        svg(f"activity{number}", f"The day of {named(each)}", draw, height_in=2.4),
    )


def _not_watched(axes: Any, hours: Sequence[float], day: Activity, top: float) -> None:
    blind = [isnan(value) for value in day.rate]
    if any(blind):
        axes.fill_between(
            hours, 0, top * 1.05, where=blind, facecolor=PALE, hatch="///", edgecolor="#999999"
        )


def calendar_picture(data: Dataset, days: Sequence[StationDay]) -> Picture:
    """Visits per hour watched, a square a station and day (a week in a long season)."""
    dated = [each for each in days if each.day is not None]
    first = min((each.day for each in dated if each.day), default=data.created.date())
    last = max((each.day for each in dated if each.day), default=first)
    step = 1 if (last - first).days < MOST_DAYS_SHOWN else 7
    columns = (last - first).days // step + 1
    homes = list(data.deployments)
    visits = [[0.0] * columns for _ in homes]
    watched = [[0.0] * columns for _ in homes]
    for each in dated:
        assert each.day is not None
        row = next(n for n, home in enumerate(homes) if home.id == each.deployment)
        column = (each.day - first).days // step
        visits[row][column] += sum(count.value for count in each.visits.values())
        watched[row][column] += each.watched_s / 3600
    rates = [
        [v / w if w else float("nan") for v, w in zip(of, out_of, strict=True)]
        for of, out_of in zip(visits, watched, strict=True)
    ]

    def draw(axes: Any) -> None:
        axes.set_facecolor(PALE)
        mesh = axes.pcolormesh(
            range(columns + 1),
            range(len(homes) + 1),
            rates,
            cmap=part("matplotlib", "dataset").colormaps["Blues"].resampled(8),
            vmin=0,
            edgecolors="white",
            linewidth=0.6,
        )
        for row, line in enumerate(rates):
            for column, value in enumerate(line):
                if isnan(value):
                    axes.text(column + 0.5, row + 0.5, "×", ha="center", va="center", color=GREY)
        axes.set_yticks([n + 0.5 for n in range(len(homes))], [short(home) for home in homes])
        axes.invert_yaxis()
        _date_ticks(axes, first, step, columns)
        axes.tick_params(length=0)
        for side in ("left", "bottom"):
            axes.spines[side].set_visible(False)
        bar = axes.figure.colorbar(mesh, ax=axes, orientation="horizontal", aspect=30, pad=0.02)
        bar.set_label("visits of all species per hour watched")
        bar.outline.set_visible(False)
        # As squares of colour: a picture in the picture would be a request, which the page forbids.
        bar.solids.set_rasterized(False)

    unit = "day" if step == 1 else "week"
    return Picture(
        "Every station, every " + unit,
        f"A square a {unit}. Darker: more visits per hour watched. × : nothing known of that "
        f"{unit}, or not watched.",
        svg("calendar", "Visits by station and day", draw, height_in=1.6 + 0.3 * len(homes)),
    )


def accumulation_picture(expected: Sequence[float]) -> Picture:
    """Species expected against station-days."""

    def draw(axes: Any) -> None:
        axes.plot(range(1, len(expected) + 1), expected, color=BLUE, linewidth=2)
        axes.set_xlim(0, None)
        axes.set_ylim(0, None)
        axes.grid(color="#DDDDDD")
        axes.set_xlabel("station-days, in no order")
        axes.set_ylabel("species")

    return Picture(
        "How many species a longer watch finds",
        "Where the line still climbs, there is more to be found.",
        svg("accumulation", "Species by station-days", draw, height_in=2.4),
    )


def named(each: SpeciesSeason) -> str:
    """What people call it, or its label where the table has no common name."""
    return each.species.common_name or each.species.label.replace("_", " ")


def _date_ticks(axes: Any, first: date, step: int, columns: int) -> None:
    every = max(1, -(-columns // 4))
    at = list(range(0, columns, every))
    days = [first + timedelta(days=n * step) for n in at]
    axes.set_xticks([n + 0.5 for n in at], [f"{day.day} {day:%b}" for day in days])
