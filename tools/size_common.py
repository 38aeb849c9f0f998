"""What bench_size's parts share: schemas, trained tables, air, and whether a figure holds."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from size_streams import Stream, species_csv

from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.train import DEVICE_BYTES, train
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, as_sets, batches_of
from packcodec.layout.compiler import compile_layout
from packcodec.radio.chips import find_chip
from packcodec.radio.energy import transmission_energy
from packcodec.radio.links import find_link
from packcodec.schema.model import Schema
from packcodec.schema.reader import read_schema

# The same header and check for every encoding: tag, station, sequence; 24 bits.
HEADER_BITS, CHECK_BYTES = 24, 3
AROUND_BYTES = HEADER_BITS // 8 + CHECK_BYTES
SPREADING_FACTORS = (7, 9, 10)

HEAD = """
[schema]
name = "bench"
version = 1
epoch = {epoch}
coding = "{coding}"
[species]
file = "species.csv"
codes = {codes}
[frame]
tag_bits = 8
message_bits = 0
station_bits = 6
sequence_bits = 10
check = "{check}"
[policy]
interval_min = {interval_min}
confidence_least = 0
"""


def schema_of(stream: Stream, coding: str, message: str, *, interval_min: int = 60) -> Schema:
    """A schema of one message for a stream's species."""
    head = HEAD.format(
        epoch=stream.epoch.strftime("%Y-%m-%dT%H:%M:%SZ"),
        coding=coding,
        codes=max(2, 1 << (len(stream.labels) - 1).bit_length()),
        check="auto" if coding == "modelled" else "crc32",
        interval_min=interval_min,
    )
    return read_schema(head + message, species_csv(stream.labels))


def with_tables(
    codec: Codec,
    message: str,
    learned: Iterable[list[Element]],
    lengths: Sequence[int],
    size_bytes: int = DEVICE_BYTES,
) -> Codec:
    """The codec with tables from these elements, in records of so many each."""
    payload = payload_of(codec)
    trees = (
        (message, 1 / len(lengths), payload.tree(as_sets(codec, message, values)))
        for length in lengths
        for station in learned
        for values in batches_of(codec, message, station, length)
    )
    models = train(codec.layout, trees, size_bytes=size_bytes)
    return Codec(compile_layout(replace(codec.schema, models=models)))


def payload_of(codec: Codec) -> ModelledPayload:
    [payload] = codec.payloads.values()
    assert isinstance(payload, ModelledPayload)
    return payload


def asked(what: str, figure: float, bound: float, *, most: bool = False) -> int:
    """Say whether a figure holds; 1 if not."""
    missed = figure > bound if most else figure < bound
    sign = "≤" if most else "≥"
    print(f"  {'MISSED' if missed else 'holds '} {what}: {figure:.3f}, asked {sign} {bound:.2f}")
    return int(missed)


@dataclass(frozen=True, slots=True)
class Air:
    """Bodies of these bytes that stations sent on so many station-days."""

    name: str
    bodies: Sequence[int]
    station_days: float


def tell_air(what: str, sent: Sequence[Air]) -> None:
    """Airtime and the radio's energy a station-day on raw LoRa at 868.1 MHz, 125 kHz, 14 dBm.

    Header and check are in each frame, preamble and the modem's own header in its airtime, the
    chip's current from its data sheet. What is too long for one frame goes in several.
    """
    print(f"  a station-day on air, {what}, header and check of {AROUND_BYTES} bytes included:")
    for sf in SPREADING_FACTORS:
        told = []
        for each in sent:
            airtime_us, energy_mj = _on_air(each.bodies, sf)
            seconds = airtime_us / 1e6 / each.station_days
            told.append(f"{each.name} {seconds:.2f} s {energy_mj / each.station_days:.0f} mJ")
        print(f"    SF{sf}: {'; '.join(told)}")


def _on_air(bodies: Sequence[int], sf: int) -> tuple[int, float]:
    link = find_link(f"lora-eu-868.1:sf={sf}")
    room = link.payload_most - AROUND_BYTES
    airtime_us = 0
    for body in bodies:
        whole, rest = divmod(body, room)
        parts = [room] * whole + [rest] * (rest > 0)
        airtime_us += sum(link.airtime(AROUND_BYTES + part).airtime_us for part in parts)
    assert link.power_dbm is not None
    spent = transmission_energy(
        find_chip(link.chip), airtime_us, link.power_dbm, link.frequencies_hz[0]
    )
    return airtime_us, spent.total_mj
