"""bench_size, sightings: how many go into a body of so many bytes, each frame decoded alone."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from importlib import import_module
from statistics import mean, median
from time import process_time_ns
from typing import Any

from size_common import (
    Air,
    asked,
    payload_of,
    schema_of,
    tell_air,
    with_tables,
)
from size_peers import Columns, Peer, compressed, general_peers, most_that_fit, packed
from size_streams import Stream, by_station

from packcodec.codec.modelled.meter import Meter
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.train import DEVICE_BYTES
from packcodec.codec.record import Values
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, batches, batches_of
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection

BODIES = (11, 51, 222)
LEARNED_IN = (8, 45, 200)
FRAMES_A_PEER = 24
LONGEST_GAP = timedelta(minutes=1023)
PLAIN, TUNED, BEST = "fixed (UPER plain)", "UPER tuned", "the best with a dictionary"
MESSAGE_PACK = "MessagePack flat"

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
# Of the bits of the plain time, the count, and each field.
TIME_BITS, COUNT_BITS, GAP_BITS, INDIVIDUALS_BITS, CONFIDENCE_BITS = 20, 8, 10, 3, 3

# What is asked at each body: sightings, and ratios to UPER plain, tuned, and to the best with a
# dictionary (0 where nothing is asked).
ASKED_OF = {
    "s64": {11: (8.0, 4.0, 2.5, 0.0), 51: (44.0, 2.6, 1.94, 1.93), 222: (197.0, 2.5, 0.0, 1.57)},
    "Portal": {51: (8 * 51 / 11.6, 2.05, 1.65, 0.0)},
}
# Bits over the information: in full frames, and over all.
OVER_FILLED_BITS, OVER_BITS = 2.0, 2.6


def sightings(stream: Stream) -> int:
    """One stream's sightings in bodies of 11, 51 and 222 bytes; how many figures are missed."""
    modelled = trained(stream)
    elements = elements_of(stream.measured)
    peers = _peers(stream, modelled)
    print(f"\n{stream.name}: sightings a body of {', '.join(map(str, BODIES))} bytes (bits each)")
    plain = codec_of(stream, "fixed", 1 << TIME_BITS, 100)
    rows = {PLAIN: [filled(plain, elements, body).each for body in BODIES]}
    for peer in peers:
        rows[peer.name] = [_peer(modelled, elements, body, peer) for body in BODIES]
    ours = [filled(modelled, elements, body) for body in BODIES]
    rows["modelled"] = [each.each for each in ours]
    for name, counts in rows.items():
        each = zip(counts, BODIES, strict=True)
        print(f"  {name:32}" + "".join(f"{n:9.2f} ({8 * body / n:5.2f})" for n, body in each))
    with_dictionary = [counts for name, counts in rows.items() if "+" in name]
    rows[BEST] = [max(each) for each in zip(*with_dictionary, strict=True)]
    for name in (PLAIN, TUNED, BEST):
        ratios = (
            f"{one / other:.2f}" for one, other in zip(rows["modelled"], rows[name], strict=True)
        )
        print(f"  modelled against {name}: × {'  '.join(ratios)}")
    tables = modelled.schema.models
    print(f"  {tables.size_bytes if tables else 0} bytes of tables; {_speed(modelled, elements)}")
    _tell_air(stream, rows)
    return _asked(stream, rows, ours)


def _asked(stream: Stream, rows: dict[str, list[float]], ours: "list[Filled]") -> int:
    missed = 0
    names = ("sightings", f"× {PLAIN}", f"× {TUNED}", f"× {BEST}")
    for at, body in enumerate(BODIES):
        others = (1.0, rows[PLAIN][at], rows[TUNED][at], rows[BEST][at])
        bounds = ASKED_OF.get(stream.name, {}).get(body, (0.0,) * 4)
        for name, other, bound in zip(names, others, bounds, strict=True):
            if bound:
                missed += asked(f"{body} bytes, {name}", rows["modelled"][at] / other, bound)
    what = "bits over the information, a frame"
    each_body = "  ".join(f"{each.over_filled / each.filled:.2f}" for each in ours if each.filled)
    print(f"  {what} filled to {', '.join(map(str, BODIES))} bytes: {each_body}")
    filled = sum(each.over_filled for each in ours) / sum(each.filled for each in ours)
    missed += asked(f"{what} that is filled", filled, OVER_FILLED_BITS, most=True)
    over = sum(each.over for each in ours) / sum(each.frames for each in ours)
    return missed + asked(f"{what}, on average", over, OVER_BITS, most=True)


def _tell_air(stream: Stream, rows: dict[str, list[float]]) -> None:
    at, body = 1, BODIES[1]
    station_days = len(by_station(stream.measured)) * max(stream.days, 1)
    sent = (
        Air(name, [body] * round(len(stream.measured) / rows[name][at]), station_days)
        for name in (PLAIN, MESSAGE_PACK, "modelled")
        if name in rows
    )
    tell_air(f"bodies of {body} bytes", list(sent))


def codec_of(stream: Stream, coding: str, span_min: int, most: int) -> Codec:
    """Of a message of many sightings; its time is a minute of `span_min`."""
    text = SIGHTINGS.format(span_s=60 * span_min, most=most, element=SIGHTING)
    return Codec(compile_layout(schema_of(stream, coding, text)))


