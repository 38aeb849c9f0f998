"""A link's rules as the limits of a ledger.

What counts over a whole band (a duty cycle, a pause, the longest transmission) has the rule's id as
its scope, so that two links under one rule share one account. What counts on one channel (dwell)
has `ID@FREQUENCY`, and time on air per slice of spectrum has `ID/N` for the N-th slice of that
width from 0 Hz; a transmission across two slices counts in both.
"""

from collections.abc import Iterator, Mapping

from packcodec.radio.legal import rules_for
from packcodec.radio.limits import Limit, PauseLimit, SingleLimit, WindowLimit
from packcodec.radio.link import Link
from packcodec.radio.modulations import LrFhss
from packcodec.radio.rules import Rule


def ledger_limits(link: Link, rules: Mapping[str, Rule] | None = None) -> tuple[Limit, ...]:
    """Every limit in time on the link's channels; `rules` as in `rules_for`.

    The dwell of LR-FHSS is not among them: its hops are the chip's own, and `check_legal` holds
    the longest stay against the limit.
    """
    limits: list[Limit] = []
    for rule in rules_for(link, rules):
        limits += _of_band(rule)
        for frequency_hz in link.frequencies_hz:
            if rule.holds_for(*link.emission_hz(frequency_hz)):
                limits += _of_channel(link, rule, frequency_hz)
    return tuple(dict.fromkeys(limits))


def ledger_scopes(
    link: Link, frequency_hz: int, rules: Mapping[str, Rule] | None = None
) -> tuple[str, ...]:
    """The scopes a transmission on that channel falls into; none where nothing is limited."""
    edges_hz = link.emission_hz(frequency_hz)
    limits = (
        limit
        for rule in rules_for(link, rules)
        if rule.holds_for(*edges_hz)
        for limit in (*_of_band(rule), *_of_channel(link, rule, frequency_hz))
    )
    return tuple(dict.fromkeys(limit.scope for limit in limits))


def _of_band(rule: Rule) -> Iterator[Limit]:
    told = rule.citation
    if rule.duty_budget_us is not None and rule.duty_window_us is not None:
        yield WindowLimit(rule.id, rule.duty_budget_us, rule.duty_window_us, told)
    if rule.pause_us is not None:
        yield PauseLimit(rule.id, rule.pause_us, clause=told)
    if rule.longest_us is not None:
        yield SingleLimit(rule.id, rule.longest_us, told)


def _of_channel(link: Link, rule: Rule, frequency_hz: int) -> Iterator[Limit]:
    told = rule.citation
    if rule.dwell_us is not None and not isinstance(link.modulation, LrFhss):
        scope = f"{rule.id}@{frequency_hz}"
        window_us = _dwell_window_us(rule, link.hops_over)
        if window_us is None:
            yield SingleLimit(scope, rule.dwell_us, told)
        else:
            yield WindowLimit(scope, rule.dwell_us, window_us, told)
    if rule.on_time_us is not None and rule.on_time_window_us is not None:
        per_hz = rule.on_time_per_hz or rule.bands_hz[0][1]
        low_hz, high_hz = link.emission_hz(frequency_hz)
        for n in range(low_hz // per_hz, (high_hz - 1) // per_hz + 1):
            yield WindowLimit(f"{rule.id}/{n}", rule.on_time_us, rule.on_time_window_us, told)


def _dwell_window_us(rule: Rule, hops_over: int) -> int | None:
    """The window of the dwell limit; None where one stay alone is limited."""
    if rule.dwell_window_per_channel and rule.dwell_us is not None:
        return rule.dwell_us * max(hops_over, 1)
    return rule.dwell_window_us
