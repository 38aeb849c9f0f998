"""What is missing, for a season's page: hours unknown, gaps, and frames that do not verify."""

from collections.abc import Iterable, Sequence
from typing import Any

from packcodec.base.events import Forgeries
from packcodec.base.failures import ALARM_A_DAY, MOST_KEPT_A_DAY
from packcodec.dataset.model import Dataset
from packcodec.dataset.season import knowledge
from packcodec.edge.live_words import when
from packcodec.edge.station_charts import short
from packcodec.schema.remedy import counted

MOST_GAPS = 40


def known_rows(data: Dataset) -> list[dict[str, str]]:
    """What is known of the watch, in hours: a row a deployment."""
    names = {each.id: short(each) for each in data.deployments}
    return [
        {
            "name": names[each.deployment],
            "watched": _hours(each.watched_s),
            "off": _hours(each.off_s),
            "unknown": _hours(each.unknown_s),
        }
        for each in knowledge(data)
    ]


def gap_rows(data: Dataset) -> list[dict[str, str]]:
    """The largest gaps, MOST_GAPS at most, the largest first."""
    names = {each.id: short(each) for each in data.deployments}
    return [
        {
            "name": names[each.deployment],
            "missing": str(each.missing),
            "after": when(each.after) or "the start",
            "before": when(each.before) or "now",
            "note": "may have been skipped at a restart" if each.at_restart else "",
        }
        for each in sorted(data.gaps, key=lambda one: -one.missing)[:MOST_GAPS]
    ]


def unverified_part(data: Dataset, failed: Iterable[Forgeries]) -> dict[str, Any]:
    """Frames that name a station and do not verify, of the days that the deployments span.

    `alarms` are rows, one a station and day; `fewer` says in words what is no alarm, or nothing.
    """
    first = min(each.start for each in data.deployments).date()
    last = max(each.end for each in data.deployments).date()
    within = [each for each in failed if first <= each.day <= last]
    alarms = [each for each in within if each.count >= ALARM_A_DAY]
    rest = sum(each.count for each in within) - sum(each.count for each in alarms)
    return {
        "alarms": [
            {"name": _name(data, each), "day": each.day.isoformat(), "frames": _frames(each)}
            for each in alarms
        ],
        "least": ALARM_A_DAY,
        "fewer": counted(rest, "frame") if rest else "",
    }


def unverified_care(alarms: Sequence[object]) -> list[str]:
    """What a ranger should know of alarms before reading on: a line, or none."""
    if not alarms:
        return []
    count = counted(len(alarms), "alarm")
    return [f"{count}: frames that name a station do not verify. See 'What is missing'."]


def _name(data: Dataset, failed: Forgeries) -> str:
    """The station by the name it had that day; a frame can name one that nobody has put up."""
    for each in data.deployments:
        own = each.station == failed.station
        if own and each.start.date() <= failed.day <= each.end.date():
            return short(each)
    return f"station {failed.station}"


def _frames(failed: Forgeries) -> str:
    return f"{failed.count:,}+" if failed.count >= MOST_KEPT_A_DAY else f"{failed.count:,}"


def _hours(seconds: float) -> str:
    return f"{seconds / 3600:,.1f} h"
