"""`packcodec airtime`: time on air of one transmission."""

from collections.abc import Callable
from typing import Any

import click

from packcodec.edge.cli.screen import as_json, between, document, say
from packcodec.edge.own_radio import own_radio, own_rules
from packcodec.errors import RadioError
from packcodec.radio.airtime import Modulation, airtime, largest_payload, octets_to_next_step
from packcodec.radio.links import find_link
from packcodec.radio.lora import LORA_BANDWIDTHS, Lora
from packcodec.radio.modulations import Gfsk, LrFhss
from packcodec.radio.quantity import checked
from packcodec.radio.wording import seconds

SWITCH = {"auto": None, "on": True, "off": False}
CODING_RATES = {"4/5": 1, "4/6": 2, "4/7": 3, "4/8": 4}
DWELL_US = 400_000
MOST_BYTES = 65_535


def _bandwidth_hz(bandwidth_khz: float) -> int:
    """The nominal bandwidth that is meant: 7.8, 10.4 and 41.7 kHz are how people write some."""
    checked("--bandwidth", bandwidth_khz, 1, 1000)
    nearest = min(LORA_BANDWIDTHS, key=lambda hertz: abs(hertz - bandwidth_khz * 1000))
    if abs(nearest - bandwidth_khz * 1000) > nearest / 100:
        listed = ", ".join(f"{hertz / 1000:g}" for hertz in LORA_BANDWIDTHS)
        raise RadioError(
            f"LoRa has no bandwidth of {bandwidth_khz:g} kHz",
            place="--bandwidth",
            remedy=f"give one of {listed} kHz",
        )
    return nearest


def _lora_rate(text: str) -> int:
    if text not in CODING_RATES:
        raise RadioError(
            f"LoRa has no coding rate {text!r}",
            place="--coding-rate",
            remedy=f"give one of {', '.join(CODING_RATES)}",
        )
    return CODING_RATES[text]


# Every option: the attribute it sets, and how its text is read, by modulation.
Reader = Callable[[Any], Any]
OPTIONS: dict[str, tuple[Callable[..., Modulation], dict[str, tuple[str, Reader]]]] = {
    "lora": (
        Lora,
        {
            "sf": ("sf", int),
            "bandwidth": ("bandwidth_hz", _bandwidth_hz),
            "coding_rate": ("coding_rate", _lora_rate),
            "preamble": ("preamble_symbols", int),
            "header": ("explicit_header", bool),
            "crc": ("crc", bool),
            "ldro": ("low_data_rate", SWITCH.__getitem__),
            "chip": ("chip", str),
        },
    ),
    "gfsk": (
        Gfsk,
        {
            "bitrate": ("bitrate_bps", int),
            "deviation": ("deviation_hz", int),
            "preamble": ("preamble_bytes", int),
            "crc": ("crc_bytes", lambda sent: 2 * sent),
        },
    ),
    "lr-fhss": (LrFhss, {"coding_rate": ("coding_rate", str), "headers": ("headers", int)}),
}


@click.command()
@click.option("--link", help="A link of `packcodec links`, its own overhead included.")
@click.option("--modulation", type=click.Choice(list(OPTIONS)), help="Or say how it is sent.")
@click.option(
    "--bytes",
    "payload_bytes",
    type=int,
    required=True,
    callback=between(0, MOST_BYTES),
    help="What the radio is handed.",
)
@click.option("--sf", type=int, help="LoRa: spreading factor, 5 to 12.")
@click.option("--bandwidth", type=float, metavar="KHZ", help="LoRa: 125 if not given.")
@click.option("--coding-rate", help="LoRa: 4/5 (if not given) to 4/8. LR-FHSS: 1/3 to 5/6.")
@click.option(
    "--preamble",
    type=int,
    help="LoRa: symbols, if not given 8, and 12 at SF5 and SF6. GFSK: bytes.",
)
@click.option("--header/--no-header", default=None, help="LoRa: the explicit header.")
@click.option("--crc/--no-crc", default=None, help="The radio's own check.")
@click.option("--ldro", type=click.Choice(list(SWITCH)), help="LoRa: low-data-rate optimisation.")
@click.option("--chip", help="LoRa: SX126x (if not given) or SX127x.")
@click.option("--bitrate", type=int, metavar="BPS", help="GFSK: bits a second.")
@click.option("--deviation", type=int, metavar="HZ", help="GFSK: frequency deviation.")
@click.option("--headers", type=int, help="LR-FHSS: copies of the header, 1 to 4.")
@own_rules
@as_json
def command(
    link: str | None,
    modulation: str | None,
    payload_bytes: int,
    rules: str | None,
    as_json: bool,
    **options: Any,
) -> None:
    """Time on air of one transmission of --bytes bytes."""
    given = {name: value for name, value in options.items() if value is not None}
    if link is not None:
        if modulation is not None or given:
            raise RadioError(
                "a link says itself how it is sent",
                place="--link",
                remedy="change it by its name, as in lora-eu-868.1:sf=10",
            )
        chosen = find_link(link, own_radio(rules).links)
        chosen.airtime(payload_bytes)
        sent, overhead_bytes = chosen.modulation, chosen.overhead_bytes
    else:
        sent, overhead_bytes = _modulation(modulation, given), 0
    data = _data(sent, payload_bytes + overhead_bytes)
    if as_json:
        document(data)
        return
    carrier = f" ({payload_bytes} and {overhead_bytes} of the carrier)" if overhead_bytes else ""
    say(f"{seconds(data['airtime_us'])} on air for {data['bytes']} bytes{carrier}")
    if data["channel_us"] != data["airtime_us"]:
        say(f"  longest stay on one frequency {seconds(data['channel_us'])}")
    say(f"  {data['bytes_to_next_step']} more bytes would take no longer")
    if isinstance(sent, Lora):
        most = largest_payload(sent, DWELL_US)
        room = "nothing" if most is None else f"{most} bytes"
        say(f"  a dwell limit of 400 ms, where one holds, leaves {room}")


def _modulation(name: str | None, given: dict[str, Any]) -> Modulation:
    if name is None:
        raise RadioError(
            "nothing says how it is sent", place="airtime", remedy="give --link or --modulation"
        )
    make, known = OPTIONS[name]
    for option in given:
        if option not in known:
            raise RadioError(
                f"means nothing for {name}",
                place=_flag(option),
                remedy="leave it out",
            )
    if name == "lora" and "sf" not in given:
        raise RadioError("is missing", place="--sf", remedy="give a spreading factor, 5 to 12")
    figures = {known[option][0]: known[option][1](value) for option, value in given.items()}
    try:
        return make(**figures)
    except RadioError as error:
        options = {known[option][0]: _flag(option) for option in known}
        place = options.get(error.place, error.place)
        raise RadioError(error.problem, place=place, remedy=error.remedy) from None


def _flag(option: str) -> str:
    return f"--{option.replace('_', '-')}"


def _data(modulation: Modulation, payload_bytes: int) -> dict[str, Any]:
    checked("--bytes", payload_bytes, 0, modulation.most_bytes)
    on_air = airtime(modulation, payload_bytes)
    return {
        "bytes": payload_bytes,
        "airtime_s": on_air.airtime_s,
        "airtime_us": on_air.airtime_us,
        "channel_us": on_air.channel_us,
        "bytes_to_next_step": octets_to_next_step(modulation, payload_bytes),
    }
