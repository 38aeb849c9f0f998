"""What a station would have sent, from its logs: the frames of every record, and when."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta

from packcodec.budget.traffic import DAY_S, Logged, Sent
from packcodec.codec.record import Record
from packcodec.edge.logs import (
    Rows,
    daily_stretches,
    opened,
    read_detections,
    read_health,
    read_watches,
)
from packcodec.errors import EncodeError, LogError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, batches, frame_bytes, unbatched
from packcodec.frame.times import resolve
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import BATCHES, SUMMARIES, SUMMARY
from packcodec.monitor.whole_log import Summary, summarise
from packcodec.schema.model import Message, Time


@dataclass(frozen=True, slots=True)
class Logs:
    """A detection log, and the effort and health logs that go with it, where there are any."""

    detections: Rows[Detection]
    watches: Rows[Stretch] | None
    health: Rows[Health] | None

    @property
    def refused(self) -> int:
        """How many rows could not be read."""
        rows = (self.detections, self.watches, self.health)
        return sum(len(each.refused) for each in rows if each is not None)


def read_logs(
    codec: Codec, log: str, watch: str | None, health: str | None, watched: str | None = None
) -> Logs:
    """The logs in these files; `watched` is effort the same every day ("04:30-20:15", UTC).

    Raises LogError naming file and place.
    """
    if watch is not None and watched is not None:
        raise LogError("effort is given twice", place="--watched", remedy="drop it or --watch")
    schema = codec.schema
    with opened(log) as lines:
        detections = read_detections(lines, schema, log)
    watches = told = None
    if watch is not None:
        with opened(watch) as lines:
            watches = read_watches(lines, schema, watch)
    elif watched is not None:
        watches = Rows(daily_stretches(detections.rows, schema, watched))
    if health is not None:
        with opened(health) as lines:
            told = read_health(lines, schema, health)
    return Logs(detections, watches, told)


def summarised(codec: Codec, logs: Logs) -> Summary:
    """The records those logs give. A time that wraps is the one nearest to the record before.

    Raises SchemaError or EncodeError.
    """
    summary = summarise(
        codec,
        logs.detections.rows,
        None if logs.watches is None else logs.watches.rows,
        () if logs.health is None else logs.health.rows,
    )
    epoch, last = codec.schema.epoch, _begins(logs)
    whole: list[Record] = []
    for record in summary.records:
        values = resolve(record.values, epoch, last.get(record.station, epoch))
        told = next((each for each in values.values() if isinstance(each, datetime)), None)
        if told is not None:
            last[record.station] = told
        whole.append(replace(record, values=values))
    summary.records = whole
    return summary


def traffic_of(
    codec: Codec, logs: Logs, interval_s: int | None = None, *, room_bytes: int | None = None
) -> Logged:
    """The frames those logs give, every one sent as soon as its record is ready.

    `interval_s` summarises at another interval than the schema's policy. A record without a time,
    from an unset clock, is put where the one before it was; a summary one interval later. Batches
    fill frames of `room_bytes` (None: their greatest), and wait for company as the policy says.
    Raises SchemaError, EncodeError or RadioError.
    """
    if interval_s is not None and interval_s != codec.schema.policy.interval_s:
        policy = replace(codec.schema.policy, interval_s=interval_s)
        codec = Codec(compile_layout(replace(codec.schema, policy=policy)))
    ready = list(_ready(codec, summarised(codec, logs).records))
    days = {(each.station, each.at.date()) for each in ready}
    sent = [
        Sent(
            each.station,
            int(each.at.timestamp()),
            each.record.message,
            frame_bytes(codec, each.record),
        )
        for each in _in_company(codec, ready, room_bytes)
    ]
    return Logged(tuple(sent), codec.schema.policy.interval_s, len(days))


def joined(codec: Codec, records: Sequence[Record], most_bytes: int) -> list[Record]:
    """`records` (of `summarised`) with batches that fill frames of `most_bytes`, as a station joins
    them: station after station, each in the order that they would go, with sequences from 0.

    What does not fit alone stays alone.
    """
    frames = list(_in_company(codec, list(_ready(codec, records)), most_bytes))
    frames.sort(key=lambda each: (each.station, each.at))
    following: Counter[int] = Counter()
    found = []
    for each in frames:
        found.append(replace(each.record, station=each.station, sequence=following[each.station]))
        following[each.station] += 1
    return found


def watch_s_a_day(logs: Logs) -> int | None:
    """Mean seconds watched on a station-day with any watching; None where nobody says."""
    if logs.watches is None or not logs.watches.rows:
        return None
    watched, days = timedelta(), set()
    for stretch in logs.watches.rows:
        watched += stretch.end - stretch.start
        days.add((stretch.station, stretch.start.date()))
    return max(1, min(DAY_S, round(watched.total_seconds() / len(days))))


@dataclass(frozen=True, slots=True)
class _Ready:
    """A record, and when it goes, or could at the earliest."""

    station: int
    at: datetime
    record: Record


def _begins(logs: Logs) -> dict[int | None, datetime]:
    """By station the first moment that its logs tell of by a clock that was set."""
    begins: dict[int | None, datetime] = {}
    told = [(each.station, each.at) for each in logs.detections.rows]
    if logs.watches is not None:
        told = [(each.station, each.start) for each in logs.watches.rows if each.clock_trusted]
    for station, at in told:
        begins[station] = min(begins.get(station, at), at)
    return begins


def _ready(codec: Codec, records: Sequence[Record]) -> Iterator[_Ready]:
    times = {
        message.name: next((f.name for f in message.fields if isinstance(f, Time)), "")
        for message in codec.schema.messages
    }
    interval = timedelta(seconds=codec.schema.policy.interval_s)
    before: dict[int | None, datetime] = {}
    for record in records:
        later = interval if record.message in (SUMMARY, SUMMARIES) else timedelta()
        told = record.values.get(times[record.message])
        start = told if isinstance(told, datetime) else None
        ready = (start or before.get(record.station, codec.schema.epoch)) + later
        before[record.station] = ready
        yield _Ready(record.station or 0, ready, record)


def _in_company(codec: Codec, ready: Sequence[_Ready], room_bytes: int | None) -> Iterator[_Ready]:
    """Each record with when it goes, elements of batches joined."""
    waiting: dict[tuple[int, str], list[_Ready]] = {}
    for each in ready:
        if each.record.message in BATCHES:
            waiting.setdefault((each.station, each.record.message), []).append(each)
        else:
            yield each
    for alike in waiting.values():
        yield from _batches(codec, alike, room_bytes)


def _batches(codec: Codec, alike: Sequence[_Ready], room_bytes: int | None) -> Iterator[_Ready]:
    """One station's elements of a kind in as many frames as they fill, each sent when the next
    element does not fit or its oldest has waited long enough."""
    name = alike[0].record.message
    message = codec.payloads[name].message
    limit_bytes = min(room_bytes or message.most_frame_bytes, message.most_frame_bytes)
    longest = timedelta(seconds=codec.schema.policy.batch_s)
    left = list(alike)
    while left:
        first = left[0]
        company = [each for each in left if each.at <= first.at + longest]
        elements, timed = _elements(message.message, company)
        try:
            record = next(batches(codec, name, elements, limit_bytes, timed=timed))
            taken = sum(1 for _ in unbatched(message.message, record.values))
        except EncodeError:
            # A station cuts what does not fit alone; here its own size is told.
            record, taken = first.record, 1
        goes = company[taken].at if taken < len(company) else first.at + longest
        yield _Ready(first.station, goes, record)
        del left[:taken]


def _elements(message: Message, company: Sequence[_Ready]) -> tuple[list[Element], bool]:
    """Elements by the first one's clock, as far as they follow one another, and whether it is set.

    By an unset one, only how they follow one another counts.
    """
    found: list[Element] = []
    timed = None
    for each in company:
        ((instant, values),) = unbatched(message, each.record.values)
        if timed is not None and timed != (instant is not None):
            break
        timed = instant is not None
        found.append((instant or each.at, values))
    return found, bool(timed)
