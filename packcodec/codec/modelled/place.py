"""One place of a message: which row of its table is used, and what a symbol of it says."""

from collections.abc import Callable
from typing import Any, NoReturn, Protocol

from packcodec.codec.modelled.coder import Coder
from packcodec.codec.modelled.history import (
    HOUR_ROWS,
    KINS,
    RANKS,
    Now,
    bucket_of,
)
from packcodec.codec.modelled.tables import Classes, cumulative, fold, unfold
from packcodec.codec.modelled.tree import Item, Tree
from packcodec.errors import LayoutError
from packcodec.frozen import frozen, replace
from packcodec.schema.model import Field
from packcodec.schema.models import BEFORE, PlaceTable

RANK = "recent"

Earlier = Callable[[Now], int | None]
"""A code said earlier, None where there is none."""


@frozen
class Spot:
    """A place as its table sees it: `codes` different ones, `get` finds its code in a group.

    `species` is where the group's species stands, if it has been said before this place; `before`
    are where the fields said just before stand, the nearest first, with their numbers of codes.
    `ranked`: the elements of the list have a rank.
    """

    path: str
    role: str
    codes: int
    field: Field
    get: Callable[[Tree], Any]
    listed: bool
    species: int | None = None
    before: tuple[tuple[int, int], ...] = ()
    ranked: bool = False

    def contexts(self, kin: dict[int, int]) -> "dict[str, Context]":
        """The contexts that may choose this place's row, by name."""
        found = {"hour": Context(HOUR_ROWS, lambda now: now.history.hour_row())}
        for name, (at, codes) in zip(BEFORE, self.before, strict=False):
            found[name] = _bucketed(_said_at(at), codes)
        if not self.listed:
            return found
        if self.role != RANK:
            found["previous"] = _bucketed(self._previous, self.codes)
        if self.species is not None:
            found["kin"] = Context(KINS, lambda now: kin.get(self.said_species(now), 0))
            found["last"] = _bucketed(self._last, self.codes)
        if self.ranked:
            found["rank"] = _bucketed(lambda now: now.here.rank, RANKS)
        return found

    def centres(self) -> dict[str, Earlier]:
        """What the code may be counted from, where that is a code said earlier."""
        found: dict[str, Earlier] = {}
        for name, (at, _) in zip(BEFORE, self.before, strict=False):
            found[name] = _said_at(at)
        if self.listed and self.role != RANK:
            found["previous"] = self._previous
            if self.species is not None:
                found["last"] = self._last
        return found

    def like(self, path: str, role: str, codes: int, get: Callable[[Tree], Any]) -> "Spot":
        """Another place of the same field."""
        return replace(self, path=path, role=role, codes=codes, get=get)

    def said_species(self, now: Now) -> int:
        assert self.species is not None
        code = now.group[self.species]
        assert isinstance(code, int)
        return code

    def _previous(self, now: Now) -> int | None:
        element = now.here.previous
        return None if element is None else self.get(element)

    def _last(self, now: Now) -> int | None:
        element = now.here.last.get(self.said_species(now))
        return None if element is None else self.get(element)


@frozen
class Context:
    """A part of what is known, in `size` kinds."""

    size: int
    of: Callable[[Now], int]


def _said_at(at: int) -> Callable[[Now], Any]:
    return lambda now: now.group[at]


def _bucketed(earlier: Earlier, codes: int) -> Context:
    """The bucket of a code said earlier, 0 where there is none."""
    size, bucket = bucket_of(codes)
    return Context(size, lambda now: bucket(earlier(now)))


class Place(Protocol):
    """What a walk does at a place; training has its own kind."""

    def code(self, coder: Coder, now: Now, said: Any) -> int:
        """The code there: `said` when encoding, what was sent when decoding."""


class Part(Protocol):
    """A field of a group, as a walk goes through it."""

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        """What the field holds: `said` when encoding, what was sent when decoding."""


class TablePlace:
    """A place by its table: the class of the code's distance from a centre, and the rest alike.

    A table without rows sends all codes alike.
    """

    def __init__(self, spot: Spot, table: PlaceTable, known: tuple[int, ...]) -> None:
        self.spot = spot
        self.table = table
        self.kin = dict(zip(known, table.kin, strict=False))
        self.codes = spot.codes
        self.spans = Classes(spot.codes).spans
        self.class_of = Classes(spot.codes).of
        available = spot.contexts(self.kin)
        check_contexts(table, tuple(available))
        self.contexts = [available[name] for name in table.contexts]
        rows = 1
        for context in self.contexts:
            rows *= context.size
        check_rows(table, rows, len(self.spans), empty_allowed=True)
        self.rows = [cumulative(row) for row in table.rows]
        self.around = table.around != "none"
        self.centre_of = _centre_of(spot, table)

    def code(self, coder: Coder, now: Now, said: Any) -> int:
        if not self.rows:
            return coder.uniform(self.codes, said)
        row = 0
        for context in self.contexts:
            row = row * context.size + context.of(now)
        centre = self.centre_of(now) if self.around else 0
        if self.around and said is not None:
            said = fold(said, centre, self.codes)
        symbol = coder.symbol(self.rows[row], 0 if said is None else self.class_of(said))
        code, width = self.spans[symbol]
        if width > 1:
            code += coder.uniform(width, 0 if said is None else said - code)
        return unfold(code, centre, self.codes) if self.around else code


def _centre_of(spot: Spot, table: PlaceTable) -> Callable[[Now], int]:
    last = spot.codes - 1
    fallback = min(table.centre, last)
    available = spot.centres()
    if table.around in ("none", "centre"):
        available = {table.around: lambda _: None}
    if table.around not in available:
        refuse(table, f"cannot count from {table.around!r} there", _choice(("centre", *available)))
    found = available[table.around]

    def centre(now: Now) -> int:
        code = found(now)
        return fallback if code is None else min(code, last)

    return centre


def check_contexts(table: PlaceTable, available: tuple[str, ...]) -> None:
    """Raises LayoutError for a context that is not in `available`, or is there twice."""
    for name in table.contexts:
        if name not in available:
            refuse(table, f"{name!r} is not known at this place", _choice(available))
    if len(set(table.contexts)) != len(table.contexts):
        refuse(table, "names a context twice", "name each once")


def check_rows(table: PlaceTable, rows: int, symbols: int, *, empty_allowed: bool = False) -> None:
    """Raises LayoutError unless there are so many rows of so many bytes each."""
    if empty_allowed and not table.rows:
        return
    if len(table.rows) != rows:
        refuse(table, f"has {len(table.rows)} rows", f"these contexts choose among {rows}")
    for row in table.rows:
        if len(row) != symbols:
            refuse(table, f"has a row of {len(row)} bytes", f"this place has {symbols} symbols")


def _choice(names: tuple[str, ...]) -> str:
    return f"it may be {', '.join(names)}" if names else "it takes none"


def refuse(table: PlaceTable, problem: str, remedy: str) -> NoReturn:
    """Raises LayoutError that names the table's place."""
    raise LayoutError(
        problem,
        place=f"models {table.path}",
        remedy=f"{remedy}; models belong to the schema they were trained for",
    )
