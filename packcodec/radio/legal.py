"""Whether a link's modulation, channels and power are legal together, and under which clause.

This looks at one transmission at a time; how much may be sent in an hour is the ledger's and the
budget's matter. A finding is an estimate from the rows in data/rules, never a licence: the local
regulator decides.
"""

from collections.abc import Callable, Iterable, Mapping
from typing import Literal, TypeAlias

from packcodec.frozen import frozen
from packcodec.radio import rows
from packcodec.radio.link import Link
from packcodec.radio.power import density_dbm
from packcodec.radio.rules import Rule, known_rules
from packcodec.radio.wording import hertz, label, reference, seconds

Verdict = Literal["refused", "caution", "note"]

# Chips are set in whole decibels, and the network plans round 25 mW ERP (13.98 dBm) to 14 dBm.
POWER_ROUNDING_DB = 0.05
# A real LoRa spectrum has peaks above the flat one that `density_dbm` assumes.
DENSITY_DOUBT_DB = 3.0


@frozen
class Finding:
    """What one rule says of a link: "refused" is not legal, "caution" needs a look, "note" holds.

    `clause` is the rule's citation with its marks (from memory, the user's own).
    """

    verdict: Verdict
    rule: str
    clause: str
    problem: str
    remedy: str = ""

    def __str__(self) -> str:
        told = f"{self.verdict}: {self.problem} [{self.rule}: {self.clause}]"
        return f"{told}; {self.remedy}" if self.remedy else told


def rules_for(link: Link, rules: Mapping[str, Rule] | None = None) -> tuple[Rule, ...]:
    """The rules the link works under at its frequencies, in the link's order.

    `rules` is every rule by id, the user's own included; None is the package's.
    RadioError for an id that does not exist.
    """
    book = known_rules() if rules is None else rules
    named = [book[rows.nearest(rule, book, f"link '{link.name}', rules")] for rule in link.rules]
    edges = _emissions(link)
    return tuple(rule for rule in named if any(rule.holds_for(*edge) for edge in edges))


def check_legal(link: Link, rules: Mapping[str, Rule] | None = None) -> tuple[Finding, ...]:
    """Every finding on the link, the refusals first; none are refused if it is legal.

    A link without rules (a modem, a serial line) has no findings: its law is the network's.
    """
    book = known_rules() if rules is None else rules
    applying = rules_for(link, book)
    findings = [*_uncovered(link, applying, book), *_without_law(applying)]
    for rule in applying:
        findings += [finding for check in CHECKS for finding in check(link, rule)]
    order = {"refused": 0, "caution": 1, "note": 2}
    return tuple(sorted(findings, key=lambda finding: order[finding.verdict]))


def largest_frame(link: Link, rules: Mapping[str, Rule] | None = None) -> int | None:
    """The longest frame of ours the link may send in one go, octets; None if not even an empty one.

    The least of the link's own room and the longest transmission and dwell of its rules.
    """
    return _largest(link, rules_for(link, rules))


def power_limit_dbm(link: Link, rule: Rule) -> float | None:
    """What the rule leaves the link in the rule's own reference; None where it has no limit.

    An antenna beyond the rule's gain takes off as much.
    """
    if rule.power_dbm is None:
        return None
    cap_dbi = rule.antenna_gain_most_dbi
    beyond_db = max(link.antenna_gain_dbi - cap_dbi, 0.0) if cap_dbi is not None else 0.0
    return rule.power_dbm - beyond_db


def _emissions(link: Link) -> list[tuple[int, int]]:
    return [link.emission_hz(frequency_hz) for frequency_hz in link.frequencies_hz]


def _uncovered(link: Link, applying: Iterable[Rule], book: Mapping[str, Rule]) -> list[Finding]:
    """A refusal for the channels that no rule of the link covers."""
    if not link.rules:
        return []
    holding = list(applying)
    out = [e for e in _emissions(link) if not any(rule.holds_for(*e) for rule in holding)]
    if not out:
        return []
    low_hz, high_hz = out[0]
    named = book[link.rules[0]]
    here = [rule for rule in book.values() if rule.region == named.region]
    others = [rule.id for rule in here if rule.holds_for(low_hz, high_hz)]
    more = f" (and {len(out) - 1} more)" if len(out) > 1 else ""
    return [
        Finding(
            "refused",
            ", ".join(link.rules),
            named.citation,
            f"{hertz(low_hz)} to {hertz(high_hz)}{more} lies in none of their bands",
            f"in {named.region} there {_are(others)}",
        )
    ]


