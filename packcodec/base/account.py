"""The account of what was heard: which counters a station's frames have, and which are missing.

`Base` takes frames as they come, damaged, twice, late or from another year's schema, and answers
each with events. It raises nothing because of what it hears. Frames are placed by the time at
which they were received, so that a capture that arrives weeks later falls where it belongs and
a replayed one where it does not: the window of RFC 4303 (section 3.4.3) lies around the counter
that the station had reached when the frame was received.

Memory is bounded: a station's account holds the last `WINDOW` counters. What is older lives in the
store, from which `Account.hold` takes it back.
"""

from bisect import bisect_right
from collections.abc import Iterable, Mapping
from datetime import datetime
from itertools import pairwise

from packcodec.base.ask import never_used
from packcodec.base.cadence import Cadence
from packcodec.base.clock import Clock, said_time
from packcodec.base.events import (
    Accepted,
    Contradicted,
    Duplicate,
    Event,
    Gap,
    Missing,
    Recovered,
    Rejected,
    Restart,
    Unsent,
    Why,
)
from packcodec.base.failures import Failures
from packcodec.codec.record import Record
from packcodec.errors import CarrierError, DecodeError, Reason
from packcodec.frame.codec import NONE_HEARD, Codec, Opened
from packcodec.frame.fill import BATCHES
from packcodec.frame.repair import Contradiction, Solver
from packcodec.frame.sequence import COUNTER_BITS, infer_counter

WINDOW = 1024
RESTARTED = "restarted"
CLOCK_UNSET = "clock_unset"


def read_frame(
    codecs: Iterable[Codec],
    frame: bytes,
    received: datetime,
    *,
    station: int | None = None,
    message: str | None = None,
    sequence: int | None = None,
    expected: Mapping[int, int] = NONE_HEARD,
) -> tuple[Codec, Opened] | Rejected:
    """A frame by the schema it verifies with; else why the one that got furthest refuses it.

    `station`, `message` and `sequence` are what the carrier says; `expected` as in `Codec.decode`.
    """
    furthest = Rejected(Why.UNKNOWN_SCHEMA, "the tag is that of no schema given")
    for codec in codecs:
        try:
            return codec, codec.open(
                frame,
                received=received,
                station=station,
                message=message,
                sequence=sequence,
                expected=expected,
            )
        except DecodeError as error:
            if error.reason == Reason.FAILED_CHECK:
                named = codec.claimed(frame, station=station, message=message, sequence=sequence)
                named = furthest.station if named is None else named
                furthest = Rejected(Why.DAMAGED, str(error), named)
            elif error.reason != Reason.UNKNOWN_TAG and furthest.why != Why.DAMAGED:
                furthest = Rejected(Why.UNREADABLE, str(error))
        except CarrierError as error:
            if furthest.why != Why.DAMAGED:
                furthest = Rejected(Why.UNREADABLE, str(error))
    return furthest


class Base:
    """Everything one base knows: the schemas it reads, and an account for each station."""

    def __init__(self, codecs: Iterable[Codec]) -> None:
        self.codecs = tuple(codecs)
        self.stations: dict[int, Account] = {}
        self._sealed = any(codec.layout.check.sealed for codec in self.codecs)
        self._failures = Failures()

    def heard(
        self,
        frame: bytes,
        received: datetime,
        *,
        station: int | None = None,
        message: str | None = None,
        sequence: int | None = None,
    ) -> list[Event]:
        """What one frame means.

        Raises CarrierError if `received` has no offset from UTC, never because of the frame.
        """
        if received.utcoffset() is None:
            raise CarrierError(
                f"{received} has no offset from UTC", place="received", remedy="give it one"
            )
        read = read_frame(
            self.codecs,
            frame,
            received,
            station=station,
            message=message,
            sequence=sequence,
            expected=self._expected(received) if self._sealed else NONE_HEARD,
        )
        if isinstance(read, Rejected):
            alarm = self._failures.failed(read.station, received)
            return [read] if alarm is None else [read, alarm]
        codec, opened = read
        number = opened.record.station
        assert number is not None
        account = self.stations.get(number)
        if account is None:
            account = self.stations[number] = Account(number)
        return account.take(codec, opened, frame, received)

    def _expected(self, received: datetime) -> dict[int, int]:
        return {number: each.expected(received) for number, each in self.stations.items()}


