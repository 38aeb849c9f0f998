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
from collections.abc import Iterable, Mapping
from datetime import datetime, timedelta
from enum import Enum
from typing import Any

from packcodec.codec.record import Record, Values, rfc3339
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.interval import Interval, SpeciesRow, pieces
from packcodec.monitor.vocabulary import (
    COUNTED_AS,
    HEALTH,
    ROWS,
    SIGHTING,
    SIGHTINGS,
    SUMMARIES,
    SUMMARY,
    check_vocabulary,
    form_of,
)
from packcodec.monitor.worth import settled, worth
from packcodec.schema.model import Field, Flags, ListOf, Species


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


class Unmade:
    """Records that their message could not carry: how many, and the first refusal in words."""

    def __init__(self, count: int, first: str) -> None:
        self.count = count
        self.first = first


class Summariser:
    """One station's detections, effort and health → records that its messages carry exactly.

    Feed it in the order of the station's clock, effort up to an instant before what was seen then.
    Every method gives the records that have become ready, without sequences. A record's values
    are settled: its frame decodes to the same record.

    `season` counts the detections of each label so far, and may be carried over a restart.
    `refused` counts the detections in no record by reason, `counted` those in one; `late_effort`
    is what was told only after its interval was over; `unmade` holds the records that could not
    be made, by the place of what their message cannot carry.
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
        self.late_effort = timedelta()
        self.unmade: dict[str, Unmade] = {}
        self._codec = codec
        policy = codec.schema.policy
        self._epoch = codec.schema.epoch
        self._interval = timedelta(seconds=policy.interval_s)
        self._independence = timedelta(seconds=policy.independence_s)
        self._confidence_least = policy.confidence_least
        self._species = {row.label: row for row in codec.schema.species.rows}
        forms = [form_of(message) for message in codec.schema.messages]
        # A batch of summaries takes the place of summaries.
        self._forms = {SUMMARY if f.message == SUMMARIES else f.message: f for f in forms}
        self._summary_fields = self._forms[SUMMARY].fields if SUMMARY in self._forms else {}
        self._rows = self._summary_fields.get(ROWS)
        self._open: Interval | None = None
        self._trusted: bool | None = None
        self._reached: int | None = None
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
            row = interval.rows[species.label] = SpeciesRow(species, detection.at, detection.at)
        row.add(detection, new_visit)
        if new_visit and self._is_alone(species):
            records += self._sighting(SIGHTING, detection, interval.trusted)
        elif new_visit and SIGHTINGS in self._forms:
            records += self._sighting(SIGHTINGS, detection, interval.trusted)
        return records

    def watching(
        self, start: datetime, end: datetime, *, clock_trusted: bool = True
    ) -> list[Record]:
        """The station really watched from `start` to `end`."""
        records = []
        for piece in pieces(Stretch(self.station, start, end), self._epoch, self._interval):
            records += self._enter(piece.start, clock_trusted)
            interval = self._open
            if interval is not None and interval.number == self._number(piece.start):
                interval.watched += piece.end - piece.start
            else:
                self.late_effort += piece.end - piece.start
        return records

    def health(self, health: Health) -> list[Record]:
        """The station's own state, as a `health` record if the schema has that message.

        It comes after the summary of an interval that is over by then. A `restarts` that grew
        since the last report sets the flag `restarted`.
        """
        records = self._turn(health.clock_trusted) + self.close(health.at)
        if HEALTH not in self._forms:
            return records
        restarts = health.values.get("restarts")
        if isinstance(restarts, int):
            if self._restarts is not None and restarts > self._restarts:
                self._restart_untold.add(HEALTH)
            self._restarts = restarts
        at = health.at if health.clock_trusted else None
        return records + self._record(HEALTH, {"at": at}, health.clock_trusted, health.values)

    def restarted(self) -> None:
        """Say so in the next record of every message."""
        self._restart_untold.update(self._forms)

    def close(self, now: datetime | None = None) -> list[Record]:
        """Close the open interval if it is over at `now`.

        Without `now` close it in any case, and let what follows start afresh: when the station
        stops, and before its clock is set back.
        """
        if now is not None:
            over = self._open is not None and self._number(now) > self._open.number
            return self._finish() if over else []
        self._trusted = self._reached = None
        self._last_seen.clear()
        return self._finish()

    @property
    def opened(self) -> datetime | None:
        """When the open interval began, by the station's clock."""
        return None if self._open is None else self._epoch + self._open.number * self._interval

    @property
    def news(self) -> int:
        """Grows with what a power cut must not cost: a row, a visit, a larger group."""
        interval = self._open
        if interval is None:
            return 0
        rows = interval.rows.values()
        return interval.counts.total() + sum(1 + row.visits + row.most for row in rows)

    def kept(self) -> dict[str, Any]:
        """All that is open, as JSON data; `resume` takes it up again."""
        return {
            "season": dict(self.season),
            "trusted": self._trusted,
            "reached": self._reached,
            "last_seen": {label: rfc3339(at) for label, at in self._last_seen.items()},
            "open": None if self._open is None else self._open.to_json(),
        }

    def resume(self, kept: Mapping[str, Any]) -> list[Record]:
        """Take up what `kept` gave, after a boot; the records that are ready.

        An interval of a clock that was not trusted is over: nothing says how it goes on.
        """
        self.season = Counter(kept["season"])
        self._trusted, self._reached = kept["trusted"], kept["reached"]
        self._last_seen = {
            label: datetime.fromisoformat(at) for label, at in kept["last_seen"].items()
        }
        if kept["open"] is not None:
            self._open = Interval.of_json(kept["open"], self._species)
        return [] if self._trusted else self.close()

    def _number(self, at: datetime) -> int:
        return (at - self._epoch) // self._interval

    def _turn(self, trusted: bool) -> list[Record]:
        """Take note of whether the clock is trusted from now on."""
        if trusted == self._trusted:
            return []
        was_trusted, records = self._trusted, self.close()
        if was_trusted and not trusted:
            # A clock that was set stays set while there is power.
            self.restarted()
        self._trusted = trusted
        return records

    def _enter(self, at: datetime, trusted: bool) -> list[Record]:
        """Open the interval of `at`, unless that or a later one was already reached."""
        records = self._turn(trusted)
        number = self._number(at)
        if self._reached is None or number > self._reached:
            records += self._finish()
            self._reached = number
            self._open = Interval(number, trusted)
        return records

    def _finish(self) -> list[Record]:
        """The summary of the open interval, if there is anything to say of it."""
        interval, self._open = self._open, None
        if interval is None or SUMMARY not in self._forms:
            return []
        if not (interval.watched or interval.rows or interval.counts.total()):
            return []
        return self._record(SUMMARY, self._summary(interval), interval.trusted)

    def _refusal(self, species: Species | None, detection: Detection) -> Refusal | None:
        if species is None:
            return Refusal.UNKNOWN_LABEL
        if species.retired:
            return Refusal.RETIRED
        if detection.confidence < self._confidence_least:
            return Refusal.LOW_CONFIDENCE
        if species.report == "count":
            known = COUNTED_AS[species.kind] in self._summary_fields
        else:
            told = self._rows is not None or SIGHTINGS in self._forms
            known = told or self._is_alone(species)
        return None if known else Refusal.NO_FIELD

    def _starts_visit(self, detection: Detection) -> bool:
        last = self._last_seen.get(detection.label)
        self._last_seen[detection.label] = detection.at if last is None else max(last, detection.at)
        return last is None or detection.at - last >= self._independence

    def _is_alone(self, species: Species) -> bool:
        """Whether its visits are sightings of their own, which go at once."""
        return species.report == "priority" and SIGHTING in self._forms

    def _sighting(self, kind: str, detection: Detection, trusted: bool) -> list[Record]:
        values = {
            "at": detection.at if trusted else None,
            "species": detection.label,
            "individuals": detection.individuals,
            "confidence": detection.confidence,
        }
        return self._record(kind, values, trusted)

    def _summary(self, interval: Interval) -> Values:
        start = self._epoch + interval.number * self._interval
        fields = self._rows.fields if isinstance(self._rows, ListOf) else ()
        rows = [row.values(start, fields) for row in interval.rows.values()]
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

    def _watched(self, interval: Interval) -> timedelta | None:
        watched = self._summary_fields.get("watched")
        unknown = not interval.watched and watched is not None and watched.optional
        return None if unknown else interval.watched

    def _record(
        self, kind: str, values: Values, trusted: bool, told: Mapping[str, Any] | None = None
    ) -> list[Record]:
        """The record, or none, counted, where the message cannot carry it.

        Of `values` those are taken that the message has fields for; all that is `told` must fit.
        """
        flags = {"clock_unset": not trusted, "restarted": kind in self._restart_untold}
        form = self._forms[kind]
        message, state = form.message, form.fields.get("state")
        if isinstance(state, Flags):
            values["state"] = [name for name in state.flags if flags[name]]
        try:
            filled = {**_chosen(values, form.fields.values()), **(told or {})}
            carried = settled(self._codec, message, form.values(filled))
        except EncodeError as error:
            unmade = self.unmade.setdefault(error.place, Unmade(0, str(error)))
            unmade.count += 1
            return []
        self._restart_untold.discard(kind)
        return [Record(message, carried, self.station)]


def _chosen(values: Values, fields: Iterable[Field]) -> Values:
    """The values that the message, and the elements of its rows, have fields for."""
    return {
        field.name: [_chosen(row, field.fields) for row in values[field.name]]
        if isinstance(field, ListOf)
        else values[field.name]
        for field in fields
        if field.name in values
    }
