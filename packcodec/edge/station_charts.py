"""The report's pictures of the stations: where they are, when they watched, how they fare."""

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta
from math import cos, radians
from typing import Any

from packcodec.dataset.days import StationDay
from packcodec.dataset.model import Dataset, Deployment, Stretch
from packcodec.dataset.season import daily_states
from packcodec.dataset.values import number
from packcodec.edge.parts import part
from packcodec.edge.pictures import BLUE, LOOKS, RED, Picture, legend, svg

MOST_DAYS_SHOWN = 62
MOST_NAMED = 3
MOST_PLACES_NAMED = 12
MONTHS = "%d %b"


def map_picture(data: Dataset, days: Sequence[StationDay]) -> Picture:
    """The stations by their coordinates, as large as they were busy."""
    places: dict[tuple[float, float], list[Deployment]] = {}
    for home in data.deployments:
        places.setdefault((home.longitude, home.latitude), []).append(home)
    cells = {home.coordinate_precision for home in data.deployments if home.coordinate_precision}

    def busy(homes: Sequence[Deployment]) -> float:
        ids = {home.id for home in homes}
        own = [day for day in days if day.deployment in ids]
        seen = sum(count.value for day in own for count in day.visits.values())
        return seen / max(sum(day.watched_s for day in own) / 3600, 1.0)

    most = max((busy(homes) for homes in places.values()), default=0.0) or 1.0

    xs, ys = [x for x, _ in places], [y for _, y in places]
    east, middle = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    stretch = cos(radians(middle))

    def draw(axes: Any) -> None:
        for (x, y), homes in places.items():
            area = 60 + 340 * busy(homes) / most
            axes.scatter([x], [y], s=area, color=BLUE, alpha=0.75, edgecolors="black", zorder=3)
            if len(places) > MOST_PLACES_NAMED:
                continue
            # To the side away from the middle, so that neighbours' names do not meet.
            side = -1 if x < east else 1
            axes.annotate(
                _names(homes),
                (x, y),
                (13 * side, 0),
                textcoords="offset points",
                ha="right" if side < 0 else "left",
                va="center",
                zorder=4,
            )
        span = max((max(xs) - min(xs)) * stretch, max(ys) - min(ys), *(cells or {0.002})) * 0.95
        axes.set_ylim(middle - span, middle + span)
        axes.set_xlim(east - span / stretch, east + span / stretch)
        axes.set_aspect(1 / stretch)
        _scale_bar(axes, span, east, middle, stretch)
        axes.ticklabel_format(useOffset=False)
        axes.tick_params(labelsize=8)
        axes.locator_params(nbins=4)
        axes.grid(color="#DDDDDD")
        axes.set_xlabel("longitude, ° east")
        axes.set_ylabel("latitude, ° north")

    rounded = (
        f" Places are rounded to {', '.join(f'{each:g}°' for each in sorted(cells))}, and stations "
        "rounded to one place share a dot."
        if cells
        else ""
    )
    return Picture(
        "The stations",
        f"Larger dot: more visits per hour watched.{rounded}",
        svg("map", "Map of the stations", draw, height_in=4.0),
    )


def _names(homes: Sequence[Deployment]) -> str:
    names = list(dict.fromkeys(short(home) for home in homes))
    more = len(names) - MOST_NAMED
    return "\n".join([*names[:MOST_NAMED], f"and {more} more"] if more > 1 else names)


def _scale_bar(axes: Any, span: float, east: float, middle: float, stretch: float) -> None:
    degree_m = 111_195.0  # of latitude, on a sphere of the earth's mean radius
    third_m = span * degree_m * 2 / 3
    size_m = max(n * 10**power for power in range(7) for n in (1, 2, 5) if n * 10**power <= third_m)
    wide = size_m / degree_m / stretch
    left, low = east - span / stretch * 0.92, middle - span * 0.9
    axes.plot([left, left + wide], [low, low], color="black", linewidth=3, zorder=4)
    text = f"{size_m / 1000:g} km" if size_m >= 1000 else f"{size_m:g} m"
    axes.annotate(text, (left + wide / 2, low), (0, 4), textcoords="offset points", ha="center")


