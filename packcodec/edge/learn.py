"""Logs → the records that tables are learned from, and what the tables then cost on other days."""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from packcodec.codec.modelled.meter import Meter
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.train import train
from packcodec.codec.modelled.tree import Tree
from packcodec.codec.record import Record, Values
from packcodec.errors import EncodeError, LogError, SchemaError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import Element, as_sets, batch_list, batches_of, unbatched
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import BATCHES, SUMMARY, VOCABULARY
from packcodec.monitor.whole_log import summarise
from packcodec.schema.model import ListOf, Message, Schema, Time
from packcodec.schema.models import Models

# How many elements the frames that are learned from hold: few, and many. Context grows in a frame.
SIGHTINGS_A_FRAME = (8, 45, 200)
INTERVALS_A_FRAME = (1, 4, 16)
LENGTHS = 3
HELD_OUT = 4  # one day in so many, the last ones


@dataclass(frozen=True, slots=True)
class Log:
    """What logs say, all stations together."""

    detections: Sequence[Detection]
    watches: Sequence[Stretch] | None = None
    health: Sequence[Health] = ()

    def days(self) -> list[date]:
        """The days (UTC) with a detection, in order."""
        return sorted({each.at.date() for each in self.detections})

    def on(self, days: Iterable[date]) -> "Log":
        """What was said of these days (UTC); a watch belongs to the day that it begins on."""
        chosen = frozenset(days)
        return Log(
            [each for each in self.detections if each.at.date() in chosen],
            None
            if self.watches is None
            else [each for each in self.watches if each.start.date() in chosen],
            [each for each in self.health if each.at.date() in chosen],
        )


@dataclass(frozen=True, slots=True)
class Cost:
    """One message on held-out days, in bits of payload an element (a record, if not a batch).

    `fixed` is the fixed coding, `modelled` what is sent, in whole bytes a record, `information`
    that of the symbols under the tables.
    """

    message: str
    a_record: int
    records: int
    elements: int
    fixed: float
    modelled: float
    information: float


def learn(schema: Schema, log: Log, size_bytes: int) -> tuple[Models, list[Cost]]:
    """Models from all but the last quarter of the log's days, and what they cost on that quarter.

    Raises LogError where the log has fewer than four days, or holds nothing that a message says;
    SchemaError where the schema's coding is not modelled.
    """
    if schema.coding != "modelled":
        raise SchemaError(
            "fixed coding has no tables to learn",
            place=schema.name,
            remedy='set coding = "modelled"',
        )
    days = log.days()
    if len(days) < HELD_OUT:
        raise LogError(
            f"detections on {len(days)} days cannot be split into learning and measuring",
            remedy=f"give a log of {HELD_OUT} days or more",
        )
    first_held = len(days) - len(days) // HELD_OUT
    codec = Codec(compile_layout(replace(schema, models=None)))
    known = list(_trees(codec, log.on(days[:first_held])))
    if not known:
        raise LogError(
            "nothing in the log fits a message of the schema",
            place=schema.name,
            remedy="give it a message that logs tell of, such as summary",
        )
    models = train(
        codec.layout,
        ((name, 1 / LENGTHS if a_record else 1.0, tree) for name, a_record, tree in known),
        size_bytes=size_bytes,
    )
    trained = Codec(compile_layout(replace(schema, models=models)))
    return models, _costs(trained, _trees(trained, log.on(days[first_held:])))


def _costs(codec: Codec, trees: Iterable[tuple[str, int, Tree]]) -> list[Cost]:
    by_kind: dict[tuple[str, int], list[Tree]] = defaultdict(list)
    for name, a_record, tree in trees:
        by_kind[name, a_record].append(tree)
    return [_cost(codec, *kind, those) for kind, those in by_kind.items()]


