"""bench_size, summaries: an hour's rows of species, several hours a frame, and a day's in one.

The work measured is a summary as a station sends it home: its hour, its health (battery,
temperature, storage, state, pictures dropped) and a row a species (visits, most individuals, first
and last minute, mean confidence). No log tells of health, so that is invented here, and figures
without it are printed too; the ones asked for were set on summaries with it.
"""

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random
from typing import Any, TypeAlias

from size_common import Air, asked, payload_of, schema_of, tell_air, with_tables
from size_streams import Stream, by_station
from size_summary_peers import FIXED, ONCE, PLAIN, fixed_of, once_of, peers_of, plain_of

from packcodec.codec.modelled.meter import Meter
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, as_sets, batches_of
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Stretch
from packcodec.monitor.whole_log import summarise

HOURS = (1, 4, 16)
SPAN_S = 15_811_200  # 183 days
# At each number of hours: the ratio to UPER plain, and to the best other (0: not asked).
ASKED = {1: (0.0, 0.0), 4: (0.53, 0.0), 16: (0.45, 0.56)}
ASKED_DAILY = 0.70
OVER_BITS = 2.6
MESSAGE_PACK = "MessagePack flat"

HEALTH = """
  { name = "battery_mv", kind = "scaled", low = 2800, high = 4300, step = 20 },
  { name = "temperature_c", kind = "scaled", low = -40, high = 60, step = 0.5 },
  { name = "storage", kind = "integer", low = 0, high = 1023 },
  { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
  { name = "dropped", kind = "integer", low = 0, high = 15, above = "clamp" },
"""
ROWS = """
  {{ name = "rows", kind = "list", least = 0, most = {most_rows}, fields = [
    {{ name = "species", kind = "species" }},
    {{ name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" }},
    {{ name = "most", kind = "integer", low = 1, high = 16, above = "clamp" }},
    {{ name = "first", kind = "duration", step_s = 60, high_s = {last_s} }},
    {{ name = "last", kind = "duration", step_s = 60, high_s = {last_s} }},
    {{ name = "confidence", kind = "scaled", low = 0.25, high = 1, step = 0.05, below = "clamp" }},
  ] }},
"""
# What the summariser wants to say besides, and this work leaves out.
LEFT_OUT = '  { name = "left_out", kind = "integer", low = 0, high = 15, above = "clamp" },\n'
START = f"""
  {{ name = "start", kind = "time", step_s = 3600, span_s = {SPAN_S}, beyond = "reject" }},
"""
AFTER = """
  { name = "after", kind = "duration", step_s = 3600, high_s = 82800, since = "previous" },
"""
MOST_IN_BATCH = 48

Intervals: TypeAlias = dict[int, list[Element]]


@dataclass(frozen=True, slots=True)
class Work:
    """Trained coding of a stream's summaries, and those that are learned from and measured."""

    codec: Codec
    learned: Intervals
    measured: Intervals
    health: bool


def summaries(stream: Stream) -> int:
    """Hourly summaries, several a frame, and daily ones; how many figures are missed."""
    hourly = work_of(stream, health=True)
    missed = _hourly(stream, hourly)
    _without_health(stream)
    return missed + _daily(stream)


def work_of(stream: Stream, *, health: bool, interval_min: int = 60) -> Work:
    """Summaries of every hour (or day) that the stations are taken to have watched."""
    fields = _rows(interval_min) if not health else HEALTH + _rows(interval_min)
    learned, measured = (
        _intervals(stream, seen, interval_min, health=health)
        for seen in (stream.learned, stream.measured)
    )
    text = (
        f'[message.summaries]\ncode = 0\nfields = [{START}\n{{ name = "intervals", '
        f'kind = "list", least = 1, most = {MOST_IN_BATCH}, fields = [{AFTER}{fields}] }} ]\n'
    )
    codec = Codec(compile_layout(schema_of(stream, "modelled", text)))
    lengths = HOURS if interval_min == 60 else (1,)
    return Work(
        with_tables(codec, "summaries", learned.values(), lengths), learned, measured, health
    )


def _rows(interval_min: int) -> str:
    return ROWS.format(most_rows=12 if interval_min == 60 else 40, last_s=60 * (interval_min - 1))


@dataclass(frozen=True, slots=True)
class Sizes:
    """Bytes of each frame of a number of summaries each; information in bits."""

    frames: list[int]
    summaries: int
    information: float

    @property
    def bits(self) -> float:
        """Whole bytes, a summary."""
        return 8 * sum(self.frames) / self.summaries

    @property
    def over(self) -> float:
        """Bits over the information, in all frames together."""
        return 8 * sum(self.frames) - self.information


def modelled(work: Work, most: int) -> Sizes:
    """Ours, at most so many summaries a frame."""
    payload = payload_of(work.codec)
    meter = Meter(payload.walk)
    frames, count = [], 0
    for tree in _trees(work, work.measured, most):
        _, octets = payload.sizes(tree)
        meter.measure(tree, 8 * octets)
        frames.append(octets)
        count += len(tree[1])
    return Sizes(frames, count, meter.bits)


def encoded(work: Work, most: int, encode: Callable[[Any], bytes]) -> Sizes:
    """Another's, of the same summaries in codes."""
    trees = list(_trees(work, work.measured, most))
    return Sizes([len(encode(tree)) for tree in trees], sum(len(tree[1]) for tree in trees), 0.0)


