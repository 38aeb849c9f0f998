"""The live state in words for a page, and as data for programs."""

from collections.abc import Sequence
from dataclasses import asdict
from datetime import UTC, datetime, timedelta
from typing import Any

from packcodec.dataset.live import Live, StationNow


def as_words(live: Live, trouble: str, alarms: Sequence[str] = ()) -> dict[str, Any]:
    """What the page's template fills in."""
    return {
        "trouble": trouble,
        "alarms": alarms,
        "now": when(live.now),
        "stations": [_station(each, live.now) for each in live.stations],
        "alerts": [
            {
                "species": each.species,
                "individuals": str(each.individuals),
                "station": each.station,
                "at": f"{each.at:%Y-%m-%d}" if each.to_the_day else when(each.at),
                "confidence": "" if each.confidence is None else f"{each.confidence:.0%}",
            }
            for each in live.alerts
        ],
        "gaps": [
            {
                "station": each.station,
                "missing": each.missing,
                "after": when(each.after) or "the start",
                "before": when(each.before) or "now",
            }
            for each in live.gaps
        ],
    }


def as_json(live: Live, trouble: str, alarms: Sequence[str] = ()) -> dict[str, Any]:
    """The same for programs: times in RFC 3339, counts with whether there may be more."""
    data: dict[str, Any] = _plain(asdict(live))
    return {**data, "trouble": trouble, "alarms": list(alarms)}


def _plain(value: Any) -> Any:
    match value:
        case dict():
            return {name: _plain(inner) for name, inner in value.items()}
        case list() | tuple():
            return [_plain(inner) for inner in value]
        case datetime():
            return value.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        case _:
            return value


def _station(each: StationNow, now: datetime) -> dict[str, Any]:
    battery = each.battery_mv
    return {
        "name": each.name,
        "overdue": each.overdue,
        "overdue_from": when(each.overdue_from),
        "last": when(each.last_heard),
        "ago": "" if each.last_heard is None else ago(now - each.last_heard),
        "battery": f"{battery[-1]:g} mV" if battery else "",
        "points": _points(each.battery_at, battery) if len(battery) > 1 else "",
        "trend": f"{battery[0]:g} to {battery[-1]:g} mV" if battery else "",
        "storage": "" if each.storage_percent is None else f"{each.storage_percent:g} %",
        "watched": f"{each.watched_today_s / 3600:.1f} h",
        "missing": f"{each.missing} frames",
        "today": [(name, str(count)) for name, count in each.today],
    }


def _points(at: Sequence[datetime], values: Sequence[float]) -> str:
    """A line in a box 100 wide and 24 high; flat where nothing changes."""
    first, span = at[0], max((at[-1] - at[0]).total_seconds(), 1.0)
    low, high = min(values), max(values)
    rise = max(high - low, 1.0)
    return " ".join(
        f"{(t - first).total_seconds() / span * 100:.1f},{22 - (v - low) / rise * 20:.1f}"
        for t, v in zip(at, values, strict=True)
    )


def when(time: datetime | None) -> str:
    """An instant to the minute, in UTC; nothing for None."""
    return "" if time is None else f"{time.astimezone(UTC):%Y-%m-%d %H:%M}"


def ago(length: timedelta) -> str:
    """A length of time in its largest unit, rounded down."""
    seconds = max(int(length.total_seconds()), 0)
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size:
            return f"{seconds // size} {unit} ago"
    return "just now"
