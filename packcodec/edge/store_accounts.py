"""Accounts taken back from the store: what the frames of a window say about a station."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import Connection, and_, exists, func, select

from packcodec.base.account import WINDOW, Account, read_frame
from packcodec.base.cover import State
from packcodec.edge.tables import frame, from_us
from packcodec.frame.codec import Codec


@dataclass(frozen=True, slots=True)
class Held:
    """An account, and when the first and the last frame of its window were received."""

    account: Account
    first_us: int
    last_us: int

    def covers(self, at_us: int) -> bool:
        """Whether a frame received then has its place in this window."""
        return self.first_us <= at_us < self.last_us


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
        return Held(Account(number), 0, 0)
    counter = frame.c.counter
    window = connection.execute(
        select(counter, frame.c.bytes, frame.c.message, when)
        .where(own, counter > reached - WINDOW, counter <= reached + WINDOW)
        .order_by(when, counter)
    ).all()
    older = connection.scalar(select(exists().where(own, counter <= reached - WINDOW)))
    account = Account(number, forgetful=bool(older))
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
