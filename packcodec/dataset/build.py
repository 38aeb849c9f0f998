"""Decoded records → a dataset: placed in their deployments, dated, and with their gaps.

Whatever a message means is read by field name, in the vocabulary that the station fills
(`packcodec.monitor.vocabulary`). People, vehicles and what may be either are dropped here.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Literal

from packcodec.base.untold import Known, Untold, untold
from packcodec.codec.record import Record
from packcodec.dataset.effort import stretches
from packcodec.dataset.model import (
    Clock,
    Dataset,
    Deployment,
    Gap,
    Health,
    HealthField,
    Interval,
    Project,
    Provenance,
    Sighting,
    Tally,
    Total,
)
from packcodec.dataset.values import count, instant, number
from packcodec.errors import LogError
from packcodec.frame.fill import BATCHES, singles
from packcodec.frame.sequence import infer_counter
from packcodec.schema.model import Boolean, Duration, Field, Integer, Message, Scaled, Schema

MINUTE = timedelta(minutes=1)
SIGHTING, SUMMARY, HEALTH = "sighting", "summary", "health"
TIMES = frozenset({"at", "start"})
_KINDS: Mapping[type[Field], Literal["integer", "number", "boolean"]] = {
    Integer: "integer",
    Scaled: "number",
    Duration: "number",
    Boolean: "boolean",
}


@dataclass(frozen=True, slots=True)
class Heard:
    """A record as the base has it. `counter` is the station's whole counter, where known.

    `received` is when its frame came; it dates a record of an unset clock only if that frame came
    straight from the station (provenance "radio"). `frame_bytes` is that frame's length.
    `corrected` is the record's time put right by the fit of the station's clock, within
    `uncertain_s` either way, where it is not right as it stands.
    """

    record: Record
    received: datetime | None = None
    provenance: Provenance = "radio"
    counter: int | None = None
    frame_bytes: int | None = None
    corrected: datetime | None = None
    uncertain_s: float = 0.0


@dataclass(frozen=True, slots=True)
class _Placed:
    heard: Heard
    deployment: Deployment
    counter: int | None
    at: datetime | None
    end: datetime | None
    clock: Clock
    part: str = ""


def build(
    schema: Schema,
    project: Project,
    deployments: Sequence[Deployment],
    heard: Iterable[Heard],
    *,
    created: datetime,
    unsent: Iterable[tuple[int, int]] = (),
) -> Dataset:
    """A dataset of everything heard; `heard` is in the order sent, station by station or mixed.

    Records in JSON form are taken as well as decoded ones. `unsent` are (station, counter) known
    to hold no record, which are no gaps. What lies in no deployment is counted in the tally.
    Raises LogError where a record is not one of `schema`.
    """
    animals = {row.label: row for row in schema.species.rows if row.kind == "animal"}
    others = {row.label for row in schema.species.rows if row.kind != "animal"}
    tally: Counter[str] = Counter()
    known: dict[int, list[Known]] = {}
    placed = _place(schema, deployments, heard, tally, known)
    sightings: list[Sighting] = []
    intervals: list[Interval] = []
    totals: list[Total] = []
    health: list[Health] = []
    for each in placed:
        values = each.heard.record.values
        with _named(each.heard.record):
            match each.heard.record.message:
                case "sighting":
                    if _known(values.get("species"), animals, others, tally):
                        sightings.append(_sighting(each))
                case "summary":
                    intervals.append(_interval(each))
                    totals += [
                        _total(each, row)
                        for row in values.get("rows") or ()
                        if _known(row.get("species"), animals, others, tally)
                    ]
                case "health":
                    health.append(_health(each))
    unsent = list(unsent)
    gaps = _gaps(placed, unsent)
    named = {each.species for each in sightings} | {each.species for each in totals}
    data = Dataset(
        project=project,
        created=created.astimezone(UTC),
        species={label: row for label, row in animals.items() if label in named},
        deployments=tuple(deployments),
        sightings=tuple(sightings),
        intervals=tuple(intervals),
        totals=tuple(totals),
        gaps=tuple(gaps),
        health=tuple(health),
        independence_s=schema.policy.independence_s,
        interval_s=schema.policy.interval_s,
        confidence_least=schema.policy.confidence_least,
        health_fields=_health_fields(schema),
        tally=Tally(
            records=tally["records"],
            recovered=tally["recovered"],
            unplaced=tally["unplaced"],
            unknown_codes=tally["unknown_codes"],
            undated_sightings=sum(each.start is None for each in sightings),
            corrected=sum(each.heard.corrected is not None for each in placed),
            uncertain_s=max((each.heard.uncertain_s for each in placed), default=0.0),
        ),
        untold=tuple(_untold(schema, known, unsent)),
    )
    return replace(data, effort=stretches(data.deployments, data.intervals, data.gaps))


@contextmanager
def _named(record: Record) -> Iterator[None]:
    """Turns whatever a value of the wrong kind raises into one error that names the record."""
    try:
        yield
    except (ValueError, TypeError, KeyError, AttributeError, OverflowError) as error:
        raise LogError(
            f"holds a value that its message cannot: {error}",
            place=f"{record.message} of station {record.station}, sequence {record.sequence}",
            remedy="give the records as they were decoded",
        ) from None


def _known(
    label: object, animals: Mapping[str, Any], others: set[str], tally: Counter[str]
) -> bool:
    """Whether it is an animal of the table; a code that the table lacks may be a person."""
    if label in animals:
        return True
    tally["unknown_codes"] += label not in others
    return False


def _place(
    schema: Schema,
    deployments: Sequence[Deployment],
    heard: Iterable[Heard],
    tally: Counter[str],
    known: dict[int, list[Known]],
) -> list[_Placed]:
    """Each record in its deployment; all that have a counter also go to `known`, by station."""
    messages = {each.name: each for each in schema.messages}
    reached: dict[int, int] = {}
    latest: dict[int, Deployment] = {}
    placed = []
    for each in heard:
        record = each.record
        if record.message not in messages or record.station is None:
            raise LogError(
                f"a record of message {record.message!r}, station {record.station}, is none of "
                f"{schema.name}",
                place="records",
                remedy="give the schema and the stations that the records were made with",
            )
        tally["records"] += 1
        tally["recovered"] += each.provenance == "recovered"
        counter = _counter(each, reached, schema.frame.sequence_bits)
        if counter is not None:
            numbered = Known(counter, record.message, record.values)
            known.setdefault(record.station, []).append(numbered)
        with _named(record):
            parts = _parts(messages[record.message], each)
        for place, part in enumerate(parts, 1):
            with _named(record):
                at, end, clock = _dated(part, schema.policy.interval_s)
            home = _home(deployments, record.station, at, latest)
            if home is None:
                tally["unplaced"] += 1
                continue
            latest[record.station] = home
            said = f"-{place}" if part is not each else ""
            placed.append(_Placed(part, home, counter, at, end, clock, said))
    order = {each.id: n for n, each in enumerate(deployments)}
    # A counter orders what no clock dates; where there is none the order of arrival has to do.
    return sorted(placed, key=lambda one: (order[one.deployment.id], one.counter or 0))


def _parts(message: Message, heard: Heard) -> list[Heard]:
    """A batch as what it holds. When its elements were, the time of reception cannot tell."""
    record = heard.record
    if message.name not in BATCHES:
        return [heard]
    times = {name: instant(record.values[name]) for name in TIMES & record.values.keys()}
    parts = singles(message, replace(record, values={**record.values, **times}))
    return [replace(heard, record=part, received=None) for part in parts]


def _counter(heard: Heard, reached: dict[int, int], bits: int) -> int | None:
    sent, station = heard.record.sequence, heard.record.station
    assert station is not None
    counter = heard.counter
    if counter is None:
        if sent is None or not bits:
            return None
        expected = reached.get(station, sent - 1) + 1
        counter = infer_counter(expected, sent % (1 << bits), bits)
    reached[station] = max(counter, reached.get(station, counter))
    return counter


def _dated(heard: Heard, interval_s: int) -> tuple[datetime | None, datetime | None, Clock]:
    values = heard.record.values
    interval = timedelta(seconds=interval_s if heard.record.message == SUMMARY else 0)
    at = instant(values.get("start" if interval else "at"))
    if at is not None and heard.corrected is not None:
        # To the minute, which it is not known to: so neighbouring intervals still meet.
        at += round((heard.corrected - at) / MINUTE) * MINUTE
        return at, at + interval, "corrected"
    if at is not None:
        return at, at + interval, "trusted"
    if heard.received is None or heard.provenance != "radio":
        return None, None, "unset"
    end = heard.received.astimezone(UTC).replace(microsecond=0)
    return end - interval, end, "corrected"


def _home(
    deployments: Sequence[Deployment],
    station: int,
    at: datetime | None,
    latest: Mapping[int, Deployment],
) -> Deployment | None:
    own = [each for each in deployments if each.station == station]
    if at is None:
        return latest.get(station) or (own[0] if own else None)
    # An interval begins on the whole hour, its deployment at some minute within it.
    hour = timedelta(hours=1)
    return next((each for each in own if each.start - hour < at <= each.end), None)


def _sighting(placed: _Placed) -> Sighting:
    values = placed.heard.record.values
    n = "undated" if placed.counter is None else placed.counter
    return Sighting(
        id=f"{placed.deployment.id}-{n}{placed.part}",
        deployment=placed.deployment.id,
        species=values["species"],
        start=placed.at,
        end=placed.end,
        individuals=count(values.get("individuals"), 1),
        confidence=number(values.get("confidence")),
        provenance=placed.heard.provenance,
        clock=placed.clock,
    )


def _interval(placed: _Placed) -> Interval:
    values = placed.heard.record.values
    return Interval(
        deployment=placed.deployment.id,
        start=placed.at,
        end=placed.end,
        watched_s=number(values.get("watched")),
        left_out=count(values.get("left_out"), 0),
        provenance=placed.heard.provenance,
        clock=placed.clock,
    )


def _total(placed: _Placed, row: Mapping[str, Any]) -> Total:
    return Total(
        deployment=placed.deployment.id,
        start=placed.at,
        end=placed.end,
        species=row["species"],
        visits=count(row.get("visits"), 0),
        most=count(row.get("most"), 1),
        first_s=number(row.get("first")),
        last_s=number(row.get("last")),
        confidence=number(row.get("confidence")),
        provenance=placed.heard.provenance,
        clock=placed.clock,
    )


def _health(placed: _Placed) -> Health:
    values = {name: each for name, each in placed.heard.record.values.items() if name != "at"}
    return Health(placed.deployment.id, placed.at, values, placed.heard.provenance, placed.clock)


def _gaps(placed: Sequence[_Placed], unsent: Iterable[tuple[int, int]]) -> list[Gap]:
    """Runs of counters that never came, between the nearest dated reports on either side.

    Sightings bound no gap: its edge would tell when a species was seen that is to be kept back.
    """
    silent: dict[int, list[int]] = {}
    for station, counter in sorted(unsent):
        silent.setdefault(station, []).append(counter)
    following = _next_dated(placed)
    gaps = []
    last: dict[int, int] = {}
    ended: dict[int, datetime] = {}
    for each, before in zip(placed, following, strict=True):
        station = each.deployment.station
        if each.counter is None:
            continue
        first = last.get(station, -1) + 1
        known = silent.get(station, [])
        missing = each.counter - first
        missing -= bisect_left(known, each.counter) - bisect_left(known, first)
        if missing > 0:
            restart = "restarted" in (each.heard.record.values.get("state") or ())
            after = ended.get(station)
            gaps.append(Gap(each.deployment.id, station, missing, after, before, restart))
        last[station] = each.counter
        if each.end is not None and each.heard.record.message != SIGHTING:
            ended[station] = each.end
    return gaps


def _untold(
    schema: Schema, known: Mapping[int, list[Known]], unsent: Iterable[tuple[int, int]]
) -> Iterator[tuple[int, Untold]]:
    """Station by station, what no record tells of the counts that have a running total."""
    silent = [(station, Known(counter)) for station, counter in unsent if station in known]
    for station, numbered in sorted(known.items()):
        own = [*numbered, *(each for of, each in silent if of == station)]
        own.sort(key=lambda each: each.counter)
        with _named(Record(SUMMARY, {}, station)):
            yield from ((station, each) for each in untold(schema, own))


def _next_dated(placed: Sequence[_Placed]) -> list[datetime | None]:
    """For each record the time of the first dated report at or after it, at its station."""
    coming: dict[int, datetime] = {}
    times = []
    for each in reversed(placed):
        if each.at is not None and each.heard.record.message != SIGHTING:
            coming[each.deployment.station] = each.at
        times.append(coming.get(each.deployment.station))
    return times[::-1]


def _health_fields(schema: Schema) -> tuple[HealthField, ...]:
    message = next((each for each in schema.messages if each.name == HEALTH), None)
    return tuple(
        HealthField(
            each.name, _KINDS.get(type(each), "string"), getattr(each, "unit", ""), each.note
        )
        for each in (message.fields if message else ())
        if each.name != "at"
    )