def effort_picture(data: Dataset) -> Picture:
    """When each station watched, was off, or nobody knows."""
    homes = list(data.deployments)
    looks = {
        "watching": {"color": BLUE, "linewidth": 0},
        "off": {"facecolor": "white", "edgecolor": "#BBBBBB", "linewidth": 0.4},
        "unknown": {
            "facecolor": "#FBEDE4",
            "edgecolor": RED,
            "hatch": "xxxx",
            "linewidth": 0.6,
        },
    }
    words = {"watching": "watching", "off": "off", "unknown": "nobody knows"}

    span = max((each.end - each.start for each in homes), default=timedelta())
    shown = data.effort if span.days <= MOST_DAYS_SHOWN else daily_states(data)
    rows = {home.id: row for row, home in enumerate(homes)}

    def draw(axes: Any) -> None:
        dates = part("matplotlib.dates", "dataset")
        for state, look in looks.items():
            label: str | None = words[state]
            for home in homes:
                bars = [
                    _bar(dates, each)
                    for each in shown
                    if each.deployment == home.id and each.state == state
                ]
                if bars:
                    axes.broken_barh(bars, (rows[home.id] - 0.35, 0.7), label=label, **look)
                    label = None
        axes.set_yticks(range(len(homes)), [short(home) for home in homes])
        axes.invert_yaxis()
        _dates_below(axes)
        legend(axes)

    return Picture(
        "What is known of the watch",
        "Blue: watching. White: off. Crossed: nobody knows, for frames are missing or the clock "
        "was wrong; that is not the same as off."
        + ("" if shown is data.effort else " One state a day: crossed where any of it is unknown."),
        svg("effort", "Effort by station", draw, height_in=1.1 + 0.32 * len(homes)),
    )


def _bar(dates: Any, stretch: Stretch) -> tuple[float, float]:
    start = float(dates.date2num(stretch.start))
    return start, float(dates.date2num(stretch.end)) - start


def health_picture(data: Dataset, name: str, title: str, unit: str) -> Picture:
    """One health field over time, a line a station."""
    series: dict[str, list[tuple[datetime, float]]] = {}
    for home in data.deployments:
        told = [
            (each.at, number(each.values.get(name)))
            for each in data.health
            if each.deployment == home.id and each.at is not None
        ]
        points = [(at, value) for at, value in told if value is not None]
        if points:
            series.setdefault(short(home), []).extend(points)

    def draw(axes: Any) -> None:
        _lines(axes, series, sorted(series, key=lambda each: series[each][-1][1]))
        axes.set_ylabel(unit)
        legend(axes, columns=2)

    return Picture(
        title,
        "One mark a report; reports by an unset clock have no place here."
        + (" Named: the lowest at last." if len(series) > len(LOOKS) else ""),
        svg(f"health-{name}", title, draw, height_in=2.7),
    )


def _lines(
    axes: Any, series: Mapping[str, Sequence[tuple[datetime, float]]], order: Sequence[str]
) -> None:
    """A line for each name; where they are too many to tell apart, only the first of `order`
    are named."""
    few = len(series) <= len(LOOKS)
    looks = dict(zip(series if few else order[:MOST_NAMED], LOOKS, strict=False))
    for name, points in series.items():
        at, values = [at for at, _ in points], [value for _, value in points]
        if name not in looks:
            axes.plot(at, values, color="#BBBBBB", linewidth=0.8, zorder=1)
            continue
        colour, line, mark = looks[name]
        axes.plot(at, values, color=colour, linestyle=line, marker=mark, markersize=3.5, label=name)
    _dates_below(axes)
    axes.grid(color="#DDDDDD")


def _dates_below(axes: Any) -> None:
    dates = part("matplotlib.dates", "dataset")
    axes.xaxis_date()
    axes.xaxis.set_major_locator(dates.AutoDateLocator(minticks=3, maxticks=5))
    axes.xaxis.set_major_formatter(dates.DateFormatter(MONTHS))


def airtime_picture(
    fullest: Mapping[str, Sequence[tuple[date, float]]], limit_s: float | None
) -> Picture:
    """The fullest hour of each station and day on the air, against the limit."""

    series = {
        station: [(_noon(day), used) for day, used in points] for station, points in fullest.items()
    }
    busiest = sorted(series, key=lambda each: -max((used for _, used in series[each]), default=0))

    def draw(axes: Any) -> None:
        _lines(axes, series, busiest)
        if limit_s is not None:
            axes.axhline(limit_s, color="black", linestyle=(0, (1, 1)), linewidth=2, label="limit")
        axes.set_ylim(0, None)
        axes.set_ylabel("s on air in the fullest hour")
        legend(axes, columns=3)

    return Picture(
        "Airtime against the limit",
        "The fullest sliding hour of each day, of the frames that reached the base. An estimate, "
        "never a licence.",
        svg("airtime", "Airtime by day", draw, height_in=2.7),
    )


def _noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def short(home: Deployment) -> str:
    """A deployment's name for people, as a figure or a table has room for."""
    return home.name.replace("_", " ")
