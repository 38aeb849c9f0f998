"""Times put right: what stations said, by the fits of their clocks, kept beside what they said.

A clock is known by many frames and not by one, and all workers of a store must agree. So a time is
put right when a receiver has done, and again whenever more was heard (`refit`), by everything that
the store has of its station; that changes the corrected times and nothing else.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any

from sqlalchemy import Connection, Engine, and_, bindparam, exists, func, select, update

from packcodec.base.account import CLOCK_UNSET
from packcodec.base.clock import SUMMARY, Clock, ClockError, clock_error, time_steps
from packcodec.edge.tables import frame, from_us, station, to_us
from packcodec.frame.codec import Codec
from packcodec.frame.sequence import COUNTERS

AT_ONCE = 5000
LAST = datetime.max.replace(tzinfo=UTC)
Cells = tuple[int | None, int | None]
NOTHING: Cells = None, None


class Times:
    """What is known of the times of each schema; `layouts` numbers them by their identity."""

    def __init__(self, codecs: Iterable[Codec], layouts: Mapping[bytes, int]) -> None:
        self._steps: dict[tuple[int, str], float] = {}
        self.interval_s: dict[int, int] = {}
        for codec in codecs:
            number = layouts[codec.layout.identity]
            self.interval_s[number] = codec.schema.policy.interval_s
            for message, step_s in time_steps(codec.schema).items():
                self._steps[number, message] = step_s

    def step_s(self, layout: int | None, message: str | None) -> float | None:
        """The step of a message's time; None where it has none, or its schema is not at hand."""
        return None if layout is None or message is None else self._steps.get((layout, message))

    def fitted(self, clock: Clock, layout: int, spacing_s: float | None) -> "Fitted":
        """A clock's errors, with the intervals of that schema.

        The policy may have been another when the summaries were made: where their spacing does
        not agree with it, they tell nothing of the clock.
        """
        interval_s = self.interval_s[layout]
        return Fitted(clock, interval_s if interval_s == spacing_s else None)


class Fitted:
    """The errors of one station's clock, from each time that it was set to the next."""

    def __init__(self, clock: Clock, interval_s: float | None) -> None:
        turns = clock.turns()
        self._turns_us = [to_us(turn) for turn in turns]
        errors = [clock_error(clock.fits(turn), interval_s) for turn in (*turns, None)]
        self._errors: list[tuple[int, ClockError] | None] = [
            None if error is None else (to_us(error.at), error) for error in errors
        ]

    def corrects(self, said_us: int) -> bool:
        """Whether any of the errors would put that time right."""
        return any(
            error is not None and error[1].correction_s((said_us - error[0]) / 1e6) is not None
            for error in self._errors
        )

    def cells(self, said_us: int, sent_by_us: int, step_s: float) -> Cells:
        """A time put right and its uncertainty, in microseconds; nothing where it is right.

        `sent_by_us` is by when its frame had been sent.
        """
        found = self._errors[bisect_left(self._turns_us, sent_by_us)]
        if found is None:
            return NOTHING
        at_us, error = found
        behind_s = error.correction_s((said_us - at_us) / 1e6)
        if behind_s is None:
            return NOTHING
        uncertain_us = round((error.uncertainty_s + step_s) * 1e6)
        return said_us + round(behind_s * 1e6), uncertain_us


def refit(engine: Engine, times: Times, numbers: Iterable[int] | None = None) -> Iterator[int]:
    """Put stations' times right by all that was heard of each; how many changed, by station.

    Every station, where `numbers` does not say which. Uses constant memory.
    """
    if numbers is None:
        with engine.connect() as connection:
            numbers = connection.scalars(
                select(station.c.station).order_by(station.c.station)
            ).all()
    for number in numbers:
        with engine.begin() as connection:
            yield _refit_one(connection, times, number)


def _refit_one(connection: Connection, times: Times, number: int) -> int:
    # Who writes holds the station's row, as in `Store.ingest`.
    connection.execute(
        select(station.c.version).where(station.c.station == number).with_for_update()
    )
    clock, spacing_s = _clock_of(connection, number)
    fitted = {layout: times.fitted(clock, layout, spacing_s) for layout in times.interval_s}
    if not _anything_to_do(connection, number, fitted.values()):
        return 0
    total, before = 0, COUNTERS
    sent_by_us = to_us(LAST)
    while rows := _page(connection, number, before):
        changed: list[dict[str, Any]] = []
        for row in rows:
            # One that came late, or was won back, was sent before what was heard of later ones.
            sent_by_us = min(sent_by_us, row.received_us or sent_by_us)
            step_s = times.step_s(row.layout, row.message)
            if row.said_us is None or step_s is None:
                continue
            cells = fitted[row.layout].cells(row.said_us, sent_by_us, step_s)
            if cells != (row.corrected_us, row.uncertain_us):
                changed.append({"at": row.counter, "right": cells[0], "within": cells[1]})
        if changed:
            statement = _CORRECT.where(frame.c.station == number)
            connection.execute(statement, changed)
        total, before = total + len(changed), rows[-1].counter
    return total


_CORRECT = (
    update(frame)
    .where(frame.c.counter == bindparam("at"))
    .values(corrected_us=bindparam("right"), uncertain_us=bindparam("within"))
)
_TIMED = select(
    frame.c.counter,
    frame.c.layout,
    frame.c.message,
    frame.c.said_us,
    frame.c.received_us,
    frame.c.corrected_us,
    frame.c.uncertain_us,
)


def _page(connection: Connection, number: int, before: int) -> Sequence[Any]:
    """Frames below a counter, the highest first."""
    own = _TIMED.where(frame.c.station == number, frame.c.counter < before)
    return connection.execute(own.order_by(frame.c.counter.desc()).limit(AT_ONCE)).all()


def _anything_to_do(connection: Connection, number: int, fitted: Iterable[Fitted]) -> bool:
    """Whether a time is to be put right, or one that was should not have been."""
    own = frame.c.station == number
    if connection.scalar(select(exists().where(own, frame.c.corrected_us.is_not(None)))):
        return True
    # A clock's error is a line, and where it is in order at both ends it is in between.
    ends = connection.execute(
        select(func.min(frame.c.said_us), func.max(frame.c.said_us)).where(own)
    )
    said = [each for each in ends.one() if each is not None]
    return any(each.corrects(said_us) for each in fitted for said_us in said)


def _clock_of(connection: Connection, number: int) -> tuple[Clock, float | None]:
    """The clock as every frame that was heard tells of it, in the order of reception.

    And how many seconds the starts of summaries are apart at the least; None before the second.
    """
    clock, highest = Clock(), -1
    own = and_(frame.c.station == number, frame.c.said_us.is_not(None))
    start_us = spacing_us = 0
    heard = (
        select(
            frame.c.counter,
            frame.c.message,
            frame.c.said_us,
            frame.c.received_us,
            frame.c.record.contains(f'"{CLOCK_UNSET}"').label("unset"),
        )
        .where(own, frame.c.received_us.is_not(None))
        .order_by(frame.c.received_us)
    )
    rows = connection.execute(heard.execution_options(yield_per=AT_ONCE))
    for counter, message, said_us, received_us, unset in rows:
        if counter > highest and not unset:
            clock.heard(message, from_us(said_us), from_us(received_us))
            if message == SUMMARY:
                apart_us = abs(said_us - start_us) if start_us else 0
                spacing_us = min(spacing_us or apart_us, apart_us or spacing_us)
                start_us = said_us
        highest = max(highest, counter)
    return clock, spacing_us / 1e6 if spacing_us else None
