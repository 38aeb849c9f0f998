"""Tables as generated functions hold them: looked up by subscripts, with nothing left to reckon.

A code said earlier that is absent stands as -1, so its row is the last of those to choose from.
"""

from collections.abc import Callable, Mapping, Sequence
from typing import Any

from packcodec.codec.modelled.coder import Cumulative, Step, steps_of
from packcodec.codec.modelled.history import (
    BUCKETS,
    HOUR_ROWS,
    bucket_of,
    set_age_row,
)
from packcodec.codec.modelled.sets import SetOf
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import Classes, fold, unfold

# A table by code is made for so many codes; more are reckoned with.
MOST_LISTED = 4096
ABSENT = -1

# How a function holds a table: to send by it, the step of each symbol.
Held = Callable[[Cumulative], Any]


def to_read(cumulative: Cumulative) -> tuple[tuple[int, ...], tuple[Step, ...]]:
    """Where each symbol but the first begins, and the step of each."""
    return cumulative[1:-1], steps_of(cumulative)


def to_answer(cumulative: Cumulative) -> tuple[int, Step, Step]:
    """Of a table of no and yes: where yes begins, and the step of each."""
    return (cumulative[1], *steps_of(cumulative))  # type: ignore[return-value]


def nested(rows: Sequence[Any], keys: Sequence[Sequence[int]]) -> Any:
    """Rows in tuples of tuples, a level for each context, which has the value keys[level][i] at i.

    Each context has as many values as its level has places.
    """
    if not keys:
        return rows[0]
    size = len(rows) // len(keys[0])
    return tuple(nested(rows[size * key : size * (key + 1)], keys[1:]) for key in keys[0])


def bucket_keys(codes: int) -> tuple[list[int], bytes | Callable[[int], int] | None]:
    """The keys of a code's bucket, and what gives the index of a code, None if it is the index."""
    size, bucket = bucket_of(codes)
    if codes <= BUCKETS:
        return [*range(1, size), 0], None
    if codes <= MOST_LISTED:
        return list(range(size)), bytes([*map(bucket, range(codes)), 0])
    return list(range(size)), lambda code: bucket(None if code == ABSENT else code)


def folds(codes: int, centres: Sequence[int], *, back: bool) -> tuple[tuple[int, ...], ...]:
    """For each centre, the folded form of each code; or `back`, the code of each folded form."""
    turn = unfold if back else fold
    return tuple(tuple(turn(code, centre, codes) for code in range(codes)) for centre in centres)


def class_of(codes: int) -> bytes | Callable[[int], int]:
    """The class of each code."""
    classes = Classes(codes)
    return bytes(map(classes.of, range(codes))) if codes <= MOST_LISTED else classes.of


class NewSpecies:
    """A species that is none of those seen lately, or another than the known, by the hour."""

    def __init__(self, part: SpeciesPart) -> None:
        hours = part.new if len(part.new) > 1 else part.new * HOUR_ROWS
        self.read = tuple(to_read(row) for row in hours)
        self._steps = [
            (dict(zip(part.known, steps, strict=False)), steps[-1])
            for steps in map(steps_of, hours)
        ]

    def step(self, code: int, hour: int) -> Step:
        """To send a known species, or that it is another."""
        known, another = self._steps[hour]
        return known.get(code, another)


class There:
    """Whether each known species is in a set: what is held of its odds."""

    def __init__(self, part: SetOf, held: Held) -> None:
        self.known, self.holds = part.known, part.holds_codes
        self._hourly = len(part.there) > 1
        self._part, self._held = part, held
        self._made: dict[tuple[int, int, int], Any] = {}

    def tables(self, seen_in: Mapping[int, int], instances: int, hour: int) -> list[Any]:
        """Of each known species, at its age in the list's instance of that number."""
        hour = hour if self._hourly else 0
        made = self._made
        found = []
        for at, species in enumerate(self.known):
            key = hour, at, set_age_row(instances, seen_in.get(species))
            table = made.get(key)
            if table is None:
                table = made[key] = self._held(self._part.odds_of(*key))
            found.append(table)
        return found
