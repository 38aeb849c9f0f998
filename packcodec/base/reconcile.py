"""The card against the radio: what a station recorded, and how much of it came through the air.

Records are paired by station, message and the time they carry, and a sighting by its species too.
Records without a time, from a clock that was not set, pair only where they are equal. Of each
pair the card is the fuller one: what the radio's record lacks was left out so that it would fit.
"""

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum
from typing import Any

from packcodec.base.clock import said_time
from packcodec.codec.record import AtLeast, AtMost, Record
from packcodec.frame.fill import single_of, singles
from packcodec.schema.model import ListOf, Message, Schema, SpeciesCode

Key = tuple[Any, ...]


class Finding(StrEnum):
    """What became of a record on the card."""

    AGREED = "agreed"
    LOST = "lost"
    LEFT_OUT = "left out by fitting"
    CONTRADICTED = "contradicted"


@dataclass(frozen=True, slots=True)
class Compared:
    """One record of the card, the radio's (None where it was lost), and what differs."""

    finding: Finding
    card: Record
    radio: Record | None
    differences: tuple[str, ...] = ()


@dataclass(slots=True)
class Told:
    """One species: what the card counts, and what the radio told of it."""

    card_visits: int = 0
    radio_visits: int = 0
    radio_records: int = 0

    @property
    def under_report(self) -> float:
        """The share (0 to 1) of the card's visits that the radio did not tell."""
        return 1 - self.radio_visits / self.card_visits if self.card_visits else 0.0


@dataclass(slots=True)
class Reconciliation:
    """Every record of the card with its finding, and the radio's that the card does not know.

    The card's records are the sum of the findings; the radio's are those of the findings that have
    one, and `only_radio`.
    """

    compared: list[Compared] = field(default_factory=list)
    only_radio: list[Record] = field(default_factory=list)
    species: dict[str, Told] = field(default_factory=dict)

    def count(self, finding: Finding) -> int:
        """How many of the card's records came to this finding."""
        return sum(each.finding is finding for each in self.compared)


def reconcile(schema: Schema, card: Iterable[Record], radio: Iterable[Record]) -> Reconciliation:
    """Compare the records made from a card's log with those that came by radio."""
    messages = {message.name: message for message in schema.messages}
    # A batch is compared element by element: the radio joins what the card has one by one.
    card = [each for record in card for each in singles(messages[record.message], record)]
    radio = [each for record in radio for each in singles(messages[record.message], record)]
    for single in filter(None, map(single_of, schema.messages)):
        messages.setdefault(single.name, single)
    found, told = Reconciliation(), defaultdict[str, Told](Told)
    waiting: dict[Key, list[Record]] = defaultdict(list)
    for record in radio:
        waiting[_key(record, messages)].append(record)
        _tell(told, record, messages, radio=True)
    for record, partner in zip(card, _partners(card, waiting, messages), strict=True):
        _tell(told, record, messages, radio=False)
        found.compared.append(_compared(record, partner))
    found.only_radio = [record for left in waiting.values() for record in left]
    found.species = dict(sorted(told.items()))
    return found


def _partners(
    card: list[Record], waiting: dict[Key, list[Record]], messages: Mapping[str, Message]
) -> list[Record | None]:
    """The radio's record of each of the card's, taken out of those that wait: equal ones first."""
    partners: list[Record | None] = [None] * len(card)
    for equal in (True, False):
        for at, record in enumerate(card):
            others = waiting.get(_key(record, messages), [])
            for other in others if partners[at] is None else ():
                if other.values == record.values or not equal:
                    others.remove(other)
                    partners[at] = other
                    break
    return partners


def _key(record: Record, messages: Mapping[str, Message]) -> Key:
    said = said_time(record)
    if said is None:
        return record.station, record.message, repr(_settled(record.values))
    species = tuple(
        record.values.get(each.name)
        for each in messages[record.message].fields
        if isinstance(each, SpeciesCode)
    )
    return record.station, record.message, said, species


def _compared(card: Record, radio: Record | None) -> Compared:
    if radio is None:
        return Compared(Finding.LOST, card, None)
    contradicted, left_out = [], []
    for name, value in card.values.items():
        other = radio.values.get(name)
        if value == other:
            continue
        if isinstance(value, list) and isinstance(other, list):
            wrong, gone = _rows(name, value, other)
            contradicted += wrong
            left_out += gone
        elif other is None:
            left_out.append(f"{name}: {_shown(value)} was not sent")
        elif not (name == "left_out" and _number(other) >= _number(value)):
            contradicted.append(f"{name}: card {_shown(value)}, radio {_shown(other)}")
    if contradicted:
        return Compared(Finding.CONTRADICTED, card, radio, tuple(contradicted))
    finding = Finding.LEFT_OUT if left_out else Finding.AGREED
    return Compared(finding, card, radio, tuple(left_out))


def _rows(name: str, card: list[Any], radio: list[Any]) -> tuple[list[str], list[str]]:
    """Rows pair by their first field, which says what they are about."""
    wrong, gone = [], []
    others = {_about(row): row for row in radio}
    for row in card:
        about = _about(row)
        other = others.pop(about, None)
        if other is None:
            gone.append(f"{name}: {about}")
            continue
        for key, value in row.items():
            if other[key] is None and value is not None:
                gone.append(f"{name}: {about}: {key}")
            elif other[key] != value:
                wrong.append(
                    f"{name}: {about}: {key}: card {_shown(value)}, radio {_shown(other[key])}"
                )
    wrong += [f"{name}: {about} is on the radio alone" for about in others]
    return wrong, gone


def _about(row: Mapping[str, Any]) -> Any:
    return next(iter(row.values()), None)


def _tell(
    told: dict[str, Told], record: Record, messages: Mapping[str, Message], *, radio: bool
) -> None:
    """Count a summary's rows by species: their visits, or one where they have none."""
    for each in messages[record.message].fields:
        if not isinstance(each, ListOf):
            continue
        about = next((f.name for f in each.fields if isinstance(f, SpeciesCode)), None)
        if about is None:
            continue
        for row in record.values.get(each.name) or ():
            species = told[row[about]]
            visits = _number(row.get("visits", 1))
            if radio:
                species.radio_visits += visits
                species.radio_records += 1
            else:
                species.card_visits += visits


def _number(value: object) -> int:
    """A count; a bound counts as what it is at least."""
    if isinstance(value, AtLeast | AtMost):
        value = value.value
    return int(value) if isinstance(value, int | float) else 0


def _settled(value: object) -> object:
    return sorted(value.items()) if isinstance(value, dict) else value


def _shown(value: object) -> str:
    if isinstance(value, AtLeast):
        return f"{value.value} or more"
    if isinstance(value, AtMost):
        return f"{value.value} or less"
    return value.isoformat() if isinstance(value, datetime) else str(value)