def trained(stream: Stream, size_bytes: int = DEVICE_BYTES) -> Codec:
    """Time as a minute of two days, which the receiver resolves: 11.5 bits."""
    codec = codec_of(stream, "modelled", 2880, 255)
    return with_tables(codec, "sightings", elements_of(stream.learned), LEARNED_IN, size_bytes)


def elements_of(detections: Sequence[Detection]) -> list[list[Element]]:
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


@dataclass(frozen=True, slots=True)
class Filled:
    """`each` sightings a full frame; bits over the information in the `filled` frames together, and
    in all `frames`."""

    each: float
    over_filled: float
    over: float
    filled: int
    frames: int


def filled(codec: Codec, elements: list[list[Element]], body: int) -> Filled:
    """Frames filled as full as they go; each station's last is as full as what was left."""
    limit = body + codec.layout.header_bits // 8 + codec.layout.check.octets
    payload = codec.payloads["sightings"]
    meter = Meter(payload.walk) if isinstance(payload, ModelledPayload) else None
    counts, over_filled, over = [], [], []
    for station in elements:
        records = list(batches(codec, "sightings", station, limit))
        for number, record in enumerate(records, start=1):
            bits = 0.0
            if isinstance(payload, ModelledPayload) and meter is not None:
                tree = payload.tree(record.values)
                _, octets = payload.sizes(tree)
                bits = 8 * octets - meter.measure(tree, 8 * octets)
            over.append(bits)
            if number < len(records):
                counts.append(len(record.values["seen"]))
                over_filled.append(bits)
    if not counts:
        return Filled(0.0, 0.0, sum(over), 0, len(over))
    return Filled(mean(counts), sum(over_filled), sum(over), len(counts), len(over))


def columns_of(payload: ModelledPayload, values: Values) -> Columns:
    """A record in codes: the minute, then gaps, species, individuals less one, confidence."""
    tree: Any = payload.tree(values)
    return [[tree[0]], *(list(column) for column in zip(*tree[1], strict=True))]


def _peers(stream: Stream, modelled: Codec) -> list[Peer]:
    species_bits = max(1, (len(stream.labels) - 1).bit_length())
    samples = [
        columns_of(payload_of(modelled), values)
        for station in elements_of(stream.learned)
        for values in batches_of(modelled, "sightings", station, 45)
    ]
    tuned = Peer(TUNED, lambda columns: packed(_tuned(columns, species_bits)))
    plain = Peer("UPER plain", lambda columns: packed(_plain(columns, species_bits)))
    peers = [tuned, *general_peers()]
    return [*peers, *compressed([plain, *peers], samples)]


def _plain(columns: Columns, species_bits: int) -> Iterator[tuple[int, int]]:
    yield columns[0][0], TIME_BITS
    yield len(columns[1]) - 1, COUNT_BITS
    for gap, species, individuals, confidence in zip(*columns[1:], strict=True):
        yield gap, GAP_BITS
        yield species, species_bits
        yield individuals, INDIVIDUALS_BITS
        yield confidence, CONFIDENCE_BITS


def _tuned(columns: Columns, species_bits: int) -> Iterator[tuple[int, int]]:
    """A gap as CHOICE of 0..3, 4..19 and 20..1023; one individual as DEFAULT."""
    yield columns[0][0], TIME_BITS
    yield len(columns[1]) - 1, COUNT_BITS
    for gap, species, individuals, confidence in zip(*columns[1:], strict=True):
        yield (
            (gap, 4) if gap < 4 else (1 << 4 | gap - 4, 6) if gap < 20 else (2 << 10 | gap - 20, 12)
        )
        yield species, species_bits
        yield (1 << 3 | individuals, 4) if individuals else (0, 1)
        yield confidence, CONFIDENCE_BITS


def _peer(codec: Codec, elements: list[list[Element]], body: int, peer: Peer) -> float:
    """Mean sightings of frames filled as full as they go, not counting each station's last."""
    counts = []
    share = -(-FRAMES_A_PEER // len(elements))
    for station in elements:
        at = mine = 0
        while at < len(station) and mine < share:
            near = station[at : at + 255]

            def size(count: int, near: list[Element] = near) -> int:
                values = next(batches_of(codec, "sightings", near, count))
                return len(peer.encode(columns_of(payload_of(codec), values)))

            taken = most_that_fit(size, len(near), body)
            at += taken
            if at < len(station):
                counts.append(taken)
                mine += 1
    return mean(counts)


def _speed(codec: Codec, elements: list[list[Element]]) -> str:
    """Time a record of 40 sightings against asn1tools' UPER of the same record."""
    try:
        asn1tools: Any = import_module("asn1tools")
    except ImportError:
        return "asn1tools is not installed: no speed ratio"
    station = max(elements, key=len)
    values = next(batches_of(codec, "sightings", station, 40))
    payload = payload_of(codec)
    module = asn1tools.compile_string(ASN1, "uper")
    columns = columns_of(payload, values)
    said = {
        "at": columns[0][0],
        "seen": [
            dict(zip(("after", "species", "individuals", "confidence"), row, strict=True))
            for row in zip(*columns[1:], strict=True)
        ],
    }
    data = module.encode("Sightings", said)
    ours = payload.pack_values(values)
    calls: tuple[Callable[[], Any], ...] = (
        lambda: payload.pack_values(values),
        lambda: module.encode("Sightings", said),
        lambda: payload.unpack_values(ours),
        lambda: module.decode("Sightings", data),
    )
    ratios = []
    for _ in range(9):
        times = []
        for call in calls:
            start = process_time_ns()
            for _ in range(20):
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
