"""What a station would have sent, from its logs: the frames of every record, and when."""

from collections.abc import Sequence
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
from packcodec.errors import LogError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import frame_bytes
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import SUMMARY
from packcodec.monitor.whole_log import summarise
from packcodec.schema.model import Time


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


def traffic_of(codec: Codec, logs: Logs, interval_s: int | None = None) -> Logged:
    """The frames those logs give, every one sent as soon as its record is ready.

    `interval_s` summarises at another interval than the schema's policy. A record without a time,
    from an unset clock, is put where the one before it was; a summary one interval later.
    Raises SchemaError, EncodeError or RadioError.
    """
    if interval_s is not None and interval_s != codec.schema.policy.interval_s:
        policy = replace(codec.schema.policy, interval_s=interval_s)
        codec = Codec(compile_layout(replace(codec.schema, policy=policy)))
    summary = summarise(
        codec,
        logs.detections.rows,
        None if logs.watches is None else logs.watches.rows,
        () if logs.health is None else logs.health.rows,
    )
    return Logged(tuple(_sent(codec, summary.records)), codec.schema.policy.interval_s)


def watch_s_a_day(logs: Logs) -> int | None:
    """Mean seconds watched on a station-day with any watching; None where nobody says."""
    if logs.watches is None or not logs.watches.rows:
        return None
    watched, days = timedelta(), set()
    for stretch in logs.watches.rows:
        watched += stretch.end - stretch.start
        days.add((stretch.station, stretch.start.date()))
    return max(1, min(DAY_S, round(watched.total_seconds() / len(days))))


def _sent(codec: Codec, records: Sequence[Record]) -> list[Sent]:
    times = {
        message.name: next((f.name for f in message.fields if isinstance(f, Time)), "")
        for message in codec.schema.messages
    }
    interval = timedelta(seconds=codec.schema.policy.interval_s)
    sent: list[Sent] = []
    before: dict[int | None, datetime] = {}
    for record in records:
        later = interval if record.message == SUMMARY else timedelta()
        told = record.values.get(times[record.message])
        start = told if isinstance(told, datetime) else None
        ready = (start or before.get(record.station, codec.schema.epoch)) + later
        before[record.station] = ready
        size = frame_bytes(codec, record)
        sent.append(Sent(record.station or 0, int(ready.timestamp()), record.message, size))
    return sent
