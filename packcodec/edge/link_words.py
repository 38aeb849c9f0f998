"""A link, or a figure, in a few characters, for tables and headings."""

from decimal import Decimal

from packcodec.radio.link import Link
from packcodec.radio.lora import Lora
from packcodec.radio.wording import hertz, reference

LONG_DAYS = 36_525
LEAST_SHOWN = Decimal("0.000001")

KINDS = {
    "Gfsk": "GFSK",
    "LrFhss": "LR-FHSS",
    "FixedRate": "fixed rate",
    "Serial": "serial line",
    "Modem": "modem",
}


def sent_as(link: Link) -> str:
    """The modulation, with LoRa's spreading factor and bandwidth."""
    modulation = link.modulation
    if isinstance(modulation, Lora):
        return f"LoRa SF{modulation.sf} {modulation.bandwidth_hz / 1000:g} kHz"
    return KINDS[type(modulation).__name__]


def where(link: Link) -> str:
    """The channel, or how many there are."""
    channels = link.frequencies_hz
    if not channels:
        return "-"
    if len(channels) == 1:
        return hertz(channels[0])
    return f"{len(channels)} from {hertz(channels[0])}"


def power(link: Link) -> str:
    """The power in dBm with what it is measured against; - where the link says none."""
    if link.power_dbm is None:
        return "-"
    return f"{round(link.power_dbm, 2):g} dBm {reference(link.power_reference)}"


def figure(value: float) -> str:
    """Three figures, and never a power of ten."""
    if abs(value) >= 999.5:
        return f"{value:,.0f}"
    if 0 < abs(value) < LEAST_SHOWN:
        return f"under {LEAST_SHOWN}"
    return format(Decimal(f"{value:.3g}"), "f")


def days(value: float) -> str:
    """A time on the pack."""
    if value > LONG_DAYS:
        return "over a century"
    return f"{value * 24:.1f} h" if value < 2 else f"{figure(value)} days"


def span(least: object, most: object) -> str:
    """a-b, or one figure where they are equal."""
    return f"{least}" if least == most else f"{least}-{most}"
