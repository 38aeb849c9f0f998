"""The store: every frame kept, every record once, whoever heard it and however often.

Between batches the store is the only memory. An account (packcodec.base.account) is kept in this
process only as long as the version of its station says that nobody else has written; so any
number of workers may share one store, and a worker that is killed takes nothing with it.

A batch is one transaction. Whoever acknowledges frames does so after `ingest` has returned.
"""

from collections import OrderedDict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any, Self

from sqlalchemy import (
    Connection,
    Engine,
    and_,
    bindparam,
    delete,
    select,
    tuple_,
    update,
)
from sqlalchemy.exc import SQLAlchemyError

from packcodec.base.account import Account, read_frame
from packcodec.base.events import Event, Rejected
from packcodec.edge.database import not_kept, open_database, reading
from packcodec.edge.heard import Heard
from packcodec.edge.store_accounts import Expected, Held, load_account
from packcodec.edge.store_failures import BatchFailures
from packcodec.edge.store_rows import Rows, Writer
from packcodec.edge.store_times import Times, refit
from packcodec.edge.tables import from_us, layout, once, station, stray, to_us
from packcodec.frame.codec import NONE_HEARD, Codec, Opened

# How many stations' accounts are kept in memory; the others are read again when they are heard.
ACCOUNTS = 512
# Frames in one transaction, where nobody waits for each.
BATCH = 5000


class Store:
    """One store, read with the schemas of `codecs`."""

    def __init__(self, engine: Engine, codecs: Iterable[Codec]) -> None:
        self.engine = engine
        self.codecs = tuple(codecs)
        self._sealed = any(codec.layout.check.sealed for codec in self.codecs)
        self._writer = Writer(engine.dialect)
        self._accounts: OrderedDict[int, tuple[int, Account]] = OrderedDict()
        self._layouts = self._number_layouts()
        self._times = Times(self.codecs, self._layouts)
        self._heard: set[int] = set()

    @classmethod
    def open(cls, where: str, codecs: Iterable[Codec], *, create: bool = True) -> Self:
        """The store in a file or at a PostgreSQL URL, made where there is none if `create`.

        Raises StoreError.
        """
        return cls(open_database(where, create=create), codecs)

    def close(self) -> None:
        """Give the connections back; the store stays as it is."""
        self.engine.dispose()

    def ingest(self, batch: Sequence[Heard]) -> list[list[Event]]:
        """Take in frames and say what each one means, when all of it is written to the disk.

        Raises StoreError where it cannot be written; then nothing of the batch was.
        """
        read = self._read(batch)
        stations = sorted({_station(each) for each in read if not isinstance(each, Rejected)})
        try:
            with self.engine.begin() as connection:
                versions = self._lock(connection, stations)
                failures = BatchFailures(connection)
                events, rows = self._account(connection, versions, batch, read, failures)
                self._writer.write(connection, rows)
                failures.add_alarms()
        except BaseException as error:
            # What the accounts learned was not kept.
            for number in stations:
                self._accounts.pop(number, None)
            if isinstance(error, SQLAlchemyError):
                raise not_kept(self.engine, error) from error
            raise
        self._heard.update(stations)
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

    def refit(self, *, everything: bool = False) -> int:
        """Put times right by all that was heard of the stations' clocks; how many changed.

        Those of the stations heard since the last refit, or all. Raises StoreError.
        """
        numbers = None if everything else sorted(self._heard)
        try:
            changed = sum(refit(self.engine, self._times, numbers))
        except SQLAlchemyError as error:
            raise not_kept(self.engine, error) from error
        self._heard.clear()
        return changed

    def _read(self, batch: Sequence[Heard]) -> list[tuple[Codec, Opened] | Rejected]:
        if not self._sealed:
            return [self._read_one(heard, NONE_HEARD) for heard in batch]
        read = []
        with reading(self.engine) as connection:
            expected = Expected(connection)
            for heard in batch:
                expected.at_us = to_us(heard.received)
                each = self._read_one(heard, expected)
                if not isinstance(each, Rejected) and each[1].counter is not None:
                    expected.opened(_station(each), each[1].counter)
                read.append(each)
        return read

    def _read_one(
        self, heard: Heard, expected: Mapping[int, int]
    ) -> tuple[Codec, Opened] | Rejected:
        return read_frame(
            self.codecs,
            heard.frame,
            heard.received,
            station=heard.station,
            message=heard.message,
            sequence=heard.sequence,
            expected=expected,
        )

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
        connection.execute(
            once(self.engine.dialect.name, station),
            [{"station": number, "version": 0} for number in stations],
        )
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
        failures: BatchFailures,
    ) -> tuple[list[list[Event]], Rows]:
        rows = Rows(self._layouts)
        all_events: list[list[Event]] = []
        past: dict[int, Held] = {}
        for heard, each in zip(batch, read, strict=True):
            if isinstance(each, Rejected):
                all_events.append([each])
                if failures.keeps(each, heard.received, all_events[-1]):
                    rows.stray(heard, each)
                continue
            codec, opened = each
            number = _station(each)
            account = self._account_at(connection, number, versions[number], heard, past, rows)
            events = account.take(codec, opened, heard.frame, heard.received)
            rows.gather(heard, number, events)
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
        past: dict[int, Held],
        rows: Rows,
    ) -> Account:
        """The account in which a frame of this time has its place."""
        known = self._accounts.get(number)
        if known is None or known[0] != version:
            known = version, load_account(connection, self.codecs, number).account
            self._accounts[number] = known
        self._accounts.move_to_end(number)
        if known[1].reaches(heard.received):
            return known[1]
        earlier = past.get(number)
        if earlier is None or not earlier.covers(to_us(heard.received)):
            self._writer.write(connection, rows)
            at_us = to_us(heard.received)
            earlier = past[number] = load_account(connection, self.codecs, number, at_us)
        return earlier.account


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
