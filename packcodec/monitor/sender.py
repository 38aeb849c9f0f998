"""From a record that waits to the frame that goes: cut to what fits, held to rules and plan.

The frame gets its number last, for a number once taken is used up.
"""

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta

from packcodec.codec.record import Record
from packcodec.errors import EncodeError, RadioError
from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.frozen import frozen
from packcodec.monitor.batch import Batcher
from packcodec.monitor.clock import Reading
from packcodec.monitor.counter import Counter
from packcodec.monitor.outbox import Entry
from packcodec.monitor.plan import Plan
from packcodec.monitor.totals import State, Totals
from packcodec.monitor.vocabulary import BATCHES, SIGHTING
from packcodec.monitor.worth import (
    RESTARTED,
    as_sent,
    fit,
    flagged,
    least,
    sent_bytes,
    settled,
)
from packcodec.radio.ledger import Ledger
from packcodec.radio.legal import largest_frame
from packcodec.radio.link import Link
from packcodec.radio.rules import Rule
from packcodec.radio.scopes import ledger_limits, ledger_scopes

# The frames that say 'restarted', so that one lost frame does not hide a boot.
BOOT_FRAMES = 3
FIRST_RETRY_US, LONGEST_RETRY_US = 30_000_000, 3_600_000_000

_US = timedelta(microseconds=1)
_ZERO = datetime(1970, 1, 1, tzinfo=UTC)


@frozen
class Due:
    """A record that may be sent now, cut to what fits, and the time on air of its frame.

    Of a batch it is the record of several entries.
    """

    entries: tuple[Entry, ...]
    record: Record
    airtime_us: int


@frozen
class Send:
    """A frame with its number, which is used up from now on; no entries for one that goes again."""

    entries: tuple[Entry, ...]
    frame: bytes
    sequence: int
    airtime_us: int


