"""What would make a plan fit: every change is planned again, none is only a text."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from math import floor
from typing import TypeAlias

from packcodec.budget.plan import Budget, plan_budget
from packcodec.budget.room import rows_list
from packcodec.budget.traffic import DAY_S, Expected, Logged, Regular, Traffic
from packcodec.errors import PackcodecError, RadioError
from packcodec.radio.legal import POWER_ROUNDING_DB, power_limit_dbm, rules_for
from packcodec.radio.link import Link
from packcodec.radio.links import adjusted
from packcodec.radio.lora import Lora

# Intervals that divide a day, which people and clocks like.
INTERVALS_S = (300, 600, 900, 1200, 1800, 3600, 7200, 10800, 14400, 21600, 28800, 43200, DAY_S)
LEAST_SF = 7
LIKE_POWER_DB = 0.5

# The same station's traffic, were it to send its regular messages at another interval.
AtInterval: TypeAlias = Callable[[int], Traffic]


@dataclass(frozen=True, slots=True)
class Remedy:
    """One change, in words, and the plan with it, which fits."""

    change: str
    budget: Budget


def replanned(
    budget: Budget,
    *,
    link: Link | None = None,
    traffic: Traffic | None = None,
    rows_most: int | None = None,
) -> Budget:
    """The same plan with something else in its place."""
    return plan_budget(
        budget.layout,
        budget.link if link is None else link,
        budget.traffic if traffic is None else traffic,
        rules=budget.rules,
        supply=budget.supply,
        rows_most=budget.rows_most if rows_most is None else rows_most,
    )


def remedies(
    budget: Budget,
    others: Iterable[Link] = (),
    at_interval: AtInterval | None = None,
) -> tuple[Remedy, ...]:
    """Changes that make a plan fit, each on its own: less power, slower, faster data, fewer rows,
    another link.

    `others` are links worth trying. `at_interval` says what a logged station would have sent at
    another interval; without it only expected rates are slowed. None for a plan that fits already.
    """
    if budget.fits:
        return ()
    found = (
        _first(_quieter(budget)),
        _first(_slower(budget, at_interval)),
        _first(_faster(budget)),
        _first(_shorter(budget)),
        _best_link(_elsewhere(budget, others), budget.link),
    )
    return tuple(remedy for remedy in found if remedy is not None)


def at_interval_of(traffic: Traffic) -> AtInterval | None:
    """Expected rates with every message that is sent oftener than daily sent at the interval."""
    if not isinstance(traffic, Expected):
        return None
    expected = traffic

    def at(interval_s: int) -> Traffic:
        rates = {
            name: Regular(interval_s)
            if isinstance(rate, Regular) and rate.period_s < DAY_S
            else rate
            for name, rate in expected.rates.items()
        }
        return replace(expected, rates=rates)

    return at


def interval_s(budget: Budget) -> int | None:
    """The shortest period of the regular messages that are sent oftener than daily."""
    if isinstance(budget.traffic, Logged):
        return budget.traffic.interval_s
    periods = [r.period_s for r in budget.traffic.rates.values() if isinstance(r, Regular)]
    return min((period for period in periods if period < DAY_S), default=None)


def in_words(interval_s: int) -> str:
    """An interval as people say it."""
    if interval_s % 3600 == 0:
        hours = interval_s // 3600
        return {1: "hourly", 24: "daily"}.get(hours, f"every {hours} h")
    if interval_s % 60 == 0:
        return f"every {interval_s // 60} min"
    return f"every {interval_s} s"


def _quieter(budget: Budget) -> Iterator[Remedy]:
    """The most whole decibels that every rule's limit of power allows, where they are exceeded."""
    link = budget.link
    over_db = 0.0
    for rule in rules_for(link, budget.rules):
        limit_dbm = power_limit_dbm(link, rule)
        sent_dbm = None if rule.power_reference is None else link.power_as(rule.power_reference)
        if limit_dbm is not None and sent_dbm is not None:
            over_db = max(over_db, sent_dbm - limit_dbm)
    if link.power_dbm is None or over_db <= POWER_ROUNDING_DB:
        return
    power_dbm = floor(link.power_dbm - over_db + POWER_ROUNDING_DB)
    try:
        quieter = adjusted(link, power_dbm=power_dbm)
    except RadioError:
        # No radio goes that low.
        return
    yield Remedy(f"{power_dbm} dBm {link.power_reference}", replanned(budget, link=quieter))


