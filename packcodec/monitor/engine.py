"""The station's engine: detections and clock readings in, what to keep and what to send out.

It reads no clock, writes no file and opens no radio. Whoever drives it (`packcodec.edge.station`)
does, in this order:

    seen, health, tick   with a reading of the clocks
    change()             what must be durable before the call that made it returns
    due(now)             a record that may be sent now, or None; or a frame that goes again
    frame(due)           a record's frame, once `sender.counter.to_reserve` is durable
    sent(frame)          after the radio has sent it; or sender.failed(now)

The airtime is entered in the ledger, durably, between the frame and the radio, and with a repair
code or running totals the change of `frame` is durable by then, or else on record as lost. What
the radio heard goes to `hear`, and is durable before a `due` that comes of it is sent.
"""

from collections import Counter as Counts
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from typing import Any

from packcodec.codec.record import Record, rfc3339
from packcodec.errors import DecodeError, EncodeError
from packcodec.frame.codec import Codec
from packcodec.frozen import replace
from packcodec.monitor.clock import Clock, Reading, mono_of, when
from packcodec.monitor.counter import Counter
from packcodec.monitor.inputs import Detection, Health
from packcodec.monitor.kept import Change, Kept
from packcodec.monitor.outbox import MOST_ENTRIES, Entry, Outbox
from packcodec.monitor.report import EVERY_S, Reports
from packcodec.monitor.sender import Due, Send, Sender
from packcodec.monitor.summariser import Summariser
from packcodec.monitor.vocabulary import BATCHES, SIGHTINGS, SUMMARIES, SUMMARY
from packcodec.monitor.worth import CLOCK_UNSET, flagged
from packcodec.radio.ledger import Ledger
from packcodec.radio.link import Link
from packcodec.radio.rules import Rule
from packcodec.schema.model import LONGEST_LIST

US = timedelta(microseconds=1)
# A tick vouches for the time since the one before, unless that is longer: then the loop hung.
LONGEST_TICK = timedelta(minutes=5)
# Effort and counts of detections are at most so far behind in the store; nothing else is.
CHECKPOINT_S = 300