def _are(others: list[str]) -> str:
    return f"holds {', '.join(others)}" if others else "is no rule to send under"


def _without_law(applying: tuple[Rule, ...]) -> list[Finding]:
    """A caution where only a network plan's own settings stand behind a link."""
    if not applying or any(rule.standing != "plan" for rule in applying):
        return []
    return [
        Finding(
            "caution",
            ", ".join(rule.id for rule in applying),
            applying[0].citation,
            "only the network plan's own settings are checked, no country's law",
            "find your country's rule and give it as your own",
        )
    ]


Findings: TypeAlias = Iterable[Finding]
Check: TypeAlias = Callable[[Link, Rule], Findings]


def _finding(rule: Rule, verdict: Verdict, problem: str, remedy: str = "") -> Finding:
    return Finding(verdict, rule.id, rule.citation, problem, remedy)


def _in_force(_: Link, rule: Rule) -> Findings:
    if rule.standing == "superseded":
        yield _finding(rule, "refused", "the rule no longer holds", rule.note)


def _confirmed(_: Link, rule: Rule) -> Findings:
    if rule.evidence == "memory":
        problem = "the whole rule is from memory, confirmed in no text"
        yield _finding(rule, "caution", problem, "read the text in force")
    elif rule.unconfirmed:
        doubtful = ", ".join(dict.fromkeys(map(label, rule.unconfirmed)))
        problem = f"from memory: {doubtful}"
        yield _finding(rule, "caution", problem, "read the text in force")


def _power(link: Link, rule: Rule) -> Findings:
    most_dbm = power_limit_dbm(link, rule)
    if most_dbm is None or rule.power_dbm is None or rule.power_reference is None:
        return
    sent_dbm = link.power_as(rule.power_reference)
    if sent_dbm is None or sent_dbm <= most_dbm + POWER_ROUNDING_DB:
        return
    word = reference(rule.power_reference)
    limit = rule.told(f"{most_dbm:.2f} dBm {word}", "power_dbm", "power_reference")
    gain = (
        f" with an antenna of {round(link.antenna_gain_dbi, 2):g} dBi"
        if most_dbm < rule.power_dbm
        else ""
    )
    yield _finding(
        rule,
        "refused",
        f"{sent_dbm:.2f} dBm {word} is more than {limit}{gain}",
        f"turn it down by {sent_dbm - most_dbm:.2f} dB",
    )


def _radiated(link: Link, rule: Rule) -> Findings:
    sent_dbm = link.power_as("eirp")
    if rule.eirp_most_dbm is None or sent_dbm is None:
        return
    if sent_dbm > rule.eirp_most_dbm + POWER_ROUNDING_DB:
        limit = rule.told(f"{rule.eirp_most_dbm:.2f} dBm EIRP", "eirp_most_dbm")
        excess_db = sent_dbm - rule.eirp_most_dbm
        problem = f"{sent_dbm:.2f} dBm EIRP is more than {limit}"
        yield _finding(rule, "refused", problem, f"turn it down by {excess_db:.2f} dB")


def _density(link: Link, rule: Rule) -> Findings:
    if rule.density_dbm is None or rule.density_per_hz is None or rule.density_reference is None:
        return
    sent_dbm = link.power_as(rule.density_reference)
    if sent_dbm is None:
        return
    flat_dbm = density_dbm(sent_dbm, link.modulation.signal_hz, rule.density_per_hz)
    over_db = flat_dbm - rule.density_dbm
    limit = rule.told(
        f"{rule.density_dbm:g} dBm {reference(rule.density_reference)}"
        f" in any {hertz(rule.density_per_hz)}",
        "density_dbm",
        "density_per_hz",
    )
    if over_db > POWER_ROUNDING_DB:
        problem = f"{flat_dbm:.2f} dBm, were it flat, is more than {limit}"
        yield _finding(rule, "refused", problem, f"turn it down by {over_db:.2f} dB")
    elif over_db > -DENSITY_DOUBT_DB and link.modulation.signal_hz > rule.density_per_hz:
        problem = f"{-over_db:.2f} dB under {limit}, were it flat; a real spectrum has peaks"
        yield _finding(rule, "caution", problem, "have it measured, or turn it down")