def _slower(budget: Budget, at_interval: AtInterval | None) -> Iterator[Remedy]:
    at = at_interval or at_interval_of(budget.traffic)
    now_s = interval_s(budget) or budget.layout.schema.policy.interval_s
    if at is None:
        return
    for longer_s in INTERVALS_S:
        if longer_s <= now_s:
            continue
        try:
            traffic = at(longer_s)
        except PackcodecError:
            # The schema's fields do not reach so long an interval.
            return
        yield Remedy(f"send {in_words(longer_s)}", replanned(budget, traffic=traffic))


def _faster(budget: Budget) -> Iterator[Remedy]:
    modulation = budget.link.modulation
    if not isinstance(modulation, Lora):
        return
    for sf in range(modulation.sf - 1, LEAST_SF - 1, -1):
        try:
            link = adjusted(budget.link, sf=sf)
        except RadioError:
            # The data rates of a network plan are links of their own.
            return
        yield Remedy(f"SF{sf}, which reaches less far", replanned(budget, link=link))


def _shorter(budget: Budget) -> Iterator[Remedy]:
    """Fewer rows; they only help where they are what is too long."""
    lists = [
        rows_list(message)
        for message in budget.layout.messages
        if message.name in budget.traffic.messages
    ]
    most = max((listed.field.most for listed in lists if listed is not None), default=0)
    now = most if budget.rows_most is None else min(budget.rows_most, most)
    for rows in range(now - 1, 0, -1):
        yield Remedy(
            f"at most {rows} row{'s' if rows > 1 else ''}", replanned(budget, rows_most=rows)
        )


def _elsewhere(budget: Budget, others: Iterable[Link]) -> Iterator[Remedy]:
    for other in others:
        link = _as_slow(other, budget.link)
        if link.name != budget.link.name:
            yield Remedy(f"link {link.name}", replanned(budget, link=link))


def _as_slow(link: Link, as_this: Link) -> Link:
    """Raw LoRa at the spreading factor of the other, so that it reaches as far."""
    now, wanted = link.modulation, as_this.modulation
    if not isinstance(now, Lora) or not isinstance(wanted, Lora) or link.answer is not None:
        return link
    return link if now.sf == wanted.sf else adjusted(link, sf=wanted.sf)


def _first(tried: Iterator[Remedy]) -> Remedy | None:
    return next((remedy for remedy in tried if remedy.budget.fits), None)


def _best_link(tried: Iterator[Remedy], link: Link) -> Remedy | None:
    """The fitting link that reaches and radiates no less than before if any does, else the least
    used."""

    def order(remedy: Remedy) -> tuple[bool, bool, Fraction | int]:
        other = remedy.budget.link
        weaker = _radiated_dbm(other) < _radiated_dbm(link) - LIKE_POWER_DB
        return reach(other) < reach(link), weaker, remedy.budget.share or 0

    return min((remedy for remedy in tried if remedy.budget.fits), key=order, default=None)


def reach(link: Link) -> float:
    """A longer symbol is heard farther; other modulations come after LoRa, which has more reach."""
    modulation = link.modulation
    return modulation.symbol_us if isinstance(modulation, Lora) else 0.0


def _radiated_dbm(link: Link) -> float:
    power_dbm = link.power_as("eirp")
    return float("-inf") if power_dbm is None else power_dbm
