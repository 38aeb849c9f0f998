"""Failures to verify, as the store counts them: by the station that a frame names, and by day."""

from datetime import UTC, date, datetime, time

from sqlalchemy import BigInteger, Connection, Engine, func, literal_column, select

from packcodec.base.events import Event, Forgeries, Rejected
from packcodec.base.failures import MOST_KEPT_A_DAY, alarm, day_of
from packcodec.edge.database import reading
from packcodec.edge.tables import from_us, stray, to_us

DAY_US = 86_400_000_000


class BatchFailures:
    """The failures of one batch: which are still kept, and which days come to an alarm."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._before: dict[tuple[int, date], int] = {}
        self._kept: dict[tuple[int, date], int] = {}
        self._last: dict[tuple[int, date], list[Event]] = {}

    def keeps(self, rejected: Rejected, received: datetime, events: list[Event]) -> bool:
        """Whether a frame that gave no record is kept; `events` are those of that frame."""
        if rejected.station is None:
            return True
        at = rejected.station, day_of(received)
        if at not in self._before:
            self._before[at] = self._kept[at] = _count(self._connection, *at)
        self._last[at] = events
        self._kept[at] += 1
        return self._kept[at] <= MOST_KEPT_A_DAY

    def add_alarms(self) -> None:
        """Once the batch is written: add an alarm to the events of the frame that led to it."""
        for (station, day), before in self._before.items():
            found = alarm(station, day, before, _count(self._connection, station, day))
            if found is not None:
                self._last[station, day].append(found)


def failures(engine: Engine) -> list[Forgeries]:
    """Station by station and day by day, how many frames name it and do not verify: alarms, and
    what is none yet. A count of MOST_KEPT_A_DAY means so many or more."""
    # As a literal: PostgreSQL does not see that two parameters are equal.
    day = (stray.c.received_us // literal_column(str(DAY_US), BigInteger)).label("day")
    by_day = (
        select(stray.c.claimed, day, func.count())
        .where(stray.c.claimed.is_not(None))
        .group_by(stray.c.claimed, day)
        .order_by(stray.c.claimed, day)
    )
    with reading(engine) as connection:
        return [
            Forgeries(row.claimed, from_us(row.day * DAY_US).date(), row[2])
            for row in connection.execute(by_day)
        ]


def _count(connection: Connection, station: int, day: date) -> int:
    start_us = to_us(datetime.combine(day, time(), UTC))
    own = select(func.count()).where(
        stray.c.claimed == station,
        stray.c.received_us >= start_us,
        stray.c.received_us < start_us + DAY_US,
    )
    return connection.scalar(own) or 0
