"""Rows of one known species each, in order: for each species, whether it is there."""

from collections.abc import Sequence
from operator import lt
from typing import TYPE_CHECKING, Any

from packcodec.codec.modelled.coder import Coder, Cumulative, meaningless
from packcodec.codec.modelled.history import HOUR_ROWS, SET_AGES, History, ListHistory, set_age_row
from packcodec.codec.modelled.place import Spot, check_contexts, check_rows
from packcodec.codec.modelled.tables import OCTAVE, cumulative, odds
from packcodec.codec.modelled.tree import Tree

if TYPE_CHECKING:
    from packcodec.codec.modelled.walk import ListPart, Walk

# The byte of even odds; 8 more is twice as likely.
EVEN = 16 * OCTAVE


class SetOf:
    """Rows that ascend strictly by species, all of them known: a yes or no for each species.

    The odds of yes are those of the species at the hour, times those of how long ago in this
    packet it was in the set.
    """

    def __init__(self, walk: "Walk", spot: Spot, of: "ListPart") -> None:
        walk.sets.append(self)
        self.walk = walk
        self.path = spot.path
        self.of = of
        self.known = walk.models.species
        self.positions = frozenset(self.known)
        flag = walk.table(spot.like(f"{spot.path} set", "set", 2, spot.get))
        check_contexts(flag, ())
        check_rows(flag, 1, 2)
        self.flag = walk.named(spot.path, cumulative(flag.rows[0]))
        there = walk.table(spot.like(f"{spot.path} there", "there", len(self.known), spot.get))
        check_contexts(there, ("hour",))
        check_rows(there, HOUR_ROWS if there.contexts else 1, len(self.known))
        age = walk.table(spot.like(f"{spot.path} age", "age", SET_AGES, spot.get))
        check_contexts(age, ())
        check_rows(age, 1, SET_AGES)
        self.there = [[byte - EVEN for byte in row] for row in there.rows]
        self.age = [byte - EVEN for byte in age.rows[0]]
        self.odds: dict[tuple[int, int, int], Cumulative] = {}

    def odds_of(self, hour: int, at: int, age: int) -> Cumulative:
        """The table of a known species, by its place among the known."""
        found = self.odds.get((hour, at, age))
        if found is None:
            found = self.walk.named(self.path, odds(self.there[hour][at] + self.age[age]))
            self.odds[hour, at, age] = found
        return found

    def holds(self, rows: list[Tree] | None) -> bool:
        """Whether these rows can be sent as a set."""
        if rows is None:
            return False
        codes: list[Any] = [row[self.of.element.species or 0] for row in rows]
        return self.holds_codes(codes)

    def holds_codes(self, codes: Sequence[int]) -> bool:
        """Whether rows of these species can be."""
        return self.positions.issuperset(codes) and all(map(lt, codes, codes[1:]))

    def code(
        self, coder: Coder, history: History, inner: ListHistory, said: list[Tree] | None
    ) -> list[Tree]:
        element = self.of.element
        said_of: dict[Any, Tree] = {row[element.species or 0]: row for row in said or ()}
        hour = history.hour_row() if len(self.there) > 1 else 0
        found = [
            species
            for at, species in enumerate(self.known)
            if coder.symbol(
                self.odds_of(hour, at, set_age_row(inner.instances, inner.seen_in.get(species))),
                int(species in said_of),
            )
        ]
        if not self.of.least <= len(found) <= self.of.most:
            raise meaningless()
        rows = []
        for species in found:
            row = element.code(coder, history, inner, said_of.get(species), known=species)
            element.note(inner, row)
            rows.append(row)
        return rows
