"""How often: independent visits, and visits by effort with their uncertainty.

A rate of visits is an index. It mixes how many animals there are with how far they move, how well
the station sees them and where it stands; it is no density.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
from scipy.stats import bootstrap

from packcodec.errors import LogError

DAY_S = 86400
RESAMPLES = 999
CONFIDENCE = 0.95


@dataclass(frozen=True, slots=True)
class Seen:
    """One species at one station from `start` to `end`; equal for a single picture."""

    deployment: str
    species: str
    start: datetime
    end: datetime


def independent(seen: Iterable[Seen], independence_s: int = 1800) -> list[Seen]:
    """Visits: runs of one species at one deployment, by time of start.

    A new visit starts where at least `independence_s` have passed since the end of the last
    detection: a herd that grazes for two hours is one (30 min is common practice, no source).
    """
    visits: list[Seen] = []
    open_visits: dict[tuple[str, str], int] = {}
    for each in sorted(seen, key=lambda one: (one.start, one.end)):
        key = (each.deployment, each.species)
        at = open_visits.get(key)
        if at is not None and each.start - visits[at].end < timedelta(seconds=independence_s):
            last = visits[at]
            end = max(last.end, each.end)
            visits[at] = Seen(last.deployment, last.species, last.start, end)
        else:
            open_visits[key] = len(visits)
            visits.append(each)
    return visits


@dataclass(frozen=True, slots=True)
class Rate:
    """Visits per 100 station-days of 24 h watched, and a 95 % interval by bootstrap."""

    visits: int
    watched_s: float
    per_100_days: float
    low: float
    high: float


def rate(visits: Sequence[int], watched_s: Sequence[float], *, seed: int) -> Rate | None:
    """The rate over station-days, one element a day; None where nothing was watched.

    The interval draws whole station-days anew (percentiles, 999 times), for visits of one day
    depend on one another; days that depend on their neighbours make it too narrow. It is the
    point itself where there are fewer than two days.
    """
    if len(visits) != len(watched_s):
        raise LogError(
            f"{len(visits)} days of visits and {len(watched_s)} of effort",
            place="rate",
            remedy="give both for every station-day",
        )
    counts, effort = np.asarray(visits, float), np.asarray(watched_s, float)
    counts, effort = counts[effort > 0], effort[effort > 0]
    if not effort.size:
        return None
    point = float(_per_100_days(counts, effort))
    low = high = point
    if effort.size > 1:
        result = bootstrap(
            (counts, effort),
            _per_100_days,
            paired=True,
            vectorized=True,
            n_resamples=RESAMPLES,
            confidence_level=CONFIDENCE,
            method="percentile",
            rng=np.random.default_rng(seed),
        )
        low, high = (float(each) for each in result.confidence_interval)
    return Rate(int(counts.sum()), float(effort.sum()), point, low, high)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure and a 95 % interval by bootstrap (percentiles)."""

    value: float
    low: float
    high: float


def resampled(
    statistic: Callable[..., float], *samples: Sequence[Any], seed: int, resamples: int = RESAMPLES
) -> Estimate:
    """`statistic` of the samples, and how it varies when each is drawn anew, whole, with return.

    For an overlap give the times of two species, for an activity level those of one, for a number
    of species the station-days: what is drawn must be what could have come out otherwise. Raises
    LogError for a sample without elements.
    """
    if not samples or not all(len(each) for each in samples):
        raise LogError("a sample is empty", place="bootstrap", remedy="give one element or more")
    rng = np.random.default_rng(seed)
    drawn = []
    for _ in range(resamples):
        picks = [rng.integers(len(each), size=len(each)) for each in samples]
        anew = ([each[n] for n in at] for each, at in zip(samples, picks, strict=True))
        drawn.append(statistic(*anew))
    tail = (1 - CONFIDENCE) / 2
    low, high = np.quantile(drawn, (tail, 1 - tail))
    return Estimate(float(statistic(*samples)), float(low), float(high))


def _per_100_days(counts: "np.ndarray", effort: "np.ndarray", axis: int = -1) -> "np.ndarray":
    return np.asarray(100 * DAY_S * counts.sum(axis=axis) / effort.sum(axis=axis))
