"""The interval, data rate and messages that fit a link best.

Best is: every message if possible, as often as asked for if possible, and then as far-reaching as
possible, with half of the tightest limit left for repeats and for what no plan foresees. Where no
plan of the same messages leaves half, the first in that order that fits at all.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction

from packcodec.budget.plan import Budget
from packcodec.budget.remedies import (
    INTERVALS_S,
    LEAST_SF,
    AtInterval,
    at_interval_of,
    in_words,
    interval_s,
    reach,
    replanned,
)
from packcodec.budget.traffic import DAY_S, Expected, Random, Regular, Traffic
from packcodec.budget.verdict import nearest_percent, percent
from packcodec.errors import PackcodecError
from packcodec.radio.link import Link
from packcodec.radio.links import adjusted
from packcodec.radio.lora import Lora

SPREADING_FACTORS = range(12, LEAST_SF - 1, -1)
COMFORTABLE = Fraction(1, 2)


@dataclass(frozen=True, slots=True)
class Best:
    """The plan that fits best, and itself in one sentence."""

    budget: Budget
    sentence: str


def best_plan(
    budget: Budget, rates: Iterable[Link] = (), at_interval: AtInterval | None = None
) -> Best | None:
    """The best plan on the budget's link at any of its data rates; None if nothing fits.

    `rates` are the links that are its other data rates (a network plan's); raw LoRa has its own.
    `at_interval` gives a log's traffic at another interval.
    """
    links = sorted({link.name: link for link in (*_rates(budget.link), *rates)}.values(), key=reach)
    for kept in _message_sets(budget.traffic):
        fitting: Best | None = None
        for traffic, words in _traffics(budget, kept, at_interval):
            for link in reversed(links):
                tried = replanned(budget, link=link, traffic=traffic)
                if tried.fits and tried.filled <= COMFORTABLE:
                    return Best(tried, _sentence(tried, words))
                if tried.fits and fitting is None:
                    fitting = Best(tried, _sentence(tried, words))
        if fitting is not None:
            return fitting
    return None


def _rates(link: Link) -> Iterator[Link]:
    yield link
    if isinstance(link.modulation, Lora) and link.answer is None:
        for sf in SPREADING_FACTORS:
            if sf != link.modulation.sf:
                yield adjusted(link, sf=sf)


def _traffics(
    budget: Budget, kept: tuple[str, ...], at_interval: AtInterval | None
) -> Iterator[tuple[Traffic, str]]:
    """The messages that are kept, as often as asked and then ever more slowly, with words."""
    at = at_interval or at_interval_of(budget.traffic)
    asked_s = interval_s(budget) or budget.layout.schema.policy.interval_s
    yield _only(budget.traffic, kept), _words(budget.traffic, kept, asked_s)
    if at is None:
        return
    for longer_s in INTERVALS_S:
        if longer_s <= asked_s:
            continue
        try:
            traffic = at(longer_s)
        except PackcodecError:
            # The schema's fields do not reach so long an interval.
            return
        yield _only(traffic, kept), _words(traffic, kept, longer_s)


def _message_sets(traffic: Traffic) -> Iterator[tuple[str, ...]]:
    """All messages; without those that come at random; only those sent oftener than daily."""
    sets = [traffic.messages]
    if isinstance(traffic, Expected):
        regular = {n: r for n, r in traffic.rates.items() if isinstance(r, Regular)}
        sets += [tuple(regular), tuple(n for n, r in regular.items() if r.period_s < DAY_S)]
    yield from dict.fromkeys(each for each in sets if each)


def _only(traffic: Traffic, kept: tuple[str, ...]) -> Traffic:
    if isinstance(traffic, Expected):
        return replace(traffic, rates={name: traffic.rates[name] for name in kept})
    return replace(traffic, sent=tuple(each for each in traffic.sent if each.message in kept))


def _words(traffic: Traffic, kept: tuple[str, ...], asked_s: int) -> str:
    """When what is sent: 'summary hourly, health daily, sighting at once'."""
    if not isinstance(traffic, Expected):
        return f"all messages, summaries {in_words(asked_s)}"
    parts = []
    for name in kept:
        rate = traffic.rates[name]
        parts.append(f"{name} {'at once' if isinstance(rate, Random) else in_words(rate.period_s)}")
    dropped = [name for name in traffic.rates if name not in kept]
    return ", ".join(parts) + (f" (without {' and '.join(dropped)})" if dropped else "")


def _sentence(budget: Budget, words: str) -> str:
    modulation = budget.link.modulation
    rate = f"SF{modulation.sf}" if isinstance(modulation, Lora) else budget.link.name
    used = "no limit in time" if budget.share is None else f"{percent(budget.share)} of the limit"
    energy = budget.energy
    radio = (
        f"radio {nearest_percent(energy.day.radio_share)} of the energy"
        if energy.radio_known
        else "the radio's energy is not known here"
    )
    return f"{words}, at {rate}: {used}, {radio}"
