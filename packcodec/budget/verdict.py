"""One verdict a rule: whether a plan's fullest windows stay inside its limits, by how much.

A verdict is an estimate from the rows in packcodec/radio/data, never a licence: the local
regulator decides.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from packcodec.budget.traffic import HOUR_US, Cost, Traffic
from packcodec.radio.legal import (
    POWER_ROUNDING_DB,
    Finding,
    check_legal,
    power_limit_dbm,
    rules_for,
)
from packcodec.radio.limits import Limit, PauseLimit, SingleLimit, WindowLimit
from packcodec.radio.link import Link
from packcodec.radio.modulations import Airtime, up
from packcodec.radio.rules import Reference, Rule
from packcodec.radio.scopes import ledger_limits
from packcodec.radio.wording import reference, seconds

NO_LICENCE = "An estimate, never a licence: ask the local regulator what you may send."
TRANSMITTER = "transmitter"
LEAST_PERCENT = Fraction(1, 100)
UNDER_LEAST = "under 0.01 %"
EIRP: Reference = "eirp"
SET_IN_WHOLE_DB = "the same: chips are set in whole decibels"
NETWORKS_OWN = "no rule of ours limits this link: ask its operator what it allows"


@dataclass(frozen=True, slots=True)
class Use:
    """One limit in time: what the plan's worst case takes of it. `limit` is the limit in words.

    `one_frame` marks what the longest frame uses alone, and a few frames more would not fill.
    `made_of` counts the frames of the worst case by message; empty where it is one frame.
    """

    limit: str
    used_us: int
    allowed_us: int
    one_frame: bool = False
    made_of: tuple[tuple[str, int], ...] = ()

    @property
    def share(self) -> Fraction:
        """The part of the limit that is used; over 1 where it is broken."""
        return Fraction(self.used_us, self.allowed_us)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What one rule says to a plan. `fits` is None where nobody here can know.

    `told` says why in one sentence, with how far past the limit it is. `clause` is the citation
    with its marks, `evidence` how far the row is confirmed (primary, secondary, memory). `power`
    is the transmit power beside the rule's limit, in words; empty where it has none.
    """

    subject: str
    fits: bool | None
    told: str
    clause: str
    evidence: str
    uses: tuple[Use, ...] = ()
    caution: str = ""
    power: str = ""

    @property
    def tightest(self) -> Use | None:
        """The limit of which most is used; None for a rule without a limit in time."""
        return max(self.uses, key=lambda use: use.share, default=None)

    @property
    def share(self) -> Fraction | None:
        """The part of its tightest limit that is used; None for a rule without a limit in time."""
        return None if self.tightest is None else self.tightest.share

    @property
    def word(self) -> str:
        """Fits, does not fit, or unknown, as people read it."""
        return {True: "fits", False: "does not fit", None: "unknown"}[self.fits]


AirtimeOf = Callable[[str, int | None], Airtime | None]


def verdicts(
    link: Link, traffic: Traffic, airtime_of: AirtimeOf, rules: Mapping[str, Rule] | None = None
) -> tuple[Verdict, ...]:
    """A verdict for every rule that applies, in the link's order, and for channels under none.

    `airtime_of(message, frame_bytes)` gives the airtime of a frame as it is really sent, None for
    one that is not sent at all; frame_bytes None asks for the message's greatest.
    """
    applying = rules_for(link, rules)
    findings = check_legal(link, rules)
    limits = ledger_limits(link, rules)
    known = {rule.id for rule in applying}
    outside = [_outside(link, f) for f in findings if f.rule not in known]
    found = [
        _of_rule(
            link, rule, [f for f in findings if f.rule == rule.id], limits, traffic, airtime_of
        )
        for rule in applying
    ]
    return (*_overrun(link, traffic, airtime_of), *((*outside, *found) or (_no_rule(link),)))


def percent(share: Fraction | float) -> str:
    """A share of a limit in per cent, to two figures, rounded up: never smaller than it is."""
    value = 100 * Fraction(share).limit_denominator(10**12)
    if 0 < value < LEAST_PERCENT:
        return UNDER_LEAST
    places = _places(value)
    return f"{up(value.numerator * 10**places, value.denominator) / 10**places:.12g} %"


def nearest_percent(share: Fraction | float) -> str:
    """A share of what is no limit in per cent, to two figures, rounded to the nearest."""
    value = 100 * Fraction(share)
    if 0 < value < LEAST_PERCENT:
        return UNDER_LEAST
    return f"{float(round(value, _places(value))):.12g} %"


def _places(value: Fraction) -> int:
    return 2 if value < 1 else 1 if value < 10 else 0


def _overrun(link: Link, traffic: Traffic, airtime_of: AirtimeOf) -> Iterator[Verdict]:
    """A refusal, whatever the law, of more in one hour than the hour has time for."""
    used_us = traffic.fullest(HOUR_US, _cost(airtime_of, "airtime_us")).used_us
    if used_us >= HOUR_US:
        told = f"{seconds(used_us)} on air fall due in one hour"
        yield Verdict(TRANSMITTER, False, told, link.citation, link.evidence)


def _no_rule(link: Link) -> Verdict:
    return Verdict("no rule", None, NETWORKS_OWN, link.citation, link.evidence, (), link.caution)


def _outside(link: Link, finding: Finding) -> Verdict:
    """The refusal of channels that no rule of the link covers."""
    fits = False if finding.verdict == "refused" else None
    return Verdict(
        finding.rule, fits, _told(finding), finding.clause, link.evidence, (), link.caution
    )


