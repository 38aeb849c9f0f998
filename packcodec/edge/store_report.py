"""What a store knows, station by station, and its records; read only, in constant memory."""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime
from itertools import groupby
from operator import attrgetter
from typing import Any

from sqlalchemy import Engine, and_, func, select

from packcodec.base.cadence import Cadence
from packcodec.base.clock import Clock, ClockFit
from packcodec.base.cover import Counted, State, Stretch, stretches
from packcodec.base.untold import Known, Untold, untold
from packcodec.codec.record import Record
from packcodec.edge.database import reading
from packcodec.edge.tables import card, frame, from_us, layout, once, reception, stray, to_us
from packcodec.frame.codec import Codec
from packcodec.frame.times import resolve

AT_ONCE = 5000
UNTIMED_US = -1


@dataclass(slots=True)
class StationReport:
    """One station. `counts` are counters by state, and add up to `end - first`.

    `copies` are receptions beyond the first of each frame. `overdue_from` is when its silence
    becomes an alarm, None while its habit is unknown.
    """

    station: int
    first: int = 0
    end: int = 0
    counts: dict[State, int] = field(default_factory=dict)
    gaps: list[Stretch] = field(default_factory=list)
    copies: int = 0
    last_received: datetime | None = None
    next_expected: datetime | None = None
    overdue_from: datetime | None = None
    clocks: list[ClockFit] = field(default_factory=list)


def reports(engine: Engine) -> Iterator[StationReport]:
    """A report on each station that was ever heard, in order of their numbers."""
    with reading(engine) as connection:
        stations = connection.scalars(
            select(frame.c.station).distinct().order_by(frame.c.station)
        ).all()
        for station in stations:
            yield _report(connection, station)


def _report(connection: Any, station: int) -> StationReport:
    report = StationReport(station)
    own = select(frame.c.counter, frame.c.state, frame.c.restarted).where(
        frame.c.station == station
    )
    rows = connection.execute(own.order_by(frame.c.counter).execution_options(yield_per=AT_ONCE))
    found = list(stretches(Counted(row.counter, State(row.state), row.restarted) for row in rows))
    report.first, report.end = found[0].first, found[-1].end
    for stretch in found:
        report.counts[stretch.state] = report.counts.get(stretch.state, 0) + len(stretch)
        if stretch.state in (State.LOST, State.RESTART, State.UNPROTECTED):
            report.gaps.append(stretch)
    copies = connection.scalar(
        select(func.count()).select_from(reception).where(reception.c.station == station)
    )
    report.copies = copies - report.counts.get(State.HEARD, 0)
    _habits(connection, station, report)
    return report


def _habits(connection: Any, station: int, report: StationReport) -> None:
    """How it keeps time, and how often it reports."""
    clock, cadence = Clock(), Cadence()
    in_time = and_(frame.c.station == station, frame.c.state == State.HEARD)
    columns = select(frame.c.counter, frame.c.received_us, frame.c.said_us, frame.c.message)
    highest = -1
    rows = columns.where(in_time).order_by(frame.c.received_us)
    for row in connection.execute(rows.execution_options(yield_per=AT_ONCE)):
        received = from_us(row.received_us)
        report.last_received = received
        if row.counter < highest:
            continue
        highest = row.counter
        cadence.heard(row.counter, received)
        clock.heard(row.message, None if row.said_us is None else from_us(row.said_us), received)
    report.next_expected, report.overdue_from = cadence.next_expected, cadence.overdue_from
    report.clocks = clock.fits()


def untold_by_station(engine: Engine, codec: Codec) -> Iterator[tuple[int, list[Untold]]]:
    """By station, what it counted and no record tells, from the running totals of this schema.

    Nothing at all where no frame was read with it.
    """
    own = select(layout.c.number).where(layout.c.identity == codec.layout.identity)
    columns = (frame.c.station, frame.c.counter, frame.c.layout, frame.c.message, frame.c.record)
    known = select(*columns).where(frame.c.state != State.UNPROTECTED)
    rows = known.order_by(frame.c.station, frame.c.counter)
    with reading(engine) as connection:
        number = connection.scalar(own)
        if number is None:
            return
        found = connection.execute(rows.execution_options(yield_per=AT_ONCE))
        for station, theirs in groupby(found, attrgetter("station")):
            yield station, list(untold(codec.schema, (_known(row, number) for row in theirs)))


def _known(row: Any, number: int | None) -> Known:
    if row.record is None:
        return Known(row.counter)
    if row.layout != number:
        return Known(row.counter, foreign=True)
    return Known(row.counter, row.message, json.loads(row.record))


def strays(engine: Engine) -> dict[str, int]:
    """How many frames gave no record, by the reason."""
    counted = select(stray.c.why, func.count()).group_by(stray.c.why).order_by(stray.c.why)
    with reading(engine) as connection:
        return {row.why: row[1] for row in connection.execute(counted)}


def radio_records(engine: Engine, codec: Codec) -> Iterator[Record]:
    """The records that came by radio, heard or recovered, that were read with this schema."""
    wanted = (
        select(frame.c.station, frame.c.counter, frame.c.message, frame.c.record, frame.c.said_us)
        .join(layout, layout.c.number == frame.c.layout)
        .where(layout.c.identity == codec.layout.identity)
        .order_by(frame.c.station, frame.c.counter)
    )
    with reading(engine) as connection:
        for row in connection.execute(wanted.execution_options(yield_per=AT_ONCE)):
            yield _record(codec, row)


def _record(codec: Codec, row: Any) -> Record:
    """A record as it came: through the codec, so that bounds and times are what they were."""
    payload = codec.payloads[row.message]
    values = payload.unpack_values(payload.pack_values(json.loads(row.record)))
    if row.said_us is not None:
        # A time sent modulo its span was made whole when it was received.
        values = resolve(values, codec.schema.epoch, from_us(row.said_us))
    return Record(row.message, values, row.station, row.counter)


def keep_card(engine: Engine, records: Iterable[Record], log: str) -> int:
    """Keep the card's records beside the radio's; how many were not there yet."""
    places: dict[tuple[Any, ...], int] = {}
    rows = []
    for record in records:
        said = next((v for v in record.values.values() if isinstance(v, datetime)), None)
        said_us = UNTIMED_US if said is None else to_us(said)
        key = record.station, record.message, said_us
        places[key] = places.get(key, -1) + 1
        rows.append(
            {
                "station": record.station,
                "message": record.message,
                "said_us": said_us,
                "place": places[key],
                "log": log,
                "record": json.dumps(record.to_json()["values"], ensure_ascii=False),
            }
        )
    with engine.begin() as connection:
        before = connection.scalar(select(func.count()).select_from(card))
        if rows:
            connection.execute(once(engine.dialect.name, card), rows)
        after = connection.scalar(select(func.count()).select_from(card))
    return int(after or 0) - int(before or 0)