class Sender:
    """One boot's frames on one link.

    `scopes` are those of the ledger that every frame falls into, and `margin_us` is what the
    ledger is charged for a frame besides its time on air.
    """

    def __init__(
        self,
        codec: Codec,
        station: int,
        link: Link,
        rules: Mapping[str, Rule] | None,
        *,
        counter: Counter,
        ledger: Ledger | None,
        boots: int,
        now: Reading,
        sources: Mapping[int, bytes] | None = None,
        totals: State | None = None,
    ) -> None:
        """`sources` of the repair code by number, as far as every frame that was made is known;
        `totals` as they were kept, None where there are none.

        Raises RadioError for a link whose rules let no frame pass.
        """
        self.counter = counter
        self.ledger = ledger
        self.scopes = _all_scopes(link, rules)
        self.margin_us = 0
        self._codec = codec
        self._station = station
        self.batcher = Batcher(codec, boots)
        repair = codec.layout.repair
        self.ring = Ring.resumed(repair, station, sources or {}, counter.next) if repair else None
        self.totals = Totals(codec.schema.messages, totals, fresh=counter.next == 0)
        self._boot_frames = BOOT_FRAMES if boots > 1 else 0
        self._not_before_us = now.mono_us
        self._retry_us = FIRST_RETRY_US
        most = largest_frame(link, rules)
        if most is None:
            raise RadioError("its rules let no frame pass", place=f"link '{link.name}'")
        sizes = {each.name: each.most_frame_bytes for each in codec.layout.messages}
        self.plan = Plan(
            link,
            ledger_limits(link, rules),
            self.scopes,
            frame_most=most,
            sighting_bytes=sizes.get(SIGHTING, 0),
            interval_us=codec.schema.policy.interval_s * 1_000_000,
            now_us=now.mono_us,
        )

    def waits(self, now: Reading) -> bool:
        """Whether a failure or a busy channel keeps everything back."""
        return now.mono_us < self._not_before_us

    def made(self, entries: Sequence[Entry], waiting: int, now: Reading) -> Due | None:
        """What would go now of entries of one message, while `waiting` entries wait.

        That is the first of them, or as many as a batch takes; None where a batch waits for more.
        Raises EncodeError, DecodeError or KeyError for what can never go.
        """
        if entries[0].message in BATCHES:
            return self._batch(entries, now)
        return self._alone(entries[0], waiting, now)

    def _batch(self, entries: Sequence[Entry], now: Reading) -> Due | None:
        limit_bytes = self.plan.ordinary_bytes(self.margin_us)
        joined = self.batcher.joined(
            entries, limit_bytes, now.mono_us, restarted=self._boot_frames > 0
        )
        if joined is None:
            return None
        values, count = joined
        record = Record(entries[0].message, values, self._station, self.counter.next)
        return self._due(tuple(entries[:count]), record, limit_bytes)

    def _alone(self, entry: Entry, waiting: int, now: Reading) -> Due:
        values = self._codec.payloads[entry.message].unpack_values(entry.payload)
        values = self.totals.told(entry.message, entry.number, values)
        if self._boot_frames:
            values = flagged(self._codec, entry.message, values, RESTARTED)
            values = settled(self._codec, entry.message, values)
        record = Record(entry.message, values, self._station, self.counter.next)
        if entry.urgent:
            return self._due((entry,), record, self.plan.frame_most)
        allowed = self.plan.allowed_bytes(waiting, now.mono_us)
        return self._due((entry,), record, min(allowed, self.plan.ordinary_bytes(self.margin_us)))

    def _due(self, entries: tuple[Entry, ...], record: Record, allowed_bytes: int) -> Due:
        if sent_bytes(self._codec, record) > allowed_bytes:
            record = self._cut(record, allowed_bytes)
        record = as_sent(self._codec, record)
        size = sent_bytes(self._codec, record)
        urgent = entries[0].urgent
        if size > (self.plan.frame_most if urgent else self.plan.ordinary_bytes(0)):
            raise EncodeError(f"takes {size} bytes", place=f"message.{record.message}")
        return Due(entries, record, self.plan.airtime_us(size))

    def may_go(self, due: Due, now: Reading) -> bool:
        """The rules allow it now, and so does the plan, which holds back all but sightings."""
        return self._allowed(due.airtime_us, now, urgent=due.entries[0].urgent)

    def again(self, sequence: int, frame: bytes, now: Reading) -> Send | None:
        """A frame that goes again, if rules and plan allow it and leave an interval's share."""
        airtime_us = self.plan.airtime_us(len(frame))
        if self.plan.wait_us(airtime_us + self.plan.share_us, now.mono_us):
            return None
        if not self._allowed(airtime_us, now, urgent=False):
            return None
        return Send((), frame, sequence, airtime_us)

    def _allowed(self, airtime_us: int, now: Reading, *, urgent: bool) -> bool:
        if not urgent and self.plan.wait_us(airtime_us, now.mono_us):
            return False
        if self.ledger is None:
            return True
        wall_us = (now.wall - _ZERO) // _US
        on_air_us = airtime_us + self.margin_us
        if not urgent:
            uses = self.ledger.used(now.mono_us, wall_us=wall_us)
            if not self.plan.keeps_reserve(on_air_us, uses):
                return False
        start_us = self.ledger.earliest_start(on_air_us, now.mono_us, self.scopes, wall_us=wall_us)
        return start_us is not None and start_us <= now.mono_us

    def frame(self, due: Due) -> Send:
        """Number and encode it. Raises EncodeError where no number is reserved, or no key is."""
        sequence = self.counter.take()
        frame = self._codec.encode(due.record, sequence=sequence, ring=self.ring)
        self._boot_frames = max(0, self._boot_frames - 1)
        self.totals.count(due.record.message, due.entries[0].number, due.record.values)
        return Send(due.entries, frame, sequence, due.airtime_us)

    def sent(self, send: Send) -> None:
        """The radio has sent it."""
        self.plan.spend(send.airtime_us)
        self._retry_us = FIRST_RETRY_US

    def failed(self, now: Reading) -> None:
        """The radio, or the store, would not have it: try again later, and later each time."""
        self._not_before_us = now.mono_us + self._retry_us
        self._retry_us = min(2 * self._retry_us, LONGEST_RETRY_US)

    def put_off(self, now: Reading, wait_us: int) -> None:
        """Try again after `wait_us`: the channel is busy, or, with 0, there is news."""
        self._not_before_us = now.mono_us + wait_us

    def _cut(self, record: Record, allowed_bytes: int) -> Record:
        try:
            return fit(self._codec, record, allowed_bytes)
        except EncodeError:
            return least(self._codec, record)


def _all_scopes(link: Link, rules: Mapping[str, Rule] | None) -> tuple[str, ...]:
    """Of every channel at once: which one the radio takes is its own choice."""
    scopes = (
        scope
        for frequency_hz in link.frequencies_hz
        for scope in ledger_scopes(link, frequency_hz, rules)
    )
    return tuple(dict.fromkeys(scopes))
