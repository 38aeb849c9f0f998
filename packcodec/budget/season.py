"""A pack over a season: a station that watches by daylight draws more in June than in April."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

from packcodec.budget.plan import Budget, plan_budget
from packcodec.budget.traffic import DAY_S, Expected
from packcodec.radio.energy import endurance
from packcodec.radio.sun import Daylight


@dataclass(frozen=True, slots=True)
class SeasonDay:
    """One day: hours awake, what the station and its radio draw, what the pack holds after it."""

    day: date
    awake_h: float
    draw_wh: float
    radio_wh: float
    left_wh: float


@dataclass(frozen=True, slots=True)
class Season:
    """A full pack set out on the first day, never changed.

    `days` is how long it lasts, None where it lasts the season; `empty_on` the day it gives out.
    `needs_wh` is the pack that would last without sun, `needs_solar_wh` the income every day with
    which this pack lasts (what reaches the load, after all losses).
    """

    course: tuple[SeasonDay, ...]
    days: float | None
    empty_on: date | None
    needs_wh: float
    needs_solar_wh: float

    @property
    def radio_share(self) -> float:
        """The radio's part of the season's energy, 0..1."""
        radio_wh = sum(day.radio_wh for day in self.course)
        draw_wh = sum(day.draw_wh for day in self.course)
        return radio_wh / draw_wh if draw_wh else 0.0


def plan_season(budget: Budget, daylight: Sequence[Daylight]) -> Season:
    """The budget's station over those days, awake while it is light.

    Expected rates follow the light; a log's traffic stays as it was. `daylight` is what
    `packcodec.radio.sun.season` gives, one day or more.
    """
    energies = [_day_of(budget, day.hours).energy.day for day in daylight]
    draws_wh = [energy.total_wh for energy in energies]
    pack, solar_wh = budget.supply.pack, budget.supply.solar_wh
    lasting = endurance(pack, draws_wh, solar_wh)
    course = tuple(
        SeasonDay(day.day, day.hours, energy.total_wh, energy.radio_wh, left_wh)
        for day, energy, left_wh in zip(daylight, energies, lasting.left_wh, strict=True)
    )
    gone = None if lasting.days is None else daylight[0].day + timedelta(days=int(lasting.days))
    yield_of_pack = pack.usable_wh / pack.energy_wh if pack.energy_wh else 1.0
    return Season(
        course=course,
        days=lasting.days,
        empty_on=gone,
        needs_wh=sum(draws_wh) / (yield_of_pack or 1.0),
        needs_solar_wh=_least_solar_wh(budget, draws_wh),
    )


def _day_of(budget: Budget, awake_h: float) -> Budget:
    watch_s = max(1, min(DAY_S, round(awake_h * 3600)))
    traffic = budget.traffic
    if isinstance(traffic, Expected):
        traffic = replace(traffic, watch_s=watch_s)
    return plan_budget(
        budget.layout,
        budget.link,
        traffic,
        rules=budget.rules,
        supply=replace(budget.supply, awake_h=awake_h),
        rows_most=budget.rows_most,
    )


def _least_solar_wh(budget: Budget, draws_wh: Sequence[float]) -> float:
    """The least steady income with which the pack lasts, to a hundredth of a watt-hour."""
    low, high = 0, round(max(draws_wh) * 100) + 1
    while low < high:
        middle = (low + high) // 2
        if endurance(budget.supply.pack, draws_wh, middle / 100).days is None:
            high = middle
        else:
            low = middle + 1
    return high / 100
