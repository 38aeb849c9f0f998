"""A species: one of those seen lately in the same packet, or a new one by the hour."""

from typing import TYPE_CHECKING, Any

from packcodec.codec.modelled.coder import Coder, meaningless
from packcodec.codec.modelled.history import HOUR_ROWS, MOST_RECENT, RANKS, Now
from packcodec.codec.modelled.place import RANK, Spot, check_contexts, check_rows
from packcodec.codec.modelled.tables import cumulative
from packcodec.codec.modelled.tree import Item

if TYPE_CHECKING:
    from packcodec.codec.modelled.walk import Group, Walk


class SpeciesPart:
    """A species: which of the last four in this packet, or another by the hour.

    `recent` is the place of its rank among those four, None for a species that is not the one of a
    list's elements: nothing is known of what was seen before it.
    """

    def __init__(self, walk: "Walk", spot: Spot, group: "Group", *, ranked: bool) -> None:
        walk.species.append(self)
        self.path = spot.path
        self.group = group
        self.capacity = spot.codes
        self.known = walk.models.species
        self.position = {code: at for at, code in enumerate(self.known)}
        rank = spot.like(f"{spot.path} {RANK}", RANK, RANKS, spot.get)
        self.recent = walk.make(rank, walk.table(rank)) if ranked else None
        new = walk.table(spot.like(f"{spot.path} new", "new", len(self.known) + 1, spot.get))
        check_contexts(new, ("hour",))
        check_rows(new, HOUR_ROWS if new.contexts else 1, len(self.known) + 1)
        self.new = [walk.named(spot.path, cumulative(row)) for row in new.rows]

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        recent: list[int] = []
        if self.recent is not None:
            recent = now.here.recent
            rank = self.recent.code(coder, now, now.here.rank_of(said))
            if rank < len(recent):
                return recent[rank]
            if rank < MOST_RECENT:
                raise meaningless()
        new = self.new[now.history.hour_row() if len(self.new) > 1 else 0]
        escape = len(self.known)
        symbol = coder.symbol(new, self.position.get(said, escape))
        species = self.known[symbol] if symbol < escape else coder.uniform(self.capacity, said)
        if species in recent or (symbol == escape and species in self.position):
            raise meaningless()
        return species
