"""The bit table of a message: one row for each value, presence bit and count, in sending order."""

from collections.abc import Iterator
from dataclasses import dataclass

from packcodec.layout.model import Count, Group, Place, Presence, Repeat, Run, Step, When
from packcodec.schema.words import kind_of, range_of


@dataclass(frozen=True, slots=True)
class BitRow:
    """`first_bit` counts from the payload's first bit; None where it depends on the values."""

    path: str
    name: str
    depth: int
    first_bit: int | None
    width: int
    kind: str
    meaning: str


def bit_table(body: Group) -> tuple[BitRow, ...]:
    """The rows of a message's body; a list's element is shown once."""
    rows: list[BitRow] = []
    _group(body, 0, 0, rows)
    return tuple(rows)


def _group(group: Group, at: int | None, depth: int, rows: list[BitRow]) -> None:
    for step in group.steps:
        for run, element in _parts(step):
            if element is not None:
                _group(element, None, depth + 1, rows)
                at = None
                continue
            for place in run.places if run else ():
                rows.append(_row(place, at, depth))
                at = None if at is None else at + place.width
        if isinstance(step, When):
            at = None


def _parts(step: Step) -> Iterator[tuple[Run | None, Group | None]]:
    match step:
        case Run():
            yield step, None
        case Repeat():
            yield None, step.element
        case When():
            for inner in step.steps:
                yield from _parts(inner)


def _row(place: Place, at: int | None, depth: int) -> BitRow:
    field = place.field
    path = place.path.split(".", 2)[-1]
    if isinstance(place, Presence):
        return BitRow(
            f"{path}?",
            f"{field.name}?",
            depth,
            at,
            1,
            "presence",
            "1: sent further on, 0: left out",
        )
    name = f"{field.name} ×" if isinstance(place, Count) else field.name
    meaning = range_of(field) + (f"; {field.note}" if field.note else "")
    return BitRow(path, name, depth, at, place.width, kind_of(field), meaning)