def _of_rule(
    link: Link,
    rule: Rule,
    findings: list[Finding],
    limits: tuple[Limit, ...],
    traffic: Traffic,
    airtime_of: AirtimeOf,
) -> Verdict:
    # A limit is the same on every channel, and its worst case too.
    own = {_anywhere(limit, rule): limit for limit in limits if _belongs(limit, rule)}.values()
    uses = tuple(dict.fromkeys(_use(link, rule, limit, traffic, airtime_of) for limit in own))
    refused = [finding for finding in findings if finding.verdict == "refused"]
    cautions = [f.problem for f in findings if f.verdict in ("caution", "note")]
    if link.listens and rule.listen:
        cautions.append("a busy channel makes it wait; that is not in the figures")
    if rule.dialogue_us is not None:
        told = rule.told(seconds(rule.dialogue_us), "dialogue_us")
        cautions.append(f"frames that belong together take {told} at most; that is not looked at")
    return Verdict(
        subject=rule.id,
        fits=not refused and all(use.share <= 1 for use in uses),
        told=_told(refused[0]) if refused else _in_time(uses),
        clause=rule.citation,
        evidence=rule.evidence,
        uses=uses,
        caution="; ".join(dict.fromkeys(filter(None, (*cautions, link.caution)))),
        power=_power(link, rule),
    )


def _power(link: Link, rule: Rule) -> str:
    """The transmit power in the rule's reference, how it comes about, and the rule's limit."""
    for limit_dbm, used_for, attribute in (
        (power_limit_dbm(link, rule), rule.power_reference, "power_dbm"),
        (rule.eirp_most_dbm, EIRP, "eirp_most_dbm"),
    ):
        sent_dbm = None if used_for is None else link.power_as(used_for)
        if limit_dbm is None or used_for is None or sent_dbm is None:
            continue
        word = reference(used_for)
        most = rule.told(f"{limit_dbm:.2f} dBm {word}", attribute)
        within = (
            f" ({SET_IN_WHOLE_DB})" if limit_dbm < sent_dbm <= limit_dbm + POWER_ROUNDING_DB else ""
        )
        gain_dbi = round(link.antenna_gain_dbi, 2)
        return f"{sent_dbm:.2f} dBm {word} of {most}{within}; antenna {gain_dbi:g} dBi"
    return ""


def _told(finding: Finding) -> str:
    return "; ".join(filter(None, (finding.problem, finding.remedy)))


def _in_time(uses: tuple[Use, ...]) -> str:
    """The tightest limit and what is used of it, in one sentence."""
    if not uses:
        return "sets no limit in time"
    worst = max(uses, key=lambda use: use.share)
    told = f"{seconds(worst.used_us)} in the worst case"
    if worst.share <= 1:
        return f"{told}, {percent(worst.share)} of {worst.limit}"
    return f"{told}, {seconds(worst.used_us - worst.allowed_us)} past {worst.limit}"


def _belongs(limit: Limit, rule: Rule) -> bool:
    return limit.scope == rule.id or limit.scope.startswith((f"{rule.id}@", f"{rule.id}/"))


def _anywhere(limit: Limit, rule: Rule) -> Limit:
    """The limit with the channel or slice of its scope left out."""
    return replace(limit, scope=limit.scope[: len(rule.id) + 1])


def _use(link: Link, rule: Rule, limit: Limit, traffic: Traffic, airtime_of: AirtimeOf) -> Use:
    on_one_channel = limit.scope.startswith(f"{rule.id}@")
    cost_us = _cost(airtime_of, "channel_us" if on_one_channel else "airtime_us")
    match limit:
        case SingleLimit():
            attribute = "channel_us" if on_one_channel else "burst_us"
            longest_us = traffic.fullest(HOUR_US, _cost(airtime_of, attribute)).longest_us
            words = rule.told(
                f"{seconds(limit.limit_us)} in one transmission", "longest_us", "dwell_us"
            )
            return Use(words, longest_us, limit.limit_us, one_frame=True)
        case PauseLimit():
            fullest = traffic.fullest(HOUR_US, cost_us)
            taken_us = fullest.used_us + fullest.frames * limit.pause_us
            words = f"1 h with {seconds(limit.pause_us)} after each transmission"
            words = rule.told(words, "pause_us")
            return Use(words, taken_us, HOUR_US, made_of=fullest.made_of)
        case WindowLimit():
            fullest = traffic.fullest(limit.window_us, cost_us)
            used_us, one_frame = fullest.used_us, False
            where, attributes = _window_words(rule, limit)
            if on_one_channel and link.hops_over > 1:
                # A hopper uses its channels equally: none holds more frames than this.
                frames = up(fullest.frames, link.hops_over)
                used_us, one_frame = min(used_us, frames * fullest.longest_us), frames <= 1
            words = f"{seconds(limit.limit_us)}{where} in any {seconds(limit.window_us)}"
            made_of = () if one_frame else fullest.made_of
            return Use(rule.told(words, *attributes), used_us, limit.limit_us, one_frame, made_of)


def _window_words(rule: Rule, limit: WindowLimit) -> tuple[str, tuple[str, ...]]:
    """Where a window limit holds, in words, and the attributes of the rule behind it."""
    if limit.scope.startswith(f"{rule.id}@"):
        return " on one channel", ("dwell_us", "dwell_window_us")
    if limit.scope.startswith(f"{rule.id}/"):
        return " in one slice of spectrum", ("on_time_us", "on_time_window_us", "on_time_per_hz")
    return "", ("duty_cycle", "duty_window_us")


def _cost(airtime_of: AirtimeOf, attribute: str) -> Cost:
    def cost_us(message: str, frame_bytes: int | None) -> int:
        on_air = airtime_of(message, frame_bytes)
        return 0 if on_air is None else int(getattr(on_air, attribute))

    return cost_us
