"""Airtime by the hour, for a picture of where the day's airtime goes."""

from dataclasses import dataclass

from packcodec.budget.plan import Budget
from packcodec.budget.traffic import HOUR_US, Expected, Logged
from packcodec.radio.limits import WindowLimit
from packcodec.radio.scopes import ledger_limits

HOUR_S = 3600
HOURS_A_DAY = 24


@dataclass(frozen=True, slots=True)
class HourUse:
    """Time on air in one hour: the mean over station-days, and the most that any station had."""

    hour: int
    mean_us: float
    most_us: int


def airtime_by_hour(budget: Budget) -> tuple[HourUse, ...]:
    """A log by the hour of the day (UTC); expected rates by the hour of the watch, all alike.

    The most of expected rates is that of the fullest sliding hour.
    """
    match budget.traffic:
        case Logged():
            return _of_log(budget, budget.traffic)
        case Expected():
            return _of_rates(budget, budget.traffic)


def hour_limit_us(budget: Budget) -> int | None:
    """What the tightest window over a whole band leaves an hour; None where there is none."""
    limits = ledger_limits(budget.link, budget.rules)
    an_hour = [
        limit.limit_us * HOUR_US // limit.window_us
        for limit in limits
        if isinstance(limit, WindowLimit) and "@" not in limit.scope
    ]
    return min(an_hour, default=None)


def _of_log(budget: Budget, traffic: Logged) -> tuple[HourUse, ...]:
    used_us: dict[tuple[int, int], int] = {}
    for each in traffic.sent:
        of = (each.station, each.at_s // HOUR_S)
        airtime_us = budget.airtime_us(each.message, each.frame_bytes)
        used_us[of] = used_us.get(of, 0) + airtime_us
    by_hour: list[list[int]] = [[] for _ in range(HOURS_A_DAY)]
    for (_, number), spent_us in used_us.items():
        by_hour[number % HOURS_A_DAY].append(spent_us)
    return tuple(
        HourUse(hour, sum(spent) / traffic.station_days, max(spent, default=0))
        for hour, spent in enumerate(by_hour)
    )


def _of_rates(budget: Budget, traffic: Expected) -> tuple[HourUse, ...]:
    most_us = traffic.fullest(HOUR_US, budget.airtime_us).used_us
    watch_h = traffic.watch_s / HOUR_S
    mean_us = budget.airtime_us_per_day / watch_h
    return tuple(HourUse(hour, mean_us, most_us) for hour in range(max(1, round(watch_h))))
