"""How long one transmission takes, and where its next step is.

The modulations themselves are in packcodec.radio.lora and packcodec.radio.modulations.
"""

from typing import TypeAlias

from packcodec.radio.lora import Lora
from packcodec.radio.modulations import (
    Airtime,
    FixedRate,
    Gfsk,
    LrFhss,
    Modem,
    Serial,
    within,
)

Modulation: TypeAlias = Lora | Gfsk | LrFhss | FixedRate | Serial | Modem


def airtime(modulation: Modulation, payload_bytes: int) -> Airtime:
    """Time on air of `payload_bytes` octets handed to the radio.

    RadioError if the count is not 0..`modulation.most_bytes`.
    """
    within("payload_bytes", payload_bytes, 0, modulation.most_bytes)
    return modulation.on_air(payload_bytes)


def octets_to_next_step(modulation: Modulation, payload_bytes: int) -> int:
    """How many octets more cost no airtime; 0 if the very next one does, or does not fit."""
    now = airtime(modulation, payload_bytes)
    longer = range(payload_bytes + 1, modulation.most_bytes + 1)
    return next((n for n, p in enumerate(longer) if modulation.on_air(p) != now), len(longer))


def largest_payload(modulation: Modulation, limit_us: int) -> int | None:
    """The most octets whose whole airtime is within `limit_us`; None if not even 0 octets are."""
    sizes = range(modulation.most_bytes, -1, -1)
    return next((n for n in sizes if modulation.on_air(n).airtime_us <= limit_us), None)
