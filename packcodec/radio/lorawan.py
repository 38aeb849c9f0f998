"""LoRaWAN: the links of every channel plan and data rate, made from the plans' tables.

A link is named `lorawan-PLAN-drN`. A frame of ours is the FRMPayload: MHDR 1, FHDR 7, FPort 1 and
MIC 4 octets come around it, 13 in all; MAC commands in FOpts take from its room. The largest
MACPayload M of the tables leaves M - 8 octets, and behind a repeater M is at most 230.

Sources: RP002-1.0.5 and LoRaWAN RP 1.0.3rA, as cited by each plan in data/lorawan.toml. Sizes of
the join messages from memory of the LoRaWAN 1.0.4 specification.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from importlib.resources import files
from typing import Any

from packcodec.errors import RadioError
from packcodec.radio import rows
from packcodec.radio.airtime import Modulation, airtime
from packcodec.radio.link import MODULATIONS, Link, check_link
from packcodec.radio.lora import Lora
from packcodec.radio.modulations import Airtime

OVERHEAD_BYTES = 13
MAC_BEYOND_FRAME_BYTES = 8
REPEATED_MAC_MOST = 230

JOIN_REQUEST_BYTES = 23
JOIN_ACCEPT_BYTES = 33
EMPTY_FRAME_BYTES = 12

# What a data rate may say for itself, in place of its plan.
OF_A_RATE = ("frequencies_hz", "hopping_channels", "rules")


@dataclass(frozen=True, slots=True)
class Exchange:
    """Airtimes besides the data frames. The station sends the first two and hears the others.

    `acknowledgement` is an empty uplink that acknowledges; `join_accept` has a channel list with
    it; `acknowledged` is an empty downlink. Downlinks carry no payload CRC (from memory).
    """

    join_request: Airtime
    acknowledgement: Airtime
    join_accept: Airtime
    acknowledged: Airtime


def exchange(link: Link) -> Exchange:
    """The join and acknowledgement airtimes of a LoRaWAN link; RadioError for any other link."""
    if link.answer is None:
        raise RadioError(
            "has no join and no acknowledgement",
            place=f"link '{link.name}'",
            remedy="only LoRaWAN links have",
        )
    return Exchange(
        join_request=airtime(link.modulation, JOIN_REQUEST_BYTES),
        acknowledgement=airtime(link.modulation, EMPTY_FRAME_BYTES),
        join_accept=airtime(link.answer, JOIN_ACCEPT_BYTES),
        acknowledged=airtime(link.answer, EMPTY_FRAME_BYTES),
    )


def lorawan_links() -> Iterator[Link]:
    """Every plan's every data rate, read from data/lorawan.toml."""
    file = files("packcodec.radio") / "data" / "lorawan.toml"
    plans = rows.parse(file.read_text(encoding="utf-8"), file.name)["plan"]
    for name, row in plans.items():
        plan = rows.merge(row, plans, f"{file.name}, plan {name}")
        for rate in plan["rates"]:
            if rate["dr"] in plan.get("only", [rate["dr"]]):
                yield from _links_of(name, plan, rate)


def _links_of(name: str, plan: Mapping[str, Any], rate: Mapping[str, Any]) -> Iterator[Link]:
    own = {key: rate.get(key, plan.get(key)) for key in OF_A_RATE}
    mac_bytes = rate["mac"]
    modulation = _modulation(rate)
    link = Link(
        name=f"lorawan-{name}-dr{rate['dr']}",
        modulation=modulation,
        payload_most=mac_bytes - MAC_BEYOND_FRAME_BYTES,
        payload_most_repeated=min(mac_bytes, REPEATED_MAC_MOST) - MAC_BEYOND_FRAME_BYTES,
        overhead_bytes=OVERHEAD_BYTES,
        frequencies_hz=rows.channels(own["frequencies_hz"]),
        hopping_channels=own["hopping_channels"] or 0,
        power_dbm=float(plan["power_dbm"]),
        power_reference=plan.get("power_reference", "eirp"),
        rules=(*own["rules"], *filter(None, [plan.get("dwell_rule")])),
        carrier_says=("station", "message", "sequence"),
        listens=plan.get("listens", False),
        answer=_answer(modulation, rate),
        chip="SX1262",
        source=f"{plan['source']}; channels and answers by the open LoRaWAN reference stack",
        evidence=plan["evidence"],
        unconfirmed=tuple(plan.get("unconfirmed", ())),
        note=f"{plan['region']}, DR{rate['dr']}. {plan.get('note', '')}".rstrip(),
        caution=plan.get("caution", ""),
    )
    check_link(link, link.name)
    for group, offset_hz in plan.get("groups", {}).items():
        shifted = tuple(channel_hz + offset_hz for channel_hz in link.frequencies_hz)
        own_name = link.name.replace("as923", group, 1)
        yield replace(link, name=own_name, frequencies_hz=shifted)
    if "groups" not in plan:
        yield link


def _modulation(rate: Mapping[str, Any]) -> Modulation:
    kind = next(kind for kind in MODULATIONS if kind in rate)
    return MODULATIONS[kind](**rate[kind])


def _answer(uplink: Modulation, rate: Mapping[str, Any]) -> Modulation:
    """The modulation of the first receive window; LoRa without a payload CRC."""
    answer = Lora(**rate["answer"]) if "answer" in rate else uplink
    return replace(answer, crc=False) if isinstance(answer, Lora) else answer
