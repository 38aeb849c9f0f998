"""`packcodec links`: the known links, and one of them with its rules and what they let through."""

import sys
from collections.abc import Mapping
from typing import Any

import click

from packcodec.budget.allowance import Allowance, allowance
from packcodec.budget.room import Room, room_of
from packcodec.budget.verdict import NO_LICENCE
from packcodec.edge.cli.screen import as_json, document, say, table
from packcodec.edge.link_list import (
    applying_rules,
    evidence_words,
    matching,
    tell_all,
    tell_links,
    weakest_evidence,
)
from packcodec.edge.link_words import power, sent_as, where
from packcodec.edge.own_radio import own_radio, own_rules
from packcodec.radio.legal import Finding, check_legal, rules_for
from packcodec.radio.link import Link
from packcodec.radio.links import find_link, known_links
from packcodec.radio.rules import Rule, known_rules
from packcodec.radio.wording import describe, seconds

SHOWN_BYTES = (12, 24, 51, 115, 255)


@click.command()
@click.argument("name", required=False)
@own_rules
@as_json
def command(name: str | None, rules: str | None, as_json: bool) -> None:
    """The known links; with NAME, one link's rules, sources and cautions, and its bytes a day.

    A part of names, as eu or lorawan-us915, lists the links whose names contain it.
    A name may change the link on the spot: lora-eu-868.1:sf=10,power_dbm=10
    Exit 1 if the link, as it is, is not legal.
    """
    own = own_radio(rules)
    book = known_rules(own.rules)
    known = known_links(own.links)
    listed = list(known.values()) if name is None else matching(name, known)
    if listed:
        _list(listed, book, grouped=name is None, as_json=as_json)
        return
    link = find_link(name or "", own.links)
    room, found = room_of(link, book), check_legal(link, book)
    refused = any(finding.verdict == "refused" for finding in found)
    allowed = _allowances(link, room, book) if rules_for(link, book) and not refused else []
    if as_json:
        document(_detail(link, book, room, rules_for(link, book), found, allowed))
    else:
        _tell(link, room, rules_for(link, book), found, allowed)
    sys.exit(1 if refused else 0)


def _list(links: list[Link], book: Mapping[str, Rule], *, grouped: bool, as_json: bool) -> None:
    if as_json:
        document({"caution": NO_LICENCE, "links": [_summary(link, book) for link in links]})
        return
    (tell_all if grouped else tell_links)(links, book)
    say()
    say("packcodec links NAME tells more of one, a part of a name lists those with it.")
    say(NO_LICENCE)


def _allowances(link: Link, room: Room, book: Mapping[str, Rule]) -> list[Allowance]:
    if room.frame_bytes is None:
        return []
    sizes = sorted({*(n for n in SHOWN_BYTES if n < room.frame_bytes), room.frame_bytes} - {0})
    return [allowance(link, n, book) for n in sizes]


def _tell(
    link: Link,
    room: Room,
    applying: tuple[Rule, ...],
    found: tuple[Finding, ...],
    allowed: list[Allowance],
) -> None:
    say(f"{link.name}: {sent_as(link)}, {where(link)}, {power(link)}")
    for line in (link.note, f"source: {link.citation}"):
        say(f"  {line}")
    for rule in applying:
        say()
        mark = ", your own rule" if rule.users_own else ""
        say(f"rule {rule.id}{mark}: {rule.region}, {rule.regime}")
        table(("limit", "value"), describe(rule))
        say(f"  clause    {rule.citation}")
        say(f"  evidence  {evidence_words(rule.evidence, rule.unconfirmed)}")
        for word, text in (("note", rule.note), ("caution", rule.caution)):
            if text:
                say(f"  {word:9} {text}")
    if not applying:
        say("  no rule of ours limits it: ask its operator what it allows")
    say()
    for finding in found:
        if finding.verdict != "note":
            say(str(finding))
    if allowed:
        table(
            (">bytes a frame", ">on air", ">frames at once", ">frames a day", ">bytes a day"),
            [_allowance_row(each) for each in allowed],
            title=f"What it lets through; {room.set_by} has room for {room.frame_bytes} bytes",
        )
        say("Frames at once: before the tightest window is spent. Nothing else may be sent then.")
    if link.caution:
        say(link.caution)
    say(NO_LICENCE)


def _allowance_row(allowed: Allowance) -> tuple[object, ...]:
    return (
        allowed.frame_bytes,
        seconds(allowed.airtime.airtime_us),
        "-" if allowed.at_once is None else allowed.at_once,
        f"{allowed.frames_per_day:,}",
        f"{allowed.bytes_per_day:,}",
    )


def _summary(link: Link, book: Mapping[str, Rule]) -> dict[str, Any]:
    return {
        "name": link.name,
        "sent_as": sent_as(link),
        "frequencies_hz": list(link.frequencies_hz),
        "power_dbm": link.power_dbm,
        "power_reference": link.power_reference,
        "most_bytes": link.payload_most,
        "overhead_bytes": link.overhead_bytes,
        "rules": list(applying_rules(link, book)),
        "evidence": link.evidence,
        "weakest_evidence": weakest_evidence(link, book),
        "unconfirmed": list(link.unconfirmed),
        "users_own": link.users_own,
        "note": link.note,
        "caution": link.caution,
    }


def _detail(
    link: Link,
    book: Mapping[str, Rule],
    room: Room,
    applying: tuple[Rule, ...],
    found: tuple[Finding, ...],
    allowed: list[Allowance],
) -> dict[str, Any]:
    return {
        "caution": NO_LICENCE,
        "link": _summary(link, book) | {"source": link.citation},
        "room_bytes": room.frame_bytes,
        "room_set_by": room.set_by,
        "rules": [
            {
                "id": rule.id,
                "region": rule.region,
                "regime": rule.regime,
                "limits": dict(describe(rule)),
                "clause": rule.citation,
                "evidence": rule.evidence,
                "unconfirmed": list(rule.unconfirmed),
                "users_own": rule.users_own,
                "note": rule.note,
                "caution": rule.caution,
            }
            for rule in applying
        ],
        "findings": [
            {
                "verdict": finding.verdict,
                "rule": finding.rule,
                "clause": finding.clause,
                "problem": finding.problem,
                "remedy": finding.remedy,
            }
            for finding in found
        ],
        "allowance": [
            {
                "frame_bytes": each.frame_bytes,
                "airtime_s": each.airtime.airtime_s,
                "frames_at_once": each.at_once,
                "frames_per_day": each.frames_per_day,
                "bytes_per_day": each.bytes_per_day,
                "clause": each.clause,
            }
            for each in allowed
        ],
    }
