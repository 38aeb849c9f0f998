"""A budget's pictures as bars, where a terminal is all there is."""

from collections.abc import Iterable

from rich.bar import Bar
from rich.console import Console
from rich.table import Table

from packcodec.budget.hours import airtime_by_hour, hour_limit_us
from packcodec.budget.plan import Budget
from packcodec.budget.traffic import Logged
from packcodec.edge.budget_answer import Answer
from packcodec.edge.cli.screen import say
from packcodec.edge.link_words import figure

BAR_WIDTH = 40
STATIONS_SHOWN = 8
DAYS_SHOWN = 12


def plot_budget(answer: Answer) -> None:
    """The same four pictures as the page's, on standard output."""
    budget = answer.budget
    _plot(*_airtime(budget))
    _plot("bytes a day by message", [(m.name, m.bytes_per_day, "B") for m in budget.messages])
    _plot(*_battery(answer))
    if answer.sharing is not None:
        last = max(answer.sharing.stations, answer.sharing.most[-1][1])
        counts = sorted({max(1, last * n // STATIONS_SHOWN) for n in range(1, STATIONS_SHOWN + 1)})
        losses = [(f"{n}", 100 * answer.sharing.loss_among(n), "%") for n in counts]
        _plot("frames lost by stations", losses, most=100.0)


def _airtime(budget: Budget) -> tuple[str, list[tuple[str, float, str]], float | None]:
    hours, limit_us = airtime_by_hour(budget), hour_limit_us(budget)
    if isinstance(budget.traffic, Logged):
        title, named = "most airtime by hour of the day, UTC", [(f"{u.hour:02}", u) for u in hours]
    else:
        # Expected hours are all alike.
        title, named = "most airtime in an hour of the watch", [("any", hours[0])]
    if limit_us is None:
        rows = [(name, use.most_us / 1e6, "s") for name, use in named]
        return f"{title}; no rule limits the hour", rows, None
    title += f", as a share of the limit of {figure(limit_us / 1e6)} s"
    return title, [(name, 100 * use.most_us / limit_us, "%") for name, use in named], 100.0


def _battery(answer: Answer) -> tuple[str, list[tuple[str, float, str]], float | None]:
    usable_wh = answer.budget.supply.pack.usable_wh
    if answer.season is not None:
        course = answer.season.course[:: -(-len(answer.season.course) // DAYS_SHOWN)]
        rows = [(f"{day.day}", day.left_wh, "Wh") for day in course]
        return "in the pack at the end of the day", rows, usable_wh
    energy, supply = answer.budget.energy, answer.budget.supply
    net_wh = energy.day.total_wh - supply.solar_wh
    left = [max(0.0, min(usable_wh, usable_wh - net_wh * day)) for day in range(DAYS_SHOWN)]
    until = next((day for day, wh in enumerate(left) if not wh), DAYS_SHOWN - 1)
    rows = [(f"day {day}", wh, "Wh") for day, wh in enumerate(left[: until + 1])]
    return "in the pack after so many days", rows, usable_wh


def _plot(title: str, rows: Iterable[tuple[str, float, str]], most: float | None = None) -> None:
    shown = list(rows)
    size = most or max((value for _, value, _ in shown), default=0.0) or 1.0
    grid = Table(box=None, pad_edge=False, show_header=False)
    grid.add_column(justify="right")
    grid.add_column(width=BAR_WIDTH)
    grid.add_column(justify="right")
    for name, value, unit in shown:
        grid.add_row(
            name, Bar(size, 0, min(value, size), width=BAR_WIDTH), f"{figure(value)} {unit}"
        )
    say()
    say(title)
    console = Console()
    console.print(grid, highlight=False, markup=False)