class Monitor:
    """One station's engine, from one boot to the next.

    `mark` is whatever the caller wants kept in one piece with what came of it. `unsendable` counts
    by message the records that no frame of this link can carry.
    """

    def __init__(
        self,
        codec: Codec,
        station: int,
        link: Link,
        now: Reading,
        *,
        counter: Counter,
        ledger: Ledger | None = None,
        kept: Kept | None = None,
        boots: int = 1,
        rules: Mapping[str, Rule] | None = None,
        keeps_time: bool = True,
        health_every_s: int = EVERY_S,
        checkpoint_s: int = CHECKPOINT_S,
        outbox_most: int = MOST_ENTRIES,
    ) -> None:
        """`kept` and `boots` are of this station's store; None and 1 where it never ran.

        Raises SchemaError for messages that cannot be filled, RadioError for a link whose rules
        let no frame pass.
        """
        kept = kept or Kept()
        state = kept.state or {}
        self.station = station
        self.boots = boots
        self.storage_failed = False
        self.last_sent = kept.last_sent
        self.unsendable: Counts[str] = Counts(state.get("unsendable", {}))
        self.mark: Any = state.get("mark")
        self._codec = codec
        # A frame that was made may have gone, whatever the power did next.
        gone = [n for n in (kept.last_sent, *kept.sources) if n is not None]
        self._before_boot = max(gone, default=None)
        self._first_number = counter.next
        known = datetime.fromisoformat(state["known"]) if "known" in state else None
        self.clock = Clock(codec.schema.epoch, known, keeps_time=keeps_time)
        self.outbox = Outbox(
            kept.entries.values(),
            next_number=kept.next_number,
            dropped=Counts(state.get("dropped", {})),
            most=outbox_most,
        )
        self._key = codec.key(station)
        self.again = kept.again
        self.summariser = Summariser(codec, station)
        self.sender = Sender(
            codec,
            station,
            link,
            rules,
            counter=counter,
            ledger=ledger,
            boots=boots,
            now=now,
            sources=kept.sources,
            totals=kept.totals,
        )
        self._priority = {
            row.label for row in codec.schema.species.rows if row.report == "priority"
        }
        self._reports = Reports(codec.schema, health_every_s, now.mono_us)
        self._checkpoint_us = checkpoint_s * 1_000_000
        self._state_kept_us = now.mono_us
        self._news_kept = 0
        self._change = Change()
        self._now = now
        self.clock.read(now)
        self._last_tick: Reading | None = None
        if "summariser" in state:
            self._resume(state["summariser"], now)

    def seen(self, detection: Detection, now: Reading) -> None:
        """Take a detection, whose `at` is by the wall clock of `now`, or of shortly before."""
        self._read(now)
        opened = self.summariser.opened
        records = self.summariser.seen(detection, clock_trusted=self.clock.trusted)
        if records:
            self._put(records, now, opened, detection.at)
            # A sighting waits for nothing but the rules.
            self.sender.put_off(now, 0)
            if detection.label in self._priority and records[-1].message == SIGHTINGS:
                self.hurry(now)

    def hurry(self, now: Reading) -> None:
        """What waits in batches for company goes as soon as rules and plan allow."""
        latest = (entry.mono_us for entry in self.outbox if entry.boot == self.boots)
        self.sender.batcher.hurry(max((now.mono_us, *latest)))

    def health(self, values: Mapping[str, Any]) -> None:
        """What the station knows of itself, by field; it stands until it is told anew, and is
        reported when it is time."""
        self._reports.tell(values)

    def tick(self, now: Reading, *, watching: bool = True) -> None:
        """Time goes on. `watching`: the station watched since the tick before."""
        self._read(now)
        last, self._last_tick = self._last_tick, now
        trusted, opened = self.clock.trusted, self.summariser.opened
        records: list[Record] = []
        if watching and last is not None:
            run = min(now.wall - last.wall, (now.mono_us - last.mono_us) * US)
            if timedelta() < run <= LONGEST_TICK:
                records = self.summariser.watching(now.wall - run, now.wall, clock_trusted=trusted)
        records += self.summariser.close(now.wall)
        self._put(records, now, opened, now.wall)
        if self._reports.due(now.mono_us, self.storage_failed):
            self._report(now)

    def change(self, now_us: int, *, all_of_it: bool = False) -> Change:
        """What must be made durable; what is given is taken for durable, or kept by a rewrite.

        New records and visits are always in it, effort and counts of detections at least every
        `checkpoint_s`, or now with `all_of_it`.
        """
        change, self._change = self._change, Change()
        news = self.summariser.news
        stale = all_of_it or now_us - self._state_kept_us >= self._checkpoint_us
        if change.put or news != self._news_kept or (stale and self.summariser.opened is not None):
            self._news_kept, self._state_kept_us = news, now_us
            change.state = self._state()
        return change

    def kept(self) -> Kept:
        """Everything, for a store that is written anew."""
        ring = self.sender.ring
        return Kept(
            self.outbox,
            self.outbox.next,
            self.last_sent,
            self._state(),
            self.again,
            ring.sources if ring else None,
            self._totals(),
        )

    @property
    def has_records(self) -> bool:
        """Whether `change` has records, which must not wait."""
        return bool(self._change)

    @property
    def takes_lists(self) -> bool:
        """Whether the station has the key by which it knows its base."""
        return self._key is not None

    def hear(self, frame: bytes) -> None:
        """Take what the radio heard: a missing list, whose frames go again once there is time.

        Nothing else changes anything. Raises DecodeError for bytes that are no list for this
        station, or one that it has had; CarrierError for what is no bytes.
        """
        if self._key is None:
            return
        from packcodec.frame.missing import decode_list

        said = decode_list(
            self._key,
            self.station,
            frame,
            after=self.again.number,
            following=self.sender.counter.next,
        )
        self.again.take(said.number, said.counters)
        self._change.taken = said.number, said.counters

    def due(self, now: Reading) -> Due | Send | None:
        """What to send now; None where nothing waits, or what waits has to wait on.

        A frame goes again, as a Send, only when no record waits.
        """
        if self.sender.waits(now):
            return None
        filling: set[str] = set()
        while (entry := self.outbox.first(but=filling)) is not None:
            batch = entry.message in BATCHES
            entries = self.outbox.alike(entry, LONGEST_LIST) if batch else [entry]
            try:
                due = self.sender.made(entries, len(self.outbox), now)
            except (EncodeError, DecodeError, KeyError):
                self.unsendable[entry.message] += 1
                self._leaves(entry)
                continue
            if due is None:
                filling.add(entry.message)
                continue
            return due if self.sender.may_go(due, now) else None
        return self._goes_again(now)

    def frame(self, due: Due) -> Send:
        """Number and encode it. Raises EncodeError where no number is reserved, or no key is."""
        send = self.sender.frame(due)
        if self.sender.ring is not None:
            sources = self.sender.ring.sources
            self._change.made = min(sources), send.sequence, sources[send.sequence]
        self._change.totals = self._totals()
        return send

    def sent(self, send: Send) -> None:
        """The radio has sent it."""
        self.sender.sent(send)
        if not send.entries:
            self.again.went(send.sequence)
            self._change.went.append(send.sequence)
            return
        for entry in send.entries:
            self._leaves(entry)
        self._change.sent = self.last_sent = send.sequence
        if self._key is not None:
            self._change.frame = send.frame
            self.again.keep(send.sequence, send.frame)
            self._forget()

    @property
    def tells_of_before(self) -> bool:
        """Whether a frame tells of those before it, so that what it tells must be durable first."""
        return self.sender.ring is not None or bool(self.sender.totals)

    def _totals(self) -> Mapping[str, Any] | None:
        totals = self.sender.totals
        return totals.state() if totals else None

    def _forget(self) -> None:
        """Let go of frames that a base would take for others, or that are too many."""
        from packcodec.frame.missing import reach

        bits = self._codec.schema.frame.sequence_bits
        self.again.forget(self.sender.counter.next - reach(bits))

    def _goes_again(self, now: Reading) -> Send | None:
        if self._key is None:
            return None
        self._forget()
        while self.again.asked:
            sequence = self.again.asked[0]
            frame = self.again.frames[sequence]
            if len(frame) <= self.sender.plan.frame_most:
                return self.sender.again(sequence, frame, now)
            # Of a link that took more.
            self.again.went(sequence)
        return None

    def _leaves(self, entry: Entry) -> None:
        self.outbox.remove(entry)
        self._change.gone.append(entry.number)

    def _read(self, now: Reading) -> None:
        """Read the clocks; where the wall clock was set, what came before stands for itself."""
        before, opened = self.clock.trusted, self.summariser.opened
        step = self.clock.read(now)
        if step or self.clock.trusted != before:
            # Times of what was open are by the clock as it was: told of the instant before.
            earlier = replace(now, wall=now.wall - step)
            self._put(self.summariser.close(), earlier, opened, earlier.wall)
            self._last_tick = None
            if self.clock.trusted and not self._now.attested:
                self._put_right(now)
        self._now = now

    def _put_right(self, now: Reading) -> None:
        """Times of this boot's waiting records by the clock as it is now.

        They stay flagged: where an interval began and ended was told by the clock as it was.
        """
        for entry in list(self.outbox):
            if entry.boot != self.boots:
                continue
            values = self._codec.payloads[entry.message].unpack_values(entry.payload)
            name = "start" if entry.message in (SUMMARY, SUMMARIES) else "at"
            if name in values:
                values = flagged(self._codec, entry.message, values, CLOCK_UNSET)
                values[name] = when(entry.mono_us, now)
                try:
                    payload = self._codec.payloads[entry.message].pack_values(values)
                except EncodeError:
                    continue
                right = replace(entry, payload=payload)
                self.outbox.replace(right)
                self._change.put.append(right)

    def _put(
        self, records: Iterable[Record], now: Reading, opened: datetime | None, at: datetime
    ) -> None:
        """Into the outbox; a summary is of the interval that was open before, the rest of `at`."""
        for record in records:
            summary = record.message in (SUMMARY, SUMMARIES)
            time = opened if summary and opened is not None else at
            self._add(record, self.boots, mono_of(time, now))

    def _add(self, record: Record, boot: int, mono_us: int) -> None:
        payload = self._codec.payloads[record.message].pack_values(record.values)
        entry, gone = self.outbox.put(record.message, payload, boot, mono_us)
        self._change.put.append(entry)
        self._change.gone += [each.number for each in gone]

    def _report(self, now: Reading) -> None:
        opened = self.summariser.opened
        own = {
            "restarts": self.boots - 1,
            "boots": self.boots,
            "last_sent": self._before_boot,
            "first_number": self._first_number,
            "waiting": len(self.outbox),
            "discarded": self.outbox.dropped.total() + self.unsendable.total(),
            "storage_failed": self.storage_failed,
        }
        told = self._reports.take(own, now.mono_us, self.storage_failed)
        health = Health(self.station, now.wall, told, self.clock.trusted)
        self._put(self.summariser.health(health), now, opened, now.wall)

    def _resume(self, kept: Mapping[str, Any], now: Reading) -> None:
        """Go on with the interval that was open, where this boot's clock says it still is."""
        records = self.summariser.resume(kept)
        opened = self.summariser.opened
        # With no interval open, visits that began in the last one may still go on.
        goes_on = self.clock.trusted and (opened is None or opened <= now.wall)
        if not goes_on:
            records += self.summariser.close()
        for record in records:
            # Of a boot whose monotonic clock is gone: its time stands as it is.
            self._add(record, self.boots - 1, 0)

    def _state(self) -> Mapping[str, Any]:
        return {
            "summariser": self.summariser.kept(),
            "known": rfc3339(self.clock.known),
            "dropped": dict(self.outbox.dropped),
            "unsendable": dict(self.unsendable),
            "mark": self.mark,
        }
