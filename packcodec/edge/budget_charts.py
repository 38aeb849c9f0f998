"""The four pictures of a budget."""

from collections.abc import Callable
from math import floor, log10
from typing import Any

from packcodec.budget.hours import HourUse
from packcodec.budget.messages import MessagePlan
from packcodec.budget.sharing import Sharing
from packcodec.edge.pictures import BLUE, ORANGE, RED, legend, svg

HEIGHT_IN = 3.1


def airtime_chart(hours: tuple[HourUse, ...], limit_us: int | None, words: str) -> str:
    """Airtime by hour against the limit, seconds on a logarithmic scale."""

    def draw(axes: Any) -> None:
        at = [use.hour for use in hours]
        shown = [use for use in hours if use.most_us]
        axes.set_yscale("log")
        axes.yaxis.set_major_formatter("{x:g}")
        axes.yaxis.set_minor_formatter("")
        axes.set_ylim(*_decades([*(use.mean_us for use in shown), *_all_us(hours, limit_us)]))
        axes.vlines(
            [use.hour for use in shown],
            [use.mean_us / 1e6 for use in shown],
            [use.most_us / 1e6 for use in shown],
            color="#99BBCC",
        )
        for attribute, marker, colour, label in (
            ("most_us", "^", ORANGE, "the most"),
            ("mean_us", "o", BLUE, "mean"),
        ):
            axes.plot(
                [use.hour for use in shown],
                [getattr(use, attribute) / 1e6 for use in shown],
                marker,
                color=colour,
                label=label,
                markersize=5,
            )
        if limit_us is not None:
            axes.axhline(limit_us / 1e6, color=RED, linestyle="--", label="limit")
        axes.set_xlim(-0.7, max(at, default=0) + 0.7)
        axes.set_xlabel(words)
        axes.set_ylabel("s on air in the hour")
        legend(axes)

    return _svg("airtime", "Airtime by hour against the limit", draw)


def _all_us(hours: tuple[HourUse, ...], limit_us: int | None) -> list[float]:
    return [*(use.most_us for use in hours if use.most_us), *([limit_us] if limit_us else [])]


def _decades(times_us: list[float]) -> tuple[float, float]:
    """The powers of ten in seconds round all of the times, so that two of them are labelled."""
    low, high = log10(min(times_us) / 1e6), log10(max(times_us) / 1e6)
    return 10.0 ** floor(low), 10.0 ** (floor(high) + 1)


def bytes_chart(messages: tuple[MessagePlan, ...], room_bytes: int | None) -> str:
    """Frame sizes by message: least to greatest, typical, of 99 in 100, and the link's room."""

    def draw(axes: Any) -> None:
        rows = range(len(messages))
        axes.hlines(
            rows,
            [message.least_bytes for message in messages],
            [message.greatest_bytes for message in messages],
            color=BLUE,
            linewidth=6,
            label="least to greatest",
        )
        for attribute, marker, label in (
            ("typical_bytes", "D", "typical"),
            ("p99_bytes", "<", "99 %"),
        ):
            known = [(row, getattr(message, attribute)) for row, message in enumerate(messages)]
            shown = [(size, row) for row, size in known if size is not None]
            if shown:
                axes.plot(
                    *zip(*shown, strict=True),
                    marker,
                    color=ORANGE,
                    markeredgecolor="black",
                    label=label,
                )
        longest = max(message.greatest_bytes for message in messages)
        if room_bytes is not None and room_bytes < 2 * longest:
            axes.axvline(room_bytes, color=RED, linestyle="--", label="the link's room")
        for row, message in enumerate(messages):
            told = f"{message.bytes_per_day:.0f} B a day"
            axes.annotate(told, (message.least_bytes, row), (0, 8), textcoords="offset points")
        axes.set_yticks(list(rows), [message.name for message in messages])
        axes.set_ylim(-0.6, len(messages) - 0.2)
        axes.set_xlim(0, None)
        axes.grid(visible=False, axis="y")
        axes.set_xlabel("bytes in a frame")
        legend(axes, columns=2)

    return _svg("bytes", "Bytes by message", draw)


def battery_chart(
    left: list[tuple[float, float]], draw_by_day: list[tuple[float, float]] | None, words: str
) -> str:
    """What the pack holds by day, and what a day draws where days differ, both in watt-hours."""

    def draw(axes: Any) -> None:
        axes.plot(*zip(*left, strict=True), color=BLUE, linewidth=2, label="in the pack")
        axes.fill_between(*zip(*left, strict=True), color=BLUE, alpha=0.15)
        if draw_by_day is not None:
            axes.plot(
                *zip(*draw_by_day, strict=True),
                color=ORANGE,
                linestyle="--",
                linewidth=2,
                label="drawn that day",
            )
        axes.set_xlim(0, left[-1][0])
        axes.set_ylim(0, None)
        axes.set_xlabel(words)
        axes.set_ylabel("Wh")
        legend(axes)

    return _svg("battery", "Battery by day", draw)


def loss_chart(sharing: Sharing) -> str:
    """Frames lost to collisions by the number of stations."""

    def draw(axes: Any) -> None:
        last = max(sharing.stations, sharing.most[-1][1], 2)
        counts = sorted({max(1, round(last * n / 60)) for n in range(61)})
        loss = [100 * sharing.loss_among(stations) for stations in counts]
        axes.plot(counts, loss, color=BLUE, linewidth=2, label="frames lost")
        axes.plot(
            [stations for _, stations in sharing.most],
            [100 * share for share, _ in sharing.most],
            "s",
            color=ORANGE,
            markeredgecolor="black",
            label=", ".join(f"{share:.0%}" for share, _ in sharing.most),
        )
        for share, stations in sharing.most:
            axes.annotate(
                f"{stations} ",
                (stations, 100 * share),
                (-3, 3),
                textcoords="offset points",
                ha="right",
            )
        axes.set_xlim(0, last * 1.05)
        axes.set_ylim(0, None)
        axes.set_xlabel("stations on the channel")
        axes.set_ylabel("% of frames lost")
        legend(axes)

    return _svg("loss", "Loss by stations", draw)


def _svg(name: str, title: str, draw: Callable[[Any], None]) -> str:
    def with_grid(axes: Any) -> None:
        axes.grid(color="#DDDDDD")
        draw(axes)

    return svg(name, title, with_grid, height_in=HEIGHT_IN, extra="desk")
