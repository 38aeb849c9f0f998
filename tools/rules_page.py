"""Write spec/rules.md from the rules, links and channel plans in packcodec/radio/data.

python tools/rules_page.py            write the page
python tools/rules_page.py --check    exit 1 if the page is not what the data says
"""

import sys
from collections.abc import Iterable, Iterator
from itertools import groupby
from pathlib import Path

from packcodec.radio import Link, Lora, Rule, describe, known_links, known_rules
from packcodec.radio.wording import hertz, seconds

PAGE = Path(__file__).resolve().parents[1] / "spec" / "rules.md"

MOVED_PLANS = ("lorawan-as923-2", "lorawan-as923-3", "lorawan-as923-4")

HEAD = """\
# The rules

Made from `packcodec/radio/data` by `tools/rules_page.py`; change the data, not this page.

These rows are engineering notes, not legal advice. Rules change: before anything transmits, read
the text in force with your regulator. A verdict of packcodec is an estimate, never a licence.

## How to read a row

One row is one complete path through a regulation: all its limits hold together. Where the
regulation offers a choice, each choice is a row. Rows are keyed on frequencies; the letters of
sub-bands shift between editions of the standards and are not used.

**Confirmed** says how far a row was confirmed: *primary*, the text itself was read; *secondary*, a
text that quotes or transcribes it was read; *memory*, not confirmed. A single value from memory in
a confirmed row carries its own mark. Powers name their reference: *conducted* is what enters the
feeder, *EIRP* adds the antenna gain and takes off the feeder loss, *ERP* is 2.15 dB below EIRP. A
*plan* row is a network plan's own setting beside the law.

A window slides: no stretch of that length, wherever it begins, may hold more. What counts over a
sub-band counts all its channels together; different sub-bands have separate budgets. (For Europe
this definition, and the advised longest transmissions, were read in ERC/REC 70-03, duty cycle
categories, whose Annex 1 has the same bands as EN 300 220-2.)

## What is not modelled

- Widths are nominal: a LoRa signal counts as wide as its bandwidth setting, not as measured
  between 6 dB, 20 dB or 99 % points. LR-FHSS counts its whole channel for the band edges and one
  carrier for widths.
- A power density is computed as if the spectrum were flat; within 3 dB of the limit it is a
  caution to have it measured.
- Spectrum masks, harmonics, spurious emissions, frequency drift and the receiver's own
  requirements.
- Listening before talking: that the link listens is taken from the link. Thresholds, putting off,
  changing the frequency and the longest exchange are for the radio's firmware.
- Hopping: that the order is pseudo-random, the use equal, the spacing wide enough and the receiver
  hops along.
- The ramp of the transmitter, and the one pulse-shaping bit (2.048 ms) of LR-FHSS.
- Powers are compared with 0.05 dB to spare: chips are set in whole decibels, and 25 mW is 13.98
  dBm.
- Several transmitters in one device, and a base that answers: each has its own account.
- LoRaWAN's MAC commands, which take from a frame's room, and its repetitions.
- An operator's fair use, a landowner's or a reserve's rule, national exceptions: give them as rules
  of your own.
- Certification, registration, type approval, the category of use, and whether cells and antennas
  may be put up where you want them.
"""


def page() -> str:
    """The whole page."""
    return "\n".join([HEAD, *_rules(known_rules().values()), *_plans(known_links().values())])


def _rules(rules: Iterable[Rule]) -> Iterator[str]:
    for region, rows in groupby(rules, key=lambda rule: rule.region):
        yield f"## {region}\n"
        for rule in rows:
            yield from _rule(rule)


def _rule(rule: Rule) -> Iterator[str]:
    yield f"### {rule.id}\n"
    yield f"{rule.regime[0].upper()}{rule.regime[1:]}.\n"
    yield "| limit | value |\n| --- | --- |"
    for label, value in describe(rule):
        yield f"| {label} | {value} |"
    yield ""
    yield f"Source: {rule.citation}. Confirmed: {rule.evidence}.\n"
    if rule.note:
        yield f"{rule.note}\n"
    if rule.caution:
        yield f"**Caution:** {rule.caution}\n"


def _plans(links: Iterable[Link]) -> Iterator[str]:
    yield "## LoRaWAN channel plans\n"
    yield (
        "Room for a frame of ours (behind a repeater in brackets), and the airtime of an empty\n"
        "and of the longest frame. The carrier adds 13 octets. The plans as923-2, as923-3 and\n"
        "as923-4 are as923-1 moved down by 1.8, 6.6 and 5.9 MHz.\n"
    )
    lorawan = [link for link in links if link.name.startswith("lorawan-")]
    for plan, rates in groupby(lorawan, key=lambda link: link.name.rpartition("-")[0]):
        if not plan.startswith(MOVED_PLANS):
            yield from _plan(plan, list(rates))


def _plan(plan: str, rates: list[Link]) -> Iterator[str]:
    yield f"### {plan}\n"
    yield "| data rate | modulation | channels | room, bytes | airtime | rules |"
    yield "| --- | --- | --- | --- | --- | --- |"
    for link in rates:
        empty, full = link.airtime(0).airtime_us, link.airtime(link.payload_most).airtime_us
        yield (
            f"| {link.name.rpartition('-')[2]} | {_modulation(link)} | {_channels(link)}"
            f" | {link.payload_most} ({link.payload_most_repeated})"
            f" | {seconds(empty)} to {seconds(full)} | {', '.join(link.rules)} |"
        )
    yield ""
    yield f"Source: {rates[0].citation}. Confirmed: {rates[0].evidence}.\n"
    if rates[0].caution:
        yield f"**Caution:** {rates[0].caution}\n"


def _channels(link: Link) -> str:
    if len(link.frequencies_hz) <= 3:
        return ", ".join(hertz(channel_hz) for channel_hz in link.frequencies_hz)
    first, last = link.frequencies_hz[0], link.frequencies_hz[-1]
    return f"{len(link.frequencies_hz)}, {hertz(first)} to {hertz(last)}"


def _modulation(link: Link) -> str:
    if isinstance(link.modulation, Lora):
        return f"LoRa SF{link.modulation.sf}/{link.modulation.bandwidth_hz // 1000}"
    return {"Gfsk": "GFSK", "LrFhss": "LR-FHSS"}[type(link.modulation).__name__]


def main(arguments: list[str]) -> int:
    text = page()
    if arguments == ["--check"]:
        return int(PAGE.read_text(encoding="utf-8") != text)
    PAGE.write_text(text, encoding="utf-8", newline="\n")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
