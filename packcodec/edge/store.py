"""The store: every frame kept, every record once, whoever heard it and however often.

Between batches the store is the only memory. An account (packcodec.base.account) is kept in this
process only as long as the version of its station says that nobody else has written; so any
number of workers may share one store, and a worker that is killed takes nothing with it.

A batch is one transaction. Whoever acknowledges frames does so after `ingest` has returned.
"""

import json
from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Self

from sqlalchemy import (
    Connection,
    Engine,
    Insert,
    and_,
    bindparam,
    delete,
    exists,
    func,
    select,
    tuple_,
    update,
)
from sqlalchemy.exc import SQLAlchemyError

from packcodec.base.account import RESTARTED, WINDOW, Account, flags_of, read_frame
from packcodec.base.clock import said_time
from packcodec.base.cover import State
from packcodec.base.events import (
    Accepted,
    Contradicted,
    Duplicate,
    Event,
    Recovered,
    Rejected,
    Restart,
    Unsent,
)
from packcodec.codec.record import Record, to_json
from packcodec.edge.database import not_kept, open_database
from packcodec.edge.heard import Heard
from packcodec.edge.tables import frame as frame_table
from packcodec.edge.tables import (
    from_us,
    heard_first,
    layout,
    once,
    reception,
    station,
    stray,
    to_us,
)
from packcodec.frame.codec import NONE_HEARD, Codec, Opened

# How many stations' accounts are kept in memory; the others are read again when they are heard.
ACCOUNTS = 512
# Frames in one transaction, where nobody waits for each.
BATCH = 5000

# The cells of a row, in the order of the table's columns.
Row = tuple[Any, ...]

HEARD, RECOVERED, UNSENT = State.HEARD.value, State.RECOVERED.value, State.UNSENT.value


def _plain(value: object) -> object:
    """What JSON has no form for: times in UTC at once, the rare rest by the book."""
    if type(value) is datetime and value.tzinfo is UTC:
        return value.isoformat()[:-6] + "Z"
    return to_json(value)


_as_json = json.JSONEncoder(ensure_ascii=False, default=_plain).encode


@dataclass
class _Rows:
    """What a batch will write."""

    heard: dict[tuple[int, int], Row] = field(default_factory=dict)
    recovered: dict[tuple[int, int], Row] = field(default_factory=dict)
    receptions: list[Row] = field(default_factory=list)
    strays: list[Row] = field(default_factory=list)
    doubtful: set[tuple[int, int]] = field(default_factory=set)


