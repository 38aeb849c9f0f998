"""Detections → records, as they come, in memory that does not grow with their number.

A *visit* is a run of detections of one species at one station, none `independence_s` or more after
the one before: at exactly that length a new visit starts. It belongs to the interval in which it
began; where it goes on into the next, the species has a row there with 0 visits, for it was seen.

Intervals are counted from the schema's epoch, by the station's clock. While that clock is unset
they follow it all the same, and their records say `clock_unset` and carry no time. Lengths of
time across a change of the clock mean nothing, so every species starts afresh there.

What is never reported is dropped before anything else looks at it, and leaves no trace in any
record: not even in the count of what was dropped.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

from packcodec.codec.record import Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import (
    COUNTED_AS,
    HEALTH,
    ROWS,
    SIGHTING,
    SUMMARY,
    check_vocabulary,
)
from packcodec.monitor.worth import settled, worth
from packcodec.schema.model import Duration, Field, Flags, ListOf, Species


class Refusal(Enum):
    """Why a detection is in no record."""

    NEVER = "of a row that is never reported"
    UNKNOWN_LABEL = "with a label that the species code table lacks"
    RETIRED = "of a retired row"
    LOW_CONFIDENCE = "below the least confidence"
    NO_FIELD = "for which the schema has no message or field"
    LATE = "of an interval that was already closed"
    DUPLICATE = "written twice"


# Refusals that the summary's `dropped` counts: they say how well the model and the table suit the
# place. NEVER is not among them, for that count would tell of people.
TOLD = frozenset({Refusal.UNKNOWN_LABEL, Refusal.RETIRED, Refusal.LOW_CONFIDENCE})


@dataclass(slots=True)
class _Row:
    """One species in the open interval."""

    species: Species
    first: datetime
    last: datetime
    visits: int = 0
    most: int = 0
    detections: int = 0
    confidence_sum: float = 0.0

    def add(self, detection: Detection, new_visit: bool) -> None:
        self.first = min(self.first, detection.at)
        self.last = max(self.last, detection.at)
        self.visits += new_visit
        self.most = max(self.most, detection.individuals)
        self.detections += 1
        self.confidence_sum += detection.confidence


@dataclass(slots=True)
class _Interval:
    """The open interval, `number` intervals after the epoch by a clock that is trusted or not."""

    number: int
    trusted: bool
    watched: timedelta = timedelta()
    dropped: int = 0
    rows: dict[str, _Row] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)


@dataclass(slots=True)
class Unmade:
    """Records that their message could not carry: how many, and the first refusal in words."""

    count: int
    first: str


class Summariser:
    """One station's detections, effort and health → records that its messages carry exactly.

    Feed it in the order of the station's clock. Every method gives the records that have become
    ready, without sequences. A record's values are settled: its frame decodes to the same record.
    When the clock is set back, call `close()` first; detections from before the open interval are
    counted as late.

    `season` counts the detections of each label so far, and may be carried over a restart.
    `refused` counts the detections in no record by reason, `counted` those in one, `unmade` holds
    the records that could not be made, by the place of what their message cannot carry.
    """

    def __init__(
        self, codec: Codec, station: int, *, season: Mapping[str, int] | None = None
    ) -> None:
        """Raises SchemaError if the schema has messages that cannot be filled."""
        check_vocabulary(codec.schema)
        self.station = station
        self.season: Counter[str] = Counter(season or {})
        self.refused: Counter[Refusal] = Counter()
        self.counted = 0
        self.unmade: dict[str, Unmade] = {}
        self._codec = codec
        policy = codec.schema.policy
        self._epoch = codec.schema.epoch
        self._interval = timedelta(seconds=policy.interval_s)
        self._independence = timedelta(seconds=policy.independence_s)
        self._confidence_least = policy.confidence_least
        self._species = {row.label: row for row in codec.schema.species.rows}
        self._fields = {
            message.name: {field.name: field for field in message.fields}
            for message in codec.schema.messages
        }
        self._rows = self._fields.get(SUMMARY, {}).get(ROWS)
        self._open: _Interval | None = None
        self._trusted: bool | None = None
        self._last_seen: dict[str, datetime] = {}
        self._restarts: int | None = None
        self._restart_untold: set[str] = set()

    def seen(self, detection: Detection, *, clock_trusted: bool = True) -> list[Record]:
        """Take a detection. The records: the interval before it if over, and a new sighting."""
        species = self._species.get(detection.label)
        if species is not None and species.report == "never":
            self.refused[Refusal.NEVER] += 1
            return []
        records = self._enter(detection.at, clock_trusted)
        interval = self._open
        refusal = self._refusal(species, detection)
        if interval is None or interval.number != self._number(detection.at):
            refusal = Refusal.LATE
        if refusal is not None:
            self.refused[refusal] += 1
            if interval is not None and refusal in TOLD:
                interval.dropped += 1
            return records
        assert species is not None
        assert interval is not None
        self.counted += 1
        self.season[species.label] += 1
        new_visit = self._starts_visit(detection)
        if species.report == "count":
            interval.counts[COUNTED_AS[species.kind]] += new_visit
            return records
        row = interval.rows.get(species.label)
        if row is None:
            row = interval.rows[species.label] = _Row(species, detection.at, detection.at)
        row.add(detection, new_visit)
        if new_visit and species.report == "priority" and SIGHTING in self._fields:
            records += self._sighting(detection, interval.trusted)
        return records

    def watching(
        self, start: datetime, end: datetime, *, clock_trusted: bool = True
    ) -> list[Record]:
        """The station really watched from `start` to `end`.

        Its detections in between come first where the stretch reaches past the open interval,
        and what lies before the open interval is not added to anything.
        """
        records = []
        for piece in pieces(Stretch(self.station, start, end), self._epoch, self._interval):
            records += self._enter(piece.start, clock_trusted)
            interval = self._open
            if interval is not None and interval.number == self._number(piece.start):
                interval.watched += piece.end - piece.start
        return records

    def health(self, health: Health) -> list[Record]:
        """The station's own state, as a `health` record if the schema has that message.

        A `restarts` that grew since the last report sets the flag `restarted`.
        """
        if HEALTH not in self._fields:
            return []
        restarts = health.values.get("restarts")
        if isinstance(restarts, int):
            if self._restarts is not None and restarts > self._restarts:
                self._restart_untold.add(HEALTH)
            self._restarts = restarts
        at = health.at if health.clock_trusted else None
        return self._record(HEALTH, {"at": at}, health.clock_trusted, health.values)

    def restarted(self) -> None:
        """Say so in the next record of every message."""
        self._restart_untold.update(self._fields)

    def close(self, now: datetime | None = None) -> list[Record]:
        """Close the open interval if it is over at `now`, or in any case without `now`."""
        interval = self._open
        if interval is None or (now is not None and self._number(now) <= interval.number):
            return []
        self._open = None
        if SUMMARY not in self._fields:
            return []
        if not (interval.watched or interval.rows or interval.counts):
            return []
        return self._record(SUMMARY, self._summary(interval), interval.trusted)

    def _number(self, at: datetime) -> int:
        return (at - self._epoch) // self._interval

    def _enter(self, at: datetime, trusted: bool) -> list[Record]:
        """Open the interval of `at`, unless a later one is open by the same clock."""
        number = self._number(at)
        interval = self._open
        if interval is not None and interval.trusted == trusted and number <= interval.number:
            return []
        records = self.close()
        if trusted != self._trusted:
            self._last_seen.clear()
            if self._trusted and not trusted:
                # A clock that was set stays set while there is power.
                self.restarted()
            self._trusted = trusted
        self._open = _Interval(number, trusted)
        return records

    def _refusal(self, species: Species | None, detection: Detection) -> Refusal | None:
        if species is None:
            return Refusal.UNKNOWN_LABEL
        if species.retired:
            return Refusal.RETIRED
        if detection.confidence < self._confidence_least:
            return Refusal.LOW_CONFIDENCE
        if species.report == "count":
            known = COUNTED_AS[species.kind] in self._fields.get(SUMMARY, {})
        else:
            alone = species.report == "priority" and SIGHTING in self._fields
            known = self._rows is not None or alone
        return None if known else Refusal.NO_FIELD

    def _starts_visit(self, detection: Detection) -> bool:
        last = self._last_seen.get(detection.label)
        self._last_seen[detection.label] = detection.at if last is None else max(last, detection.at)
        return last is None or detection.at - last >= self._independence

    def _sighting(self, detection: Detection, trusted: bool) -> list[Record]:
        values = {
            "at": detection.at if trusted else None,
            "species": detection.label,
            "individuals": detection.individuals,
            "confidence": detection.confidence,
        }
        return self._record(SIGHTING, values, trusted)

    def _summary(self, interval: _Interval) -> Values:
        start = self._epoch + interval.number * self._interval
        rows = [self._row(row, start) for row in interval.rows.values()]
        rows.sort(
            key=lambda row: worth(self._species[row["species"]], row, self.season[row["species"]])
        )
        most = self._rows.most if isinstance(self._rows, ListOf) else len(rows)
        return {
            "start": start if interval.trusted else None,
            "watched": self._watched(interval),
            "left_out": len(rows) - len(rows[:most]),
            "dropped": interval.dropped,
            ROWS: rows[:most],
            **{name: interval.counts[name] for name in COUNTED_AS.values()},
        }

    def _watched(self, interval: _Interval) -> timedelta | None:
        watched = self._fields[SUMMARY].get("watched")
        unknown = not interval.watched and watched is not None and watched.optional
        return None if unknown else interval.watched

    def _row(self, row: _Row, start: datetime) -> Values:
        fields = {f.name: f for f in self._rows.fields} if isinstance(self._rows, ListOf) else {}
        return {
            "species": row.species.label,
            "visits": row.visits,
            "most": row.most,
            "first": _steps_into(row.first - start, fields.get("first")),
            "last": _steps_into(row.last - start, fields.get("last")),
            "confidence": row.confidence_sum / row.detections,
            "detections": row.detections,
        }

    def _record(
        self, message: str, values: Values, trusted: bool, told: Mapping[str, Any] | None = None
    ) -> list[Record]:
        """The record, or none, counted, where the message cannot carry it.

        Of `values` those are taken that the message has fields for; all that is `told` must fit.
        """
        flags = {"clock_unset": not trusted, "restarted": message in self._restart_untold}
        fields = self._fields[message]
        state = fields.get("state")
        if isinstance(state, Flags):
            values["state"] = [name for name in state.flags if flags[name]]
        try:
            carried = settled(
                self._codec, message, {**_chosen(values, fields.values()), **(told or {})}
            )
        except EncodeError as error:
            unmade = self.unmade.setdefault(error.place, Unmade(0, str(error)))
            unmade.count += 1
            return []
        self._restart_untold.discard(message)
        return [Record(message, carried, self.station)]


def pieces(stretch: Stretch, epoch: datetime, interval: timedelta) -> Iterator[Stretch]:
    """A stretch cut at the edges of intervals counted from `epoch`."""
    start = stretch.start
    while start < stretch.end:
        edge = epoch + ((start - epoch) // interval + 1) * interval
        end = min(edge, stretch.end)
        yield Stretch(stretch.station, start, end, stretch.clock_trusted)
        start = end


def _steps_into(offset: timedelta, field: Field | None) -> timedelta:
    """Whole steps passed: the 59.9th minute is the 59th, which the nearest step would not be."""
    if not isinstance(field, Duration):
        return offset
    step = timedelta(microseconds=int(field.step_s * 1_000_000))
    return offset // step * step if step else offset


def _chosen(values: Values, fields: Iterable[Field]) -> Values:
    """The values that the message, and the elements of its rows, have fields for."""
    return {
        field.name: [_chosen(row, field.fields) for row in values[field.name]]
        if isinstance(field, ListOf)
        else values[field.name]
        for field in fields
        if field.name in values
    }
