"""Several elements that wait, in one frame: as many sightings or summaries as it takes.

Each waits as a batch of its own in the outbox, so that it is as safe as any record and can go alone
if it must. They are joined when a frame is made, the oldest first, and wait for company until the
next one would not fit, or until the oldest is `batch_s` old, was left over from an earlier start,
or is told to hurry.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from packcodec.codec.record import PartialTime, Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, batch_list, batches, frame_bytes
from packcodec.frame.times import resolve
from packcodec.monitor.outbox import Entry
from packcodec.monitor.vocabulary import TIMES, form_of
from packcodec.monitor.worth import RESTARTED, flagged

_US = timedelta(microseconds=1)
_ZERO = datetime(1970, 1, 1, tzinfo=UTC)


class Batcher:
    """Joins the elements of one boot and of those before it."""

    def __init__(self, codec: Codec, boots: int) -> None:
        self._codec = codec
        self._boots = boots
        self._most = {
            message.name: listed.most
            for message in codec.schema.messages
            if (listed := batch_list(message))
        }
        self._batch_us = codec.schema.policy.batch_s * 1_000_000
        self._hurry_us: int | None = None
        self._tried: tuple[int, bool, Sequence[Entry]] | None = None
        self._joined: tuple[Values, int] = {}, 0
        # By message the oldest that waits, and how many must before it is worth trying again.
        self._worth_trying: dict[str, tuple[int, int]] = {}

    def hurry(self, mono_us: int) -> None:
        """What is of that moment or earlier waits no longer for company."""
        self._hurry_us = mono_us

    def joined(
        self, entries: Sequence[Entry], limit_bytes: int, now_us: int, *, restarted: bool
    ) -> tuple[Values, int] | None:
        """The oldest of `entries`, all of one message, as one record, and how many they are.

        The record is not longer than `limit_bytes`, unless the first element alone is. None where
        there is room and time for more. Raises DecodeError or EncodeError for what can never go.
        """
        oldest, ripe = entries[0], self._ripe(entries[0], now_us)
        number, enough = self._worth_trying.get(oldest.message, (0, 0))
        if not ripe and number == oldest.number and len(entries) < enough:
            return None
        if self._tried != (limit_bytes, restarted, entries):
            self._joined = self._join(entries, limit_bytes, restarted)
            self._tried = limit_bytes, restarted, entries
        values, count = self._joined
        most = self._most[oldest.message]
        if ripe or count < len(entries) or count == most:
            return values, count
        size = frame_bytes(self._codec, Record(oldest.message, values))
        # Joining is work, and half of the room that is left takes about so many more.
        more = max(1, count * (limit_bytes - size) // (2 * size))
        self._worth_trying[oldest.message] = oldest.number, min(count + more, most)
        return None

    def _ripe(self, entry: Entry, now_us: int) -> bool:
        if entry.boot != self._boots or now_us - entry.mono_us >= self._batch_us:
            return True
        return self._hurry_us is not None and entry.mono_us <= self._hurry_us

    def _join(
        self, entries: Sequence[Entry], limit_bytes: int, restarted: bool
    ) -> tuple[Values, int]:
        message, payload = entries[0].message, self._codec.payloads[entries[0].message]
        form = form_of(payload.message.message)
        assert form.listed is not None
        first = payload.unpack_values(entries[0].payload)
        if restarted:
            first = flagged(self._codec, message, first, RESTARTED)
        elements: list[Element] = []
        epoch = self._codec.schema.epoch
        before = _instant(first, epoch, None)
        timed = before is not None
        for values in (first, *(payload.unpack_values(entry.payload) for entry in entries[1:])):
            entry, at = entries[len(elements)], _instant(values, epoch, before)
            if timed != (at is not None) or (not timed and entry.boot != entries[0].boot):
                # By different clocks.
                break
            before = at
            (row,) = values[form.listed]
            element = {name: value for name, value in row.items() if name != form.since}
            elements.append((at or _ZERO + entry.mono_us * _US, element))
        try:
            record: Record = next(batches(self._codec, message, elements, limit_bytes, timed=timed))
        except EncodeError:
            return first, 1
        return record.values, len(record.values[form.listed])


def _instant(values: Values, epoch: datetime, before: datetime | None) -> datetime | None:
    """When the first element was, by a clock that was set: of a time that wraps, the instant
    nearest to that of the element `before`."""
    at = next((values[name] for name in TIMES if name in values), None)
    if isinstance(at, PartialTime):
        at = resolve(at, epoch, before or epoch + timedelta(seconds=at.offset_s))
    return at if isinstance(at, datetime) else None
