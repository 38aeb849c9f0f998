"""Old against new: what a changed schema means for stations and bases in the field."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Literal

from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Layout
from packcodec.schema.model import Field, ListOf, Message, Schema, Species
from packcodec.schema.words import kind_of, range_of, repair_words

Verdict = Literal["same", "readable", "breaking"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """`verdict` of a change, and every difference that was found, one line each.

    same: the same bits with the same meaning; only what never goes on the air may differ.
    readable: a base that knows only the old schema decodes the new frames, and names what it does
    not know by its number.
    breaking: a base needs the new schema. It may hold both, since the identity tells them apart,
    unless `unsafe` says that one identity would stand for two meanings.
    """

    verdict: Verdict
    reasons: tuple[str, ...]
    unsafe: bool = False


def compare_layouts(old: Layout, new: Layout) -> Comparison:
    """What changes on the air from `old` to `new`, and who stays able to read."""
    meanings = tuple(_species_conflicts(old.schema, new.schema))
    added = tuple(_species_added(old.schema, new.schema, old.identity == new.identity))
    quiet = tuple(_off_air(old.schema, new.schema))
    if old.identity != new.identity:
        return Comparison("breaking", (*_on_air(old, new), *meanings, *added, *quiet))
    if meanings:
        return Comparison("breaking", (*meanings, *added, *quiet), unsafe=True)
    return Comparison("readable" if added else "same", (*added, *quiet))


def _on_air(old: Layout, new: Layout) -> Iterator[str]:
    before, after = old.schema, new.schema
    for name, one, other in (
        ("schema name", before.name, after.name),
        ("version", before.version, after.version),
        ("epoch", _instant(before.epoch), _instant(after.epoch)),
        ("coding", before.coding, after.coding),
        ("species codes", before.species.capacity, after.species.capacity),
        ("check", before.frame.check, after.frame.check),
        ("seal", before.frame.seal or "open", after.frame.seal or "open"),
        ("tag bits", before.frame.tag_bits, after.frame.tag_bits),
        ("message bits", before.frame.message_bits, after.frame.message_bits),
        ("station bits", before.frame.station_bits, after.frame.station_bits),
        ("sequence bits", before.frame.sequence_bits, after.frame.sequence_bits),
        ("repair", repair_words(before.repair), repair_words(after.repair)),
    ):
        if one != other:
            yield f"{name}: {one} → {other}"
    messages = {message.name: message for message in after.messages}
    for message in before.messages:
        successor = messages.pop(message.name, None)
        if successor is None:
            yield f"message {message.name} is gone"
        else:
            yield from _message(message, successor, before, after)
    for message in messages.values():
        yield f"message {message.name} is new (code {message.code})"
    if before.models != after.models:
        yield "the tables of modelled coding differ"
    yield from _founding(before, after)


def _message(old: Message, new: Message, before: Schema, after: Schema) -> Iterator[str]:
    if old.code != new.code:
        yield f"message {old.name}: code {old.code} → {new.code}"
    yield from _fields(f"{old.name}.", old.fields, new.fields, before, after)


def _fields(
    path: str, old: tuple[Field, ...], new: tuple[Field, ...], before: Schema, after: Schema
) -> Iterator[str]:
    successors = {field.name: field for field in new}
    for field in old:
        successor = successors.pop(field.name, None)
        if successor is None:
            yield f"{path}{field.name} is gone"
            continue
        yield from _field(f"{path}{field.name}", field, successor, before, after)
    for field in successors.values():
        yield f"{path}{field.name} is new"
    if [field.name for field in old if field.name in {f.name for f in new}] != [
        field.name for field in new if field.name in {f.name for f in old}
    ]:
        yield f"{path.rstrip('.')}: its fields stand in another order"


def _field(path: str, old: Field, new: Field, before: Schema, after: Schema) -> Iterator[str]:
    if old.optional != new.optional:
        yield f"{path}: {'optional' if new.optional else 'required'} now"
    if kind_of(old) != kind_of(new):
        yield f"{path}: {kind_of(old)} → {kind_of(new)}"
        return
    one = (codes_of(old, before) - 1).bit_length()
    other = (codes_of(new, after) - 1).bit_length()
    if one != other:
        yield f"{path}: {one} bits → {other} bits"
    if range_of(old) != range_of(new):
        yield f"{path}: {range_of(old)} → {range_of(new)}"
    elif getattr(old, "since", "") != getattr(new, "since", ""):
        yield f"{path}: counted since {getattr(old, 'since', '')!r} → {getattr(new, 'since', '')!r}"
    elif getattr(old, "unit", "") != getattr(new, "unit", ""):
        yield f"{path}: unit {getattr(old, 'unit', '')!r} → {getattr(new, 'unit', '')!r}"
    if isinstance(old, ListOf) and isinstance(new, ListOf):
        yield from _fields(f"{path}[].", old.fields, new.fields, before, after)


def _meaning(row: Species) -> tuple[str, str]:
    return row.kind, row.scientific_name or row.label


def _instant(epoch: datetime) -> str:
    return epoch.isoformat().replace("+00:00", "Z")


def _founding(before: Schema, after: Schema) -> Iterator[str]:
    known = {row.code: row for row in before.species.rows}
    for row in after.species.rows:
        old = known.get(row.code)
        if row.added:
            if old and not old.added:
                yield (
                    f"species code {row.code} ({row.label}) was a founding row and has a date now; "
                    "leave its column 'added' empty"
                )
        elif old is None or old.added:
            yield (
                f"species code {row.code} ({row.label}) {'is new' if old is None else 'is there'}, "
                "without the date it joined; with that in the column 'added', old bases stay able "
                "to read"
            )


def _species_conflicts(before: Schema, after: Schema) -> Iterator[str]:
    rows = {row.code: row for row in after.species.rows}
    for row in before.species.rows:
        successor = rows.get(row.code)
        if successor is None:
            yield f"species code {row.code} ({row.label}) is gone; retire a row, never remove it"
        elif _meaning(successor) != _meaning(row):
            yield (
                f"species code {row.code} meant {' '.join(_meaning(row))} and now means "
                f"{' '.join(_meaning(successor))}; codes are append-only"
            )


def _species_added(before: Schema, after: Schema, readable: bool) -> Iterator[str]:
    """Rows that joined, by their dates; `readable`: old bases still read the frames."""
    known = {row.code for row in before.species.rows}
    for row in after.species.rows:
        if row.code not in known and row.added:
            called = f"; an old base calls it #{row.code}" if readable else ""
            yield f"species code {row.code} ({row.label}) is new{called}"


def _off_air(before: Schema, after: Schema) -> Iterator[str]:
    """Differences that never go on the air."""
    rows = {row.code: row for row in after.species.rows}
    for row in before.species.rows:
        successor = rows.get(row.code)
        if successor is None or _meaning(successor) != _meaning(row):
            continue
        for column in fields(Species):
            one, other = getattr(row, column.name), getattr(successor, column.name)
            if one != other and (column.name != "added" or (one and other)):
                yield f"species code {row.code}: {column.name} {one!r} → {other!r} (not sent)"
    if before.policy != after.policy:
        yield "the reporting policy differs (not sent)"
    if before.stations != after.stations:
        yield "the stations' names differ (not sent)"