class Store:
    """One store, read with the schemas of `codecs`."""

    def __init__(self, engine: Engine, codecs: Iterable[Codec]) -> None:
        self.engine = engine
        self.codecs = tuple(codecs)
        dialect = engine.dialect.name
        # As text, so that rows go to the driver as they are: it halves the time of a batch.
        self._write_frames = self._text(heard_first(dialect))
        self._write_recovered = self._text(once(dialect, frame_table))
        self._write_receptions = self._text(once(dialect, reception))
        self._write_strays = self._text(once(dialect, stray))
        self._write_stations = self._text(once(dialect, station))
        self._accounts: OrderedDict[int, tuple[int, Account]] = OrderedDict()
        self._layouts = self._number_layouts()

    @classmethod
    def open(cls, where: str, codecs: Iterable[Codec]) -> Self:
        """The store in a file or at a PostgreSQL URL, made where there is none.

        Raises StoreError.
        """
        return cls(open_database(where), codecs)

    def close(self) -> None:
        self.engine.dispose()

    def ingest(self, batch: Sequence[Heard]) -> list[list[Event]]:
        """Take in frames and say what each one means, when all of it is written to the disk.

        Raises StoreError where it cannot be written; then nothing of the batch was.
        """
        expected = self._expected()
        read = [
            read_frame(
                self.codecs,
                heard.frame,
                heard.received,
                station=heard.station,
                message=heard.message,
                sequence=heard.sequence,
                expected=expected,
            )
            for heard in batch
        ]
        stations = sorted({_station(each) for each in read if not isinstance(each, Rejected)})
        try:
            with self.engine.begin() as connection:
                versions = self._lock(connection, stations)
                events, rows = self._account(connection, versions, batch, read)
                self._write(connection, rows)
        except BaseException as error:
            # What the accounts learned was not kept.
            for number in stations:
                self._accounts.pop(number, None)
            if isinstance(error, SQLAlchemyError):
                raise not_kept(self.engine, error) from error
            raise
        for number in stations:
            if number in self._accounts:
                self._accounts[number] = versions[number] + 1, self._accounts[number][1]
        while len(self._accounts) > ACCOUNTS:
            self._accounts.popitem(last=False)
        return events

    def redecode(self) -> Iterator[list[Event]]:
        """Read again what gave no record, for a schema that was found since; a batch at a time.

        What reads now leaves the strays; the rest stays.
        """
        key = (stray.c.received_us, stray.c.source, stray.c.bytes)
        after: tuple[Any, ...] = (-1, "", b"")
        of_this = and_(*(column == bindparam(f"the_{column.name}") for column in key))
        while True:
            batch = select(stray).where(tuple_(*key) > after).order_by(*key).limit(BATCH)
            with self.engine.begin() as connection:
                rows = connection.execute(batch).all()
            if not rows:
                return
            after = rows[-1].received_us, rows[-1].source, rows[-1].bytes
            events = self.ingest([_heard_again(row) for row in rows])
            read = [
                {f"the_{column.name}": getattr(row, column.name) for column in key}
                for row, each in zip(rows, events, strict=True)
                if not isinstance(each[0], Rejected)
            ]
            if read:
                with self.engine.begin() as connection:
                    connection.execute(delete(stray).where(of_this), read)
            yield from events

    def _text(self, statement: Insert) -> str:
        literal = {"literal_binds": True}
        return str(statement.compile(dialect=self.engine.dialect, compile_kwargs=literal))

    def _expected(self) -> Mapping[int, int]:
        """By station the counter that comes next, which sealed frames open by."""
        if not any(codec.layout.check.sealed for codec in self.codecs):
            return NONE_HEARD
        highest = select(frame_table.c.station, func.max(frame_table.c.counter) + 1)
        heard = highest.where(frame_table.c.state == State.HEARD).group_by(frame_table.c.station)
        with self.engine.begin() as connection:
            return {row[0]: row[1] for row in connection.execute(heard)}

    def _number_layouts(self) -> dict[bytes, int]:
        rows = [
            {
                "identity": codec.layout.identity,
                "name": codec.schema.name,
                "version": codec.schema.version,
            }
            for codec in self.codecs
        ]
        with self.engine.begin() as connection:
            for row in rows:
                connection.execute(once(self.engine.dialect.name, layout), row)
            known = connection.execute(select(layout.c.identity, layout.c.number)).all()
        return {bytes(identity): number for identity, number in known}

    def _lock(self, connection: Connection, stations: Sequence[int]) -> dict[int, int]:
        """Lock the rows of these stations, always in the same order; give their versions."""
        if not stations:
            return {}
        connection.exec_driver_sql(self._write_stations, [(number, 0) for number in stations])
        rows = connection.execute(
            select(station.c.station, station.c.version)
            .where(station.c.station.in_(stations))
            .order_by(station.c.station)
            .with_for_update()
        ).all()
        connection.execute(
            update(station)
            .where(station.c.station.in_(stations))
            .values(version=station.c.version + 1)
        )
        return {row.station: row.version for row in rows}

    def _account(
        self,
        connection: Connection,
        versions: dict[int, int],
        batch: Sequence[Heard],
        read: Sequence[tuple[Codec, Opened] | Rejected],
    ) -> tuple[list[list[Event]], _Rows]:
        rows = _Rows()
        all_events: list[list[Event]] = []
        past: dict[int, _Past] = {}
        for heard, each in zip(batch, read, strict=True):
            if isinstance(each, Rejected):
                rows.strays.append(_stray_row(heard, each))
                all_events.append([each])
                continue
            codec, opened = each
            number = _station(each)
            account = self._account_at(connection, number, versions[number], heard, past, rows)
            events = account.take(codec, opened, heard.frame, heard.received)
            self._gather(rows, heard, number, events)
            all_events.append(events)
        for number in past:
            # The account at the present may be of the same counters, and know them no longer.
            self._accounts.pop(number, None)
        return all_events, rows

    def _account_at(
        self,
        connection: Connection,
        number: int,
        version: int,
        heard: Heard,
        past: "dict[int, _Past]",
        rows: _Rows,
    ) -> Account:
        """The account in which a frame of this time has its place."""
        known = self._accounts.get(number)
        if known is None or known[0] != version:
            known = version, self._load(connection, number, None).account
            self._accounts[number] = known
        self._accounts.move_to_end(number)
        if known[1].reaches(heard.received):
            return known[1]
        earlier = past.get(number)
        if earlier is None or not earlier.covers(to_us(heard.received)):
            self._write_out(connection, rows)
            earlier = past[number] = self._load(connection, number, to_us(heard.received))
        return earlier.account

    def _load(self, connection: Connection, number: int, at_us: int | None) -> "_Past":
        """The account of a station as of a time, or of now: what the frames of the window say."""
        own = and_(frame_table.c.station == number, frame_table.c.state == State.HEARD)
        when = frame_table.c.received_us
        newest = select(frame_table.c.counter).where(own).order_by(when.desc()).limit(1)
        if at_us is None:
            # Not by time: the newest counter may have been received by a base whose clock is slow.
            reached = connection.scalar(select(func.max(frame_table.c.counter)).where(own))
        else:
            reached = connection.scalar(newest.where(when <= at_us))
            if reached is None:
                reached = connection.scalar(select(func.min(frame_table.c.counter)).where(own))
        if reached is None:
            return _Past(Account(number), 0, 0)
        counter = frame_table.c.counter
        window = connection.execute(
            select(counter, frame_table.c.bytes, when)
            .where(own, counter > reached - WINDOW, counter <= reached + WINDOW)
            .order_by(when, counter)
        ).all()
        older = connection.scalar(select(exists().where(own, counter <= reached - WINDOW)))
        account = Account(number, forgetful=bool(older))
        for row in window:
            received = from_us(row.received_us)
            read = read_frame(
                self.codecs,
                row.bytes,
                received,
                station=number,
                sequence=row.counter,
                expected={number: row.counter},
            )
            account.hold(row.counter, row.bytes, received, read)
        return _Past(account, window[0].received_us, window[-1].received_us)

    def _gather(self, rows: _Rows, heard: Heard, number: int, events: list[Event]) -> None:
        """The rows that the events of one frame come to."""
        received_us = to_us(heard.received)
        restarted = False
        for event in events:
            match event:
                case Restart():
                    restarted = True
                case Accepted(record, counter, identity):
                    rows.heard[number, counter] = (
                        *self._record_row(number, counter, record, identity, HEARD, restarted),
                        received_us,
                        heard.frame,
                    )
                    rows.receptions.append(_reception_row(heard, number, counter, received_us))
                case Duplicate(_, counter):
                    rows.receptions.append(_reception_row(heard, number, counter, received_us))
                case Rejected():
                    rows.strays.append(_stray_row(heard, event))
                case Recovered(record, counter, identity):
                    again = RESTARTED in flags_of(record)
                    rows.recovered[number, counter] = (
                        *self._record_row(number, counter, record, identity, RECOVERED, again),
                        None,
                        None,
                    )
                case Unsent(_, counter):
                    nothing = (None, None, None, UNSENT, False, None, None, None)
                    rows.recovered[number, counter] = (number, counter, *nothing)
                case Contradicted(_, counters):
                    for counter in counters:
                        rows.doubtful.add((number, counter))
                        rows.recovered.pop((number, counter), None)

    def _record_row(
        self,
        number: int,
        counter: int,
        record: Record,
        identity: bytes,
        state: str,
        restarted: bool,
    ) -> Row:
        said = said_time(record)
        return (
            number,
            counter,
            self._layouts[identity],
            record.message,
            _as_json(record.values),
            state,
            restarted,
            None if said is None else to_us(said),
        )

    def _write_out(self, connection: Connection, rows: _Rows) -> None:
        """Write what has gathered so far, because an account is about to be read."""
        self._write(connection, rows)
        for each in (rows.heard, rows.recovered, rows.receptions, rows.strays, rows.doubtful):
            each.clear()

    def _write(self, connection: Connection, rows: _Rows) -> None:
        if rows.doubtful:
            connection.execute(
                delete(frame_table).where(
                    frame_table.c.station == bindparam("of"),
                    frame_table.c.counter == bindparam("at"),
                    frame_table.c.state != State.HEARD,
                ),
                [{"of": number, "at": counter} for number, counter in rows.doubtful],
            )
        for statement, each in (
            (self._write_recovered, [*rows.recovered.values()]),
            (self._write_frames, [*rows.heard.values()]),
            (self._write_receptions, rows.receptions),
            (self._write_strays, rows.strays),
        ):
            if each:
                connection.exec_driver_sql(statement, each)


@dataclass
class _Past:
    """An account as of an earlier time, good for frames received between its first and last."""

    account: Account
    first_us: int
    last_us: int

    def covers(self, at_us: int) -> bool:
        return self.first_us <= at_us < self.last_us


def _heard_again(row: Any) -> Heard:
    return Heard(
        row.bytes,
        from_us(row.received_us),
        row.source,
        row.rssi_dbm,
        row.snr_db,
        row.station,
        row.message,
        row.sequence,
    )


def _station(read: tuple[Codec, Opened]) -> int:
    number = read[1].record.station
    assert number is not None
    return number


def _reception_row(heard: Heard, number: int, counter: int, received_us: int) -> Row:
    return number, counter, received_us, heard.source, heard.rssi_dbm, heard.snr_db


def _stray_row(heard: Heard, rejected: Rejected) -> Row:
    return (
        to_us(heard.received),
        heard.source,
        heard.frame,
        rejected.why.value,
        rejected.detail,
        heard.rssi_dbm,
        heard.snr_db,
        heard.station,
        heard.message,
        heard.sequence,
    )