def _cost(codec: Codec, name: str, a_record: int, trees: list[Tree]) -> Cost:
    payload = codec.payloads[name]
    assert isinstance(payload, ModelledPayload)
    meter = Meter(payload.walk)
    fixed = sent = elements = 0
    for tree in trees:
        last = tree[-1]
        elements += len(last) if a_record and isinstance(last, list) else 1
        bits, octets = payload.sizes(tree)
        fixed += bits
        sent += octets
        meter.measure(tree, 8 * octets)
    return Cost(
        name,
        a_record,
        len(trees),
        elements,
        fixed / elements,
        8 * sent / elements,
        meter.bits / elements,
    )


def _trees(codec: Codec, log: Log) -> Iterator[tuple[str, int, Tree]]:
    """Message, elements a record (0 where it is no batch), and codes of each record."""
    for name, a_record, values in _values(codec, log):
        payload = codec.payloads[name]
        assert isinstance(payload, ModelledPayload)
        try:
            yield name, a_record, payload.tree(as_sets(codec, name, values))
        except EncodeError:
            continue  # a record that could not be sent teaches nothing


def _values(codec: Codec, log: Log) -> Iterator[tuple[str, int, Values]]:
    messages = codec.schema.messages
    by_station: Mapping[int, list[Element]]
    elements: dict[str, dict[int, list[Element]]] = {}
    if any(message.name in VOCABULARY or message.name in BATCHES for message in messages):
        for record in summarise(codec, log.detections, log.watches, log.health).records:
            if record.message in BATCHES:
                _add_elements(elements.setdefault(record.message, {}), codec, record)
            else:
                yield record.message, 0, record.values
    for message in messages:
        listed = None if message.name in VOCABULARY else batch_list(message)
        if listed is None:
            continue
        intervals = any(isinstance(field, ListOf) for field in listed.fields)
        if message.name in BATCHES:
            by_station = elements.get(message.name, {})
        elif intervals:
            by_station = _intervals(codec.schema, message, listed, log)
        else:
            by_station = _sightings(codec.schema, listed, log)
        for most in INTERVALS_A_FRAME if intervals else SIGHTINGS_A_FRAME:
            for those in by_station.values():
                for values in batches_of(codec, message.name, those, most):
                    yield message.name, most, values


def _add_elements(found: dict[int, list[Element]], codec: Codec, record: Record) -> None:
    """The elements of a batch by a clock that was set, as a station would join them."""
    message = codec.payloads[record.message].message.message
    elements = found.setdefault(record.station or 0, [])
    elements += [(at, values) for at, values in unbatched(message, record.values) if at]


def _sightings(schema: Schema, listed: ListOf, log: Log) -> dict[int, list[Element]]:
    """Every detection worth reporting, by station, in the order of time."""
    rows = {row.label: row for row in schema.species.rows}
    names = {field.name for field in listed.fields}
    found: dict[int, list[Element]] = defaultdict(list)
    for each in sorted(log.detections, key=lambda each: each.at):
        row = rows.get(each.label)
        if (
            row is None
            or row.retired
            or row.report not in ("priority", "summary")
            or each.confidence < schema.policy.confidence_least
        ):
            continue
        values = {
            "species": each.label,
            "individuals": each.individuals,
            "confidence": each.confidence,
        }
        found[each.station].append(
            (each.at, {name: value for name, value in values.items() if name in names})
        )
    return found


def _intervals(
    schema: Schema, message: Message, listed: ListOf, log: Log
) -> dict[int, list[Element]]:
    """The summaries of the log, as a summary message with the element's fields would say them."""
    time = next(field for field in message.fields if isinstance(field, Time))
    fields = tuple(field for field in listed.fields if not getattr(field, "since", ""))
    alone = replace(
        schema,
        coding="fixed",
        models=None,
        messages=(Message(SUMMARY, 0, (replace(time, name="start", optional=True), *fields)),),
    )
    found: dict[int, list[Element]] = defaultdict(list)
    codec = Codec(compile_layout(alone))
    for record in summarise(codec, log.detections, log.watches).records:
        values = dict(record.values)
        start = values.pop("start")
        if start is not None and record.station is not None:
            found[record.station].append((start, values))
    return found