def _bandwidth(link: Link, rule: Rule) -> Findings:
    width_hz = link.modulation.signal_hz
    measure = f" ({rule.bandwidth_measure})" if rule.bandwidth_measure else ""
    least, most = rule.bandwidth_least_hz, rule.bandwidth_most_hz
    for bound, attribute, broken, word in (
        (least, "bandwidth_least_hz", least is not None and width_hz < least, "at least"),
        (most, "bandwidth_most_hz", most is not None and width_hz > most, "at most"),
    ):
        if broken:
            needed = rule.told(f"{word} {hertz(bound)}{measure}", attribute)
            problem = f"a signal of {hertz(width_hz)} where the rule wants {needed}"
            yield _finding(rule, "refused", problem, "change the bandwidth, or the rule sent under")


def _hopping(link: Link, rule: Rule) -> Findings:
    if rule.channels_least is not None and link.hops_over < rule.channels_least:
        needed = rule.told(f"at least {rule.channels_least} channels", "channels_least")
        now = f"hops over {link.hops_over}" if link.hops_over else "stays on one channel"
        yield _finding(
            rule,
            "refused",
            f"the link {now}; the rule is for hopping over {needed}",
            "hop, or send under a rule for a single channel",
        )


def _access(link: Link, rule: Rule) -> Findings:
    if rule.listen and not link.listens:
        problem = "the rule wants listening before talking, and the link does not listen"
        yield _finding(rule, "refused", problem, "sense the channel, or send under another rule")
    if rule.adaptive_power and not link.adapts_power:
        problem = "the rule wants adaptive power control, and the link has none"
        yield _finding(rule, "refused", problem, "send under another rule")


def _length(link: Link, rule: Rule) -> Findings:
    fitting = _largest(link, (rule,))
    bounds = rule.told(" and ".join(_bounds(rule)), "longest_us", "dwell_us")
    if fitting is None:
        shortest = seconds(link.airtime(0).airtime_us)
        problem = f"even an empty frame, {shortest}, is longer than {bounds}"
        yield _finding(rule, "refused", problem, "a lower spreading factor or a wider bandwidth")
    elif fitting < link.payload_most:
        problem = f"{bounds} leaves room for frames of up to {fitting} bytes"
        yield _finding(rule, "note", problem)


def _bounds(rule: Rule) -> list[str]:
    named = ((rule.longest_us, "in one transmission"), (rule.dwell_us, "on one channel"))
    return [f"{seconds(bound_us)} {where}" for bound_us, where in named if bound_us is not None]


def _largest(link: Link, applying: Iterable[Rule]) -> int | None:
    holding = tuple(applying)
    sizes = range(link.payload_most, -1, -1)
    return next((n for n in sizes if not _too_long(link, holding, n)), None)


def _too_long(link: Link, applying: Iterable[Rule], frame_bytes: int) -> bool:
    on_air = link.airtime(frame_bytes)
    return any(
        (rule.longest_us is not None and on_air.burst_us > rule.longest_us)
        or (rule.dwell_us is not None and on_air.channel_us > rule.dwell_us)
        for rule in applying
    )


def _advice(link: Link, rule: Rule) -> Findings:
    longest = link.airtime(link.payload_most).burst_us
    if rule.advised_longest_us is not None and longest > rule.advised_longest_us:
        advised = rule.told(seconds(rule.advised_longest_us), "advised_longest_us")
        problem = f"its longest frame takes {seconds(longest)}; {advised} at most is advised"
        yield _finding(rule, "caution", problem, "send shorter frames")


def _manners(_: Link, rule: Rule) -> Findings:
    if rule.cipher_forbidden:
        problem = "no cipher: the meaning must stay public"
        yield _finding(rule, "caution", problem, "publish the schema, seal nothing")
    if rule.call_sign_us is not None:
        yield _finding(
            rule, "caution", f"the call sign at least every {seconds(rule.call_sign_us)}"
        )
    if rule.caution:
        yield _finding(rule, "note", rule.caution)


CHECKS: tuple[Check, ...] = (
    _in_force,
    _confirmed,
    _power,
    _radiated,
    _density,
    _bandwidth,
    _hopping,
    _access,
    _length,
    _advice,
    _manners,
)
