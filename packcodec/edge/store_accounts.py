"""Accounts taken back from the store: what the frames of a window say about a station."""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, and_, exists, func, select

from packcodec.base.account import WINDOW, Account, read_frame
from packcodec.base.cover import State
from packcodec.edge.tables import frame, from_us
from packcodec.frame.codec import Codec
from packcodec.frame.missing import KEPT_FRAMES


@dataclass(frozen=True, slots=True)
class Held:
    """An account, and when the first and the last frame of its window were received."""

    account: Account
    first_us: int
    last_us: int

    def covers(self, at_us: int) -> bool:
        """Whether a frame received then has its place in this window."""
        return self.first_us <= at_us < self.last_us


class Expected(Mapping[int, int]):
    """By station, one more than the highest counter heard by the time `at_us`.

    A sealed frame opens only by its whole counter, so this must be right before the frame can be
    read: within a batch it follows what was opened, and before that it asks the store.
    """

    def __init__(self, connection: Connection) -> None:
        self.at_us = 0
        self._connection = connection
        # Of each station the highest counter opened in this batch, and when it was received.
        self._opened: dict[int, tuple[int, int]] = {}
        # What the store says, and from when until when it does: a flood of forged frames must not
        # ask for each.
        self._stored: dict[int, tuple[int | None, int, float]] = {}

    def opened(self, station: int, counter: int) -> None:
        """A frame received at `at_us` was opened, and so verified."""
        before = self._opened.get(station)
        if before is None or before[0] <= self.at_us:
            # One that came again does not take the station back.
            self._opened[station] = self.at_us, max(counter, self.get(station, 0) - 1)

    def __getitem__(self, station: int) -> int:
        opened = self._opened.get(station)
        if opened is not None and opened[0] <= self.at_us:
            return opened[1] + 1
        reached, start_us, end_us = self._stored.get(station, (None, 0, 0))
        if not start_us <= self.at_us < end_us:
            reached, start_us, end_us = self._stored[station] = self._ask(station)
        if reached is None:
            raise KeyError(station)
        return reached + 1

    def _ask(self, station: int) -> tuple[int | None, int, float]:
        """The counter reached by now, when that was received, and when the next one was."""
        own, when = frame.c.station == station, frame.c.received_us
        # The last one received may be one that came again: the highest is not far before it.
        last = (
            select(frame.c.counter, when)
            .where(own, when <= self.at_us)
            .order_by(when.desc())
            .limit(KEPT_FRAMES)
            .subquery()
        )
        reached, start_us = self._connection.execute(
            select(func.max(last.c.counter), func.max(last.c.received_us))
        ).one()
        after = self._connection.scalar(select(func.min(when)).where(own, when > self.at_us))
        start_us = self.at_us if start_us is None else start_us
        return reached, start_us, math.inf if after is None else after

    def __iter__(self) -> Iterator[int]:
        return iter(self._opened)

    def __len__(self) -> int:
        return len(self._opened)


def load_account(
    connection: Connection, codecs: Sequence[Codec], number: int, at_us: int | None = None
) -> Held:
    """The account of a station as of a time, or of now: what the frames of the window say."""
    own = and_(frame.c.station == number, frame.c.state == State.HEARD)
    when = frame.c.received_us
    newest = select(frame.c.counter).where(own).order_by(when.desc()).limit(1)
    if at_us is None:
        # Not by time: the newest counter may have been received by a base whose clock is slow.
        reached = connection.scalar(select(func.max(frame.c.counter)).where(own))
    else:
        reached = connection.scalar(newest.where(when <= at_us))
        if reached is None:
            reached = connection.scalar(select(func.min(frame.c.counter)).where(own))
    if reached is None:
        return Held(Account(number, habits=False), 0, 0)
    counter = frame.c.counter
    window = connection.execute(
        select(counter, frame.c.bytes, frame.c.message, when)
        .where(own, counter > reached - WINDOW, counter <= reached + WINDOW)
        .order_by(when, counter)
    ).all()
    older = connection.scalar(select(exists().where(own, counter <= reached - WINDOW)))
    # Its habits are told from the whole store, by who asks for them.
    account = Account(number, forgetful=bool(older), habits=False)
    for row in window:
        received = from_us(row.received_us)
        read = read_frame(
            codecs,
            row.bytes,
            received,
            station=number,
            message=row.message,
            sequence=row.counter,
            expected={number: row.counter},
        )
        account.hold(row.counter, row.bytes, received, read)
    return Held(account, window[0].received_us, window[-1].received_us)