def _trees(work: Work, intervals: Intervals, most: int) -> Iterator[Any]:
    """Frames as codes: start, then [hours after, health …, rows] of each."""
    payload = payload_of(work.codec)
    for station in intervals.values():
        for values in batches_of(work.codec, "summaries", station, most):
            yield payload.tree(as_sets(work.codec, "summaries", values))


def _hourly(stream: Stream, work: Work) -> int:
    rows = _table(work, HOURS)
    lengths = ", ".join(map(str, HOURS))
    print(f"\n{stream.name}: summaries with invented health, {lengths} hours a frame: bits an hour")
    for name, sizes in rows.items():
        print(f"  {name:32}" + "".join(f"{each.bits:9.2f}" for each in sizes))
    ours, plain = rows["modelled"], rows[PLAIN]
    peers = [sizes for name, sizes in rows.items() if name != "modelled"]
    others = [min(sizes[at].bits for sizes in peers) for at in range(len(HOURS))]
    for name in (PLAIN, FIXED, ONCE):
        pairs = zip(ours, rows[name], strict=True)
        ratios = "  ".join(f"{one.bits / other.bits:.3f}" for one, other in pairs)
        print(f"  modelled against {name}: {ratios}")
    station_days = len(work.measured) * max(stream.days, 1)
    sent = (
        Air(name, rows[name][-1].frames, station_days)
        for name in (PLAIN, MESSAGE_PACK, "modelled")
        if name in rows
    )
    tell_air(f"{HOURS[-1]} hours a frame", list(sent))
    missed = 0
    for hours, one, uper, other in zip(HOURS, ours, plain, others, strict=True):
        to_plain, to_best = ASKED[hours]
        if to_plain:
            missed += asked(
                f"{hours} h a frame, of {PLAIN}", one.bits / uper.bits, to_plain, most=True
            )
        if to_best:
            what = f"{hours} h a frame, of the best other"
            missed += asked(what, one.bits / other, to_best, most=True)
    each = "  ".join(f"{one.over / len(one.frames):.2f}" for one in ours)
    what = "bits over the information, a frame"
    print(f"  {what} of {', '.join(map(str, HOURS))} hours: {each}")
    over = sum(one.over for one in ours) / sum(len(one.frames) for one in ours)
    return missed + asked(f"{what}, on average", over, OVER_BITS, most=True)


def _table(work: Work, lengths: Sequence[int]) -> dict[str, list[Sizes]]:
    """Each encoding's sizes; dictionaries are made for each length of its own."""
    found: dict[str, list[Sizes]] = defaultdict(list)
    for most in lengths:
        samples = _trees(work, work.learned, most)
        for peer in peers_of(work.codec.schema, samples):
            found[peer.name].append(encoded(work, most, peer.encode))
        found["modelled"].append(modelled(work, most))
    # Where there were too few samples for a dictionary, there is no figure.
    return {name: sizes for name, sizes in found.items() if len(sizes) == len(lengths)}


def _without_health(stream: Stream) -> None:
    work = work_of(stream, health=False)
    print(f"{stream.name}: the same without health")
    for name, way in ((PLAIN, plain_of), (FIXED, fixed_of), (ONCE, once_of)):
        how = way(work.codec.schema)
        theirs = [encoded(work, most, how).bits for most in HOURS]
        ours = [modelled(work, most).bits for most in HOURS]
        ratios = (f"{one / other:.3f}" for one, other in zip(ours, theirs, strict=True))
        print(
            f"  {name}: {'  '.join(f'{bits:.2f}' for bits in theirs)}; "
            f"modelled: {'  '.join(f'{bits:.2f}' for bits in ours)}; ratio {'  '.join(ratios)}"
        )


def _daily(stream: Stream) -> int:
    work = work_of(stream, health=True, interval_min=1440)
    theirs, ours = encoded(work, 1, plain_of(work.codec.schema)), modelled(work, 1)
    print(f"{stream.name}: a day in one frame, with invented health, bits")
    print(f"  {PLAIN} {theirs.bits:.2f}, modelled {ours.bits:.2f}")
    missed = asked(f"a day, of {PLAIN}", ours.bits / theirs.bits, ASKED_DAILY, most=True)
    over = ours.over / len(ours.frames)
    return missed + asked("a day, bits over the information", over, OVER_BITS, most=True)


def _intervals(
    stream: Stream, detections: Sequence[Detection], interval_min: int, *, health: bool
) -> Intervals:
    text = f"[message.summary]\ncode = 0\nfields = [{START}{LEFT_OUT}{_rows(interval_min)}]\n"
    codec = Codec(compile_layout(schema_of(stream, "fixed", text, interval_min=interval_min)))
    first, last = stream.watched
    days = sorted({each.at.date() for each in detections})
    midnight = stream.epoch
    watches = [
        Stretch(
            station,
            midnight + timedelta(days=(day - midnight.date()).days, hours=first),
            midnight + timedelta(days=(day - midnight.date()).days, hours=last),
        )
        for station in by_station(detections)
        for day in days
    ]
    found: Intervals = defaultdict(list)
    for record in summarise(codec, detections, watches).records:
        values = {name: record.values[name] for name in ("start", "rows")}
        start = values.pop("start")
        assert isinstance(start, datetime)
        assert record.station is not None
        found[record.station].append((start, values))
    if health:
        for station, elements in found.items():
            # Days that are measured must not repeat the noise of those that were learned from.
            _invent_health(elements, Random(f"{station} from {elements[0][0]}"))
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
        values["state"] = ["restarted"] if random.random() < 1 / 200 else []
        values["dropped"] = min(15, int(random.expovariate(1.2)))