class Account:
    """One station. `first` and `highest` are the counters heard so far, None before the first."""

    def __init__(self, station: int, *, forgetful: bool = False, habits: bool = True) -> None:
        """`habits`: follow its clock and how often it reports, which takes time for every frame."""
        self.station = station
        self.first: int | None = None
        self.highest: int | None = None
        self.clock = Clock()
        self.cadence = Cadence()
        self._frames: dict[int, int] = {}
        self._recovered: set[int] = set()
        # When each new highest counter was heard; both rise, and what came late is in neither.
        self._times: list[datetime] = []
        self._counters: list[int] = []
        # Whether counters were heard that this account does not hold.
        self._forgetful = forgetful
        self._habits = habits
        self._solver: tuple[Codec, Solver] | None = None

    @property
    def last_received(self) -> datetime | None:
        """When the highest counter was received."""
        return self._times[-1] if self._times else None

    def expected(self, received: datetime) -> int:
        """One more than the highest counter heard by then, 0 before the first."""
        reached = self._reached(received)
        return 0 if reached is None else reached + 1

    def reaches(self, received: datetime) -> bool:
        """Whether a frame received then can be placed; if not, only the store remembers enough."""
        return not self._forgetful or received >= self._times[0]

    def take(self, codec: Codec, opened: Opened, frame: bytes, received: datetime) -> list[Event]:
        """The events of a verified frame of this station."""
        counter = self._place(codec, opened, frame, received)
        if isinstance(counter, Rejected):
            return [counter]
        if self._frames.get(counter) == hash(frame):
            return [Duplicate(self.station, counter)]
        events: list[Event] = []
        flags = flags_of(opened.record)
        restarted = RESTARTED in flags
        late = self.highest is not None and counter < self.highest
        if self.highest is not None and counter > self.highest + 1:
            reason = Missing.RESTART if restarted else Missing.LOST
            events.append(Gap(self.station, self.highest + 1, counter, reason))
        if restarted:
            events.append(Restart(self.station, counter))
        record = self._in_its_place(codec, opened, frame, counter) if late else opened.record
        events.append(Accepted(record, counter, codec.layout.identity, late))
        self._note(counter, frame, received, None if CLOCK_UNSET in flags else record)
        self._recovered.discard(counter)
        if opened.source:
            events += self._solve(codec, opened, counter)
        return events

    def hold(
        self,
        counter: int,
        frame: bytes,
        received: datetime,
        read: tuple[Codec, Opened] | Rejected,
    ) -> None:
        """Take back a frame that was accepted before, in order of reception.

        `read` is a Rejected where its schema is no longer at hand.
        """
        record = None if isinstance(read, Rejected) else read[1].record
        timed = None if record is None or CLOCK_UNSET in flags_of(record) else record
        self._note(counter, frame, received, timed)
        if not isinstance(read, Rejected) and read[1].source:
            self._solve(*read, counter)

    def missing(self) -> list[tuple[int, int]]:
        """Counters not heard and not recovered within the window, as half-open ranges in order."""
        if self.highest is None:
            return []
        known = sorted({*self._frames, *self._recovered})
        return [(before + 1, after) for before, after in pairwise(known) if after > before + 1]

    def _place(
        self, codec: Codec, opened: Opened, frame: bytes, received: datetime
    ) -> int | Rejected:
        """The whole counter of a frame, or why it has none that can be trusted."""
        sent = opened.record.sequence
        bits = codec.schema.frame.sequence_bits or COUNTER_BITS
        if sent is None:
            return Rejected(Why.UNNUMBERED, "neither frame nor carrier numbers it", self.station)
        if not self.reaches(received):
            return Rejected(Why.REPLAY, f"received before {self._times[0]}", self.station)
        reached = self._reached(received)
        sealed = opened.counter
        if reached is None:
            return sent if sealed is None else sealed
        counter = infer_counter(reached + 1, sent, bits) if sealed is None else sealed
        if counter <= reached - WINDOW:
            return Rejected(
                Why.REPLAY,
                f"counter {counter} was received when the station was at {reached}",
                self.station,
            )
        known = self._frames.get(counter)
        if known is None or known == hash(frame):
            return counter
        ahead = counter + (1 << bits)
        if sealed is None and RESTARTED in flags_of(opened.record) and ahead < 1 << COUNTER_BITS:
            # Its counter started anew, which it should not; the next turn of the circle keeps both.
            return ahead
        return Rejected(Why.CONFLICT, f"another frame has the counter {counter}", self.station)

    def _reached(self, received: datetime) -> int | None:
        """The highest counter heard by then; None where nothing was heard."""
        if not self._times or received >= self._times[-1]:
            return self.highest
        at = bisect_right(self._times, received)
        return self._counters[at - 1] if at else self._counters[0] - 1

    def _note(self, counter: int, frame: bytes, received: datetime, timed: Record | None) -> None:
        """Remember a frame; `timed` is its record, if its clock is trusted."""
        self._frames[counter] = hash(frame)
        if self.first is None or counter < self.first:
            self.first = counter
        newest = self.highest is None or counter > self.highest
        self.highest = counter if self.highest is None else max(counter, self.highest)
        if newest and (not self._times or received >= self._times[-1]):
            self._times.append(received)
            self._counters.append(counter)
            if self._habits:
                self._keep_time(counter, received, timed)
        if len(self._frames) > 2 * WINDOW:
            self._forget(self.highest - WINDOW)

    def _keep_time(self, counter: int, received: datetime, timed: Record | None) -> None:
        self.cadence.heard(counter, received)
        # A batch waits for company: how late it comes says nothing of the clock.
        if timed is not None and timed.message not in BATCHES:
            self.clock.heard(timed.message, said_time(timed), received)

    def _forget(self, before: int) -> None:
        self._frames = {at: seen for at, seen in self._frames.items() if at > before}
        self._recovered = {at for at in self._recovered if at > before}
        del self._times[:-WINDOW], self._counters[:-WINDOW]
        self._forgetful = True

    def _solve(self, codec: Codec, opened: Opened, counter: int) -> list[Event]:
        """What the erasure code gives back, now that it knows one frame more."""
        solver = self._solver_of(codec)
        message = codec.payloads[opened.record.message].message.message
        # Their sources are zeros, and no equation need be spent on them.
        unused = never_used(message, opened.record.values, counter, self._frames)
        try:
            found = solver.heard(counter, opened.source, opened.repair)
            for number in unused:
                found += solver.heard(number, bytes(len(opened.source)))
        except Contradiction:
            doubtful = tuple(sorted(self._recovered))
            self._recovered.clear()
            return [Contradicted(self.station, doubtful)]
        events: list[Event] = []
        for each in found:
            if each.counter in self._frames:
                continue
            self._recovered.add(each.counter)
            events.append(self._recovered_event(codec, each.counter, each.source))
        return events

    def _recovered_event(self, codec: Codec, counter: int, source: bytes) -> Event:
        if not any(source):
            repair = codec.layout.repair
            return Unsent(self.station, counter, repair is not None and repair.holds_all)
        sent = counter & ((1 << (codec.schema.frame.sequence_bits or COUNTER_BITS)) - 1)
        try:
            record = codec.reopen(
                source, received=self._about(counter), station=self.station, sequence=sent
            )
        except (DecodeError, CarrierError):
            self._recovered.discard(counter)
            return Contradicted(self.station, (counter,))
        return Recovered(record, counter, codec.layout.identity, source)

    def _in_its_place(self, codec: Codec, opened: Opened, frame: bytes, counter: int) -> Record:
        """The record of a late frame: its times are those near when it would have come, which may
        be a day before it did."""
        record = opened.record
        return codec.decode(
            frame,
            received=self._about(counter),
            station=self.station,
            message=record.message,
            sequence=record.sequence,
            expected={self.station: counter},
        )

    def _about(self, counter: int) -> datetime:
        """When a frame with this counter would have been received: between its neighbours."""
        at = bisect_right(self._counters, counter)
        before, after = max(0, at - 1), min(at, len(self._counters) - 1)
        first, last = self._counters[before], self._counters[after]
        if first == last:
            return self._times[before]
        part = (counter - first) / (last - first)
        return self._times[before] + part * (self._times[after] - self._times[before])

    def _solver_of(self, codec: Codec) -> Solver:
        """The solver of this schema; one of another schema has nothing more to say."""
        assert codec.layout.repair is not None
        if self._solver is None or self._solver[0].layout.identity != codec.layout.identity:
            self._solver = codec, Solver(codec.layout.repair, self.station)
        return self._solver[1]


def flags_of(record: Record) -> list[str]:
    """The flags that are set in the record, whatever its fields are called."""
    return [
        flag for value in record.values.values() if value and type(value) is tuple for flag in value
    ]
