"""LoRaWAN: the links of every channel plan and data rate, as rows made from the plans' tables.

A link is named `lorawan-PLAN-drN`. A frame of ours is the FRMPayload: MHDR 1, FHDR 7, FPort 1 and
MIC 4 octets come around it, 13 in all; MAC commands in FOpts take from its room. The largest
MACPayload M of the tables leaves M - 8 octets, and behind a repeater M is at most 230.

Sources: RP002-1.0.5 and LoRaWAN RP 1.0.3rA, as cited by each plan in data/lorawan.toml. Sizes of
the join messages from memory of the LoRaWAN 1.0.4 specification.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from packcodec.errors import RadioError
from packcodec.frozen import frozen
from packcodec.radio import rows
from packcodec.radio.airtime import airtime
from packcodec.radio.link import Link
from packcodec.radio.modulations import Airtime

PLANS = "lorawan.toml"

OVERHEAD_BYTES = 13
MAC_BEYOND_FRAME_BYTES = 8
REPEATED_MAC_MOST = 230

JOIN_REQUEST_BYTES = 23
JOIN_ACCEPT_BYTES = 33
EMPTY_FRAME_BYTES = 12

KINDS = ("lora", "gfsk", "lr_fhss")
# What a plan says for all its rates, and a rate may say for itself.
OF_A_LINK = (
    "hopping_channels",
    "power_dbm",
    "power_reference",
    "listens",
    "evidence",
    "unconfirmed",
    "caution",
)


@frozen
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


def lorawan_rows() -> Iterator[dict[str, Any]]:
    """Every plan's every data rate as a link's row, from data/lorawan.toml."""
    plans = rows.package_file(PLANS)["plan"]
    for name, row in plans.items():
        plan = rows.merge(row, plans, f"{PLANS}, plan {name}")
        for rate in plan["rates"]:
            if rate["dr"] in plan.get("only", [rate["dr"]]):
                yield from _rows_of(name, plan, rate)


def _rows_of(
    name: str, plan: Mapping[str, Any], rate: Mapping[str, Any]
) -> Iterator[dict[str, Any]]:
    own = {**plan, **rate}
    kind = next(kind for kind in KINDS if kind in rate)
    row = {
        kind: rate[kind],
        "answer": _answer(kind, rate),
        "payload_most": rate["mac"] - MAC_BEYOND_FRAME_BYTES,
        "payload_most_repeated": min(rate["mac"], REPEATED_MAC_MOST) - MAC_BEYOND_FRAME_BYTES,
        "overhead_bytes": OVERHEAD_BYTES,
        "carrier_says": ["station", "message", "sequence"],
        "chip": "SX1262",
        "power_reference": "eirp",
        **{key: own[key] for key in OF_A_LINK if key in own},
        "rules": [*own["rules"], *plan.get("plan_rules", [])],
        "source": f"{plan['source']}; channels and answers by the open LoRaWAN reference stack",
        "note": f"{plan['region']}, DR{rate['dr']}. {plan.get('note', '')}".rstrip(),
    }
    channels_hz = rows.channels(own["frequencies_hz"])
    for group, offset_hz in plan.get("groups", {name: 0}).items():
        shifted = [channel_hz + offset_hz for channel_hz in channels_hz]
        yield {"name": f"lorawan-{group}-dr{rate['dr']}", **row, "frequencies_hz": shifted}


def _answer(kind: str, rate: Mapping[str, Any]) -> dict[str, Any]:
    """The modulation of the first receive window; LoRa without a payload CRC."""
    if "answer" in rate or kind == "lora":
        return {"lora": {**rate.get("answer", rate.get("lora")), "crc": False}}
    return {kind: rate[kind]}
