"""When the stations watched, as far as the base knows: watching, off, or unknown.

Only a summary that came says that a station watched. Between two summaries with no frame missing
between them it was off; where a frame is missing, or nothing came at all, nobody knows.
"""

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from packcodec.dataset.days import by_deployment
from packcodec.dataset.model import Deployment, Gap, Interval, State, Stretch

DAY_S = 86400


def stretches(
    deployments: Sequence[Deployment], intervals: Sequence[Interval], gaps: Sequence[Gap]
) -> tuple[Stretch, ...]:
    """Every deployment from start to end, in stretches that meet and do not overlap.

    Intervals without a date are in none of them: their effort counts, but nobody knows when.
    """
    own, lost = by_deployment(intervals), by_deployment(gaps)
    found: list[Stretch] = []
    for each in deployments:
        found += _one(each, own.get(each.id, []), lost.get(each.id, []))
    return tuple(found)


def watched_s(intervals: Iterable[Interval]) -> dict[str, float]:
    """Seconds really watched, by deployment, undated intervals included."""
    total: dict[str, float] = {}
    for each in intervals:
        total[each.deployment] = total.get(each.deployment, 0.0) + (each.watched_s or 0.0)
    return total


def station_days(seconds: Mapping[str, float]) -> float:
    """Days of 24 h watched by all stations together."""
    return sum(seconds.values()) / DAY_S


def _one(
    deployment: Deployment, intervals: Sequence[Interval], gaps: Sequence[Gap]
) -> list[Stretch]:
    made: list[Stretch] = []
    reached = deployment.start
    for begins, ends, each, after_undated in _dated(intervals):
        start, end = max(begins, reached), min(ends, deployment.end)
        if start > reached:
            made.append(_between(deployment, reached, start, gaps, after_undated))
            reached = start
        if end > reached:
            made.append(_watching(deployment, reached, end, each))
            reached = end
        elif made and each.watched_s:
            made[-1] = _more(made[-1], each.watched_s)
    if reached < deployment.end:
        made.append(
            Stretch(deployment.id, reached, deployment.end, "unknown", 0.0, "nothing heard since")
        )
    return _merged(made)


def _dated(
    intervals: Sequence[Interval],
) -> list[tuple[datetime, datetime, Interval, bool]]:
    """The intervals with a date, by date, each with whether undated ones were sent before it."""
    dated = []
    after_undated = False
    for each in intervals:
        if each.start is None or each.end is None:
            after_undated = True
        else:
            dated.append((each.start, each.end, each, after_undated))
            after_undated = False
    return sorted(dated, key=lambda one: one[:2])


def _between(
    deployment: Deployment,
    start: datetime,
    end: datetime,
    gaps: Sequence[Gap],
    after_undated: bool,
) -> Stretch:
    """What lies between two summaries."""
    state: State = "off"
    reason = ""
    if any(_touches(gap, start, end) for gap in gaps):
        state, reason = "unknown", "frames missing"
    elif after_undated:
        state, reason = "unknown", "clock unset"
    return Stretch(deployment.id, start, end, state, 0.0, reason)


def _touches(gap: Gap, start: datetime, end: datetime) -> bool:
    """Whether the frames of a gap may have been summaries of start to end."""
    begins = gap.after is None or gap.after < end
    ends = gap.before is None or gap.before > start
    return begins and ends


def _watching(
    deployment: Deployment, start: datetime, end: datetime, interval: Interval
) -> Stretch:
    if interval.watched_s is None:
        return Stretch(deployment.id, start, end, "unknown", 0.0, "effort not told")
    return Stretch(deployment.id, start, end, "watching", interval.watched_s)


def _more(stretch: Stretch, seconds: float) -> Stretch:
    watched = stretch.watched_s + seconds
    return Stretch(
        stretch.deployment, stretch.start, stretch.end, stretch.state, watched, stretch.reason
    )


def _merged(made: Sequence[Stretch]) -> list[Stretch]:
    """Neighbours of one state as one; watched hours run on only while the watch was whole."""
    merged: list[Stretch] = []
    for each in made:
        last = merged[-1] if merged else None
        if last and (last.state, last.reason, last.end) == (each.state, each.reason, each.start):
            merged[-1] = Stretch(
                last.deployment,
                last.start,
                each.end,
                last.state,
                last.watched_s + each.watched_s,
                last.reason,
            )
        else:
            merged.append(each)
    return merged
