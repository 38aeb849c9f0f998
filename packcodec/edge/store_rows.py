"""What a batch writes: the rows that its events come to, and the statements that write them."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import orjson
from sqlalchemy import Connection, Insert, bindparam, delete
from sqlalchemy.engine import Dialect

from packcodec.base.account import RESTARTED, flags_of
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
    Why,
)
from packcodec.codec.record import Record, Values, to_json
from packcodec.edge.heard import Heard
from packcodec.edge.tables import frame, heard_first, once, reception, stray, to_us

# The cells of a row, in the order of the table's columns.
Row = tuple[Any, ...]

# A time is put right later, by more than one frame: packcodec.edge.store_times.
NOT_CORRECTED = None, None

HEARD, RECOVERED = State.HEARD.value, State.RECOVERED.value
UNSENT, UNPROTECTED = State.UNSENT.value, State.UNPROTECTED.value


# Times are in UTC; bounds and times not yet made whole are written by the book.
_FORM = orjson.OPT_UTC_Z | orjson.OPT_PASSTHROUGH_DATACLASS


def _as_json(values: Values) -> str:
    return orjson.dumps(values, to_json, _FORM).decode()


@dataclass
class Rows:
    """The rows of a batch; `layouts` numbers the schemas by their identity."""

    layouts: Mapping[bytes, int]
    heard: dict[tuple[int, int], Row] = field(default_factory=dict)
    recovered: dict[tuple[int, int], Row] = field(default_factory=dict)
    receptions: list[Row] = field(default_factory=list)
    strays: list[Row] = field(default_factory=list)
    doubtful: set[tuple[int, int]] = field(default_factory=set)

    def clear(self) -> None:
        """Empty for the next batch."""
        for each in (self.heard, self.recovered, self.receptions, self.strays, self.doubtful):
            each.clear()

    def stray(self, heard: Heard, rejected: Rejected) -> None:
        """A frame that gave no record."""
        self.strays.append(
            (
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
                rejected.station if rejected.why == Why.DAMAGED else None,
            )
        )

    def gather(self, heard: Heard, number: int, events: list[Event]) -> None:
        """What one verified frame of the station `number` came to."""
        received_us = to_us(heard.received)
        restarted = False
        for event in events:
            match event:
                case Accepted(record, counter, identity):
                    self.heard[number, counter] = (
                        *self._record_row(number, counter, record, identity, HEARD, restarted),
                        received_us,
                        heard.frame,
                        *NOT_CORRECTED,
                    )
                    self._reception(heard, number, counter, received_us)
                case Duplicate(_, counter):
                    self._reception(heard, number, counter, received_us)
                case Restart():
                    restarted = True
                case Rejected():
                    self.stray(heard, event)
                case Recovered(record, counter, identity):
                    again = RESTARTED in flags_of(record)
                    self.recovered[number, counter] = (
                        *self._record_row(number, counter, record, identity, RECOVERED, again),
                        None,
                        None,
                        *NOT_CORRECTED,
                    )
                case Unsent(_, counter, surely):
                    state = UNSENT if surely else UNPROTECTED
                    nothing = (None, None, None, state, False, None, None, None, *NOT_CORRECTED)
                    self.recovered[number, counter] = (number, counter, *nothing)
                case Contradicted(_, counters):
                    for counter in counters:
                        self.doubtful.add((number, counter))
                        self.recovered.pop((number, counter), None)

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
            self.layouts[identity],
            record.message,
            _as_json(record.values),
            state,
            restarted,
            None if said is None else to_us(said),
        )

    def _reception(self, heard: Heard, number: int, counter: int, received_us: int) -> None:
        self.receptions.append(
            (number, counter, received_us, heard.source, heard.rssi_dbm, heard.snr_db)
        )


class Writer:
    """Writes rows, so that writing them again changes nothing."""

    def __init__(self, dialect: Dialect) -> None:
        # As text, so that rows go to the driver as they are: it halves the time of a batch.
        self.frames = _text(heard_first(dialect.name), dialect)
        self.recovered = _text(once(dialect.name, frame), dialect)
        self.receptions = _text(once(dialect.name, reception), dialect)
        self.strays = _text(once(dialect.name, stray), dialect)

    def write(self, connection: Connection, rows: Rows) -> None:
        """Write the rows, and clear them."""
        if rows.doubtful:
            connection.execute(
                delete(frame).where(
                    frame.c.station == bindparam("of"),
                    frame.c.counter == bindparam("at"),
                    frame.c.state != State.HEARD,
                ),
                [{"of": number, "at": counter} for number, counter in rows.doubtful],
            )
        for statement, each in (
            (self.recovered, [*rows.recovered.values()]),
            (self.frames, [*rows.heard.values()]),
            (self.receptions, rows.receptions),
            (self.strays, rows.strays),
        ):
            if each:
                connection.exec_driver_sql(statement, each)
        rows.clear()


def _text(statement: Insert, dialect: Dialect) -> str:
    return str(statement.compile(dialect=dialect, compile_kwargs={"literal_binds": True}))
