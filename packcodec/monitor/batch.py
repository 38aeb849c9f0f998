"""Several elements that wait, in one frame: as many sightings or summaries as it takes.

Each waits as a batch of its own in the outbox, so that it is as safe as any record and can go alone
if it must. They are joined when a frame is made, the oldest first, and wait for company until the
next one would not fit, or until the oldest is `batch_s` old, was left over from an earlier start,
or is told to hurry.
"""

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from packcodec.codec.record import Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, batches
from packcodec.monitor.outbox import Entry
from packcodec.monitor.vocabulary import TIMES, form_of
from packcodec.monitor.worth import RESTARTED, flagged
from packcodec.schema.model import LONGEST_LIST

# Whoever looks at more than this knows that a batch is full.
MOST_LOOKED_AT = LONGEST_LIST + 1

_US = timedelta(microseconds=1)
_ZERO = datetime(1970, 1, 1, tzinfo=UTC)


class Batcher:
    """Joins the elements of one boot and of those before it."""

    def __init__(self, codec: Codec, boots: int) -> None:
        self._codec = codec
        self._boots = boots
        self._batch_us = codec.schema.policy.batch_s * 1_000_000
        self._hurry_us: int | None = None
        self._tried: tuple[int, bool, Sequence[Entry]] | None = None
        self._joined: tuple[Values, int] = {}, 0

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
        if self._tried != (limit_bytes, restarted, entries):
            self._joined = self._join(entries, limit_bytes, restarted)
            self._tried = limit_bytes, restarted, entries
        full = self._joined[1] < len(entries)
        return self._joined if full or self._ripe(entries[0], now_us) else None

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
        timed = _instant(first) is not None
        for values in (first, *(payload.unpack_values(entry.payload) for entry in entries[1:])):
            entry, at = entries[len(elements)], _instant(values)
            if timed != (at is not None) or (not timed and entry.boot != entries[0].boot):
                # By different clocks.
                break
            (row,) = values[form.listed]
            element = {name: value for name, value in row.items() if name != form.since}
            elements.append((at or _ZERO + entry.mono_us * _US, element))
        try:
            record: Record = next(batches(self._codec, message, elements, limit_bytes, timed=timed))
        except EncodeError:
            return first, 1
        return record.values, len(record.values[form.listed])


def _instant(values: Values) -> datetime | None:
    """When the first element was, by a clock that was set."""
    at = next((values[name] for name in TIMES if name in values), None)
    return at if isinstance(at, datetime) else None
