"""The known links as tables, each with the rules that hold where it sends; a plan is one line."""

from collections.abc import Iterable, Mapping, Sequence

from packcodec.edge.cli.screen import say, table
from packcodec.edge.link_words import power, sent_as, span, where
from packcodec.radio.legal import rules_for
from packcodec.radio.link import Link
from packcodec.radio.lora import Lora
from packcodec.radio.rules import Rule

# From the best confirmed to the least.
EVIDENCE = ("primary", "secondary", "memory")
HEADS = ("link", "sent as", "where", ">power", ">bytes", "rules", "evidence")
PLAN_HEADS = ("network plan", "dr", "where", ">power", ">bytes", "rules", "evidence")


def matching(word: str, links: Mapping[str, Link]) -> list[Link]:
    """The links whose names contain the word, whatever its case; none for the name of one."""
    names = {name.lower() for name in links}
    if word.lower() in names:
        return []
    return [link for name, link in links.items() if word.lower() in name.lower()]


def tell_links(links: Iterable[Link], book: Mapping[str, Rule]) -> None:
    """A line a link."""
    table(HEADS, [_row(link, book) for link in links])


def tell_all(links: Iterable[Link], book: Mapping[str, Rule]) -> None:
    """Links by what they are sent with, and one line for all data rates of a network plan."""
    listed = list(links)
    plain = [link for link in listed if link.answer is None]
    groups: dict[str, list[Link]] = {
        "LoRa, without a network": [link for link in plain if _is_lora(link)],
        "Other radio": [link for link in plain if link.frequencies_hz and not _is_lora(link)],
        "By a carrier or a wire": [link for link in plain if not link.frequencies_hz],
    }
    for title, group in groups.items():
        if group:
            table(HEADS, [_row(link, book) for link in group], title=title)
            say()
    plans: dict[str, list[Link]] = {}
    for link in listed:
        if link.answer is not None:
            plans.setdefault(link.name.rpartition("-dr")[0], []).append(link)
    table(
        PLAN_HEADS,
        [_plan_row(name, rates, book) for name, rates in plans.items()],
        title="Through a LoRaWAN network, as PLAN-drN",
    )


def applying_rules(link: Link, book: Mapping[str, Rule]) -> tuple[str, ...]:
    """The ids of the rules that hold at the link's frequencies; its own list where none does."""
    return tuple(rule.id for rule in rules_for(link, book)) or link.rules


def weakest_evidence(link: Link, book: Mapping[str, Rule]) -> str:
    """How far the least confirmed of the link and its rules is confirmed, in words."""
    return _evidence_of([link], book)


def evidence_words(evidence: str, unconfirmed: Sequence[str]) -> str:
    """How far a row is confirmed, with what of it is not."""
    if evidence == "memory":
        return "from memory"
    return f"{evidence}, in part from memory" if unconfirmed else evidence


def _evidence_of(links: Iterable[Link], book: Mapping[str, Rule]) -> str:
    rows: list[Link | Rule] = []
    for link in links:
        rows += [link, *rules_for(link, book)]
    weakest = max((row.evidence for row in rows), key=EVIDENCE.index)
    if weakest != "memory" and any(row.unconfirmed for row in rows):
        return f"{weakest}, part memory"
    return evidence_words(weakest, ())


def _is_lora(link: Link) -> bool:
    return isinstance(link.modulation, Lora)


def _row(link: Link, book: Mapping[str, Rule]) -> tuple[object, ...]:
    mark = " (your own)" if link.users_own else ""
    return (
        link.name + mark,
        sent_as(link),
        where(link),
        power(link),
        link.payload_most,
        _rule_words(applying_rules(link, book)),
        weakest_evidence(link, book),
    )


def _plan_row(name: str, rates: Sequence[Link], book: Mapping[str, Rule]) -> tuple[object, ...]:
    rules = dict.fromkeys(rule for link in rates for rule in applying_rules(link, book))
    sizes = [link.payload_most for link in rates]
    return (
        name,
        _ranges(int(link.name.rpartition("-dr")[2]) for link in rates),
        where(rates[0]),
        power(rates[0]),
        span(min(sizes), max(sizes)),
        _rule_words(tuple(rules)),
        _evidence_of(rates, book),
    )


def _rule_words(rules: Sequence[str]) -> str:
    if not rules:
        return "none of ours"
    return rules[0] if len(rules) == 1 else f"{rules[0]} and {len(rules) - 1} more"


def _ranges(numbers: Iterable[int]) -> str:
    """0-5, 8"""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and runs[-1][1] == number - 1:
            runs[-1][1] = number
        else:
            runs.append([number, number])
    return ", ".join(span(first, last) for first, last in runs)
