"""A species: one of those seen lately in the same packet, or a new one by the hour."""

from typing import TYPE_CHECKING, Any

from packcodec.codec.modelled.coder import Coder, meaningless
from packcodec.codec.modelled.history import AGES, HOUR_ROWS, MOST_RECENT, Now, age_row
from packcodec.codec.modelled.place import Spot, check_contexts, check_rows
from packcodec.codec.modelled.tables import cumulative, frequencies, weight
from packcodec.codec.modelled.tree import Item

if TYPE_CHECKING:
    from packcodec.codec.modelled.walk import Group, Walk


class SpeciesPart:
    """A species: one of the last eight in this packet, or another by the hour."""

    def __init__(self, walk: "Walk", spot: Spot, group: "Group") -> None:
        walk.species.append(self)
        self.path = spot.path
        self.group = group
        self.capacity = spot.codes
        self.known = walk.models.species
        self.position = {code: at for at, code in enumerate(self.known)}
        recent = walk.table(spot.like(f"{spot.path} recent", "recent", 2, spot.get))
        check_contexts(recent, ("age",))
        check_rows(recent, AGES, 2)
        self.hits = [walk.named(spot.path, cumulative(row)) for row in recent.rows]
        new = walk.table(spot.like(f"{spot.path} new", "new", len(self.known) + 1, spot.get))
        check_contexts(new, ("hour",))
        check_rows(new, HOUR_ROWS if new.contexts else 1, len(self.known) + 1)
        self.new = [
            walk.named(spot.path, frequencies([weight(byte) for byte in row])) for row in new.rows
        ]
        self.step_s = max(group.clock_step_s, 1)

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        recent = now.here.recent[:MOST_RECENT]
        moment = self.group.moment(now.history, now.here)
        for species in recent:
            hit = self.hits[age_row((moment - now.here.when[species]) // self.step_s)]
            if coder.symbol(hit, int(said == species)):
                return species
        without = [self.position[species] for species in recent if species in self.position]
        new = self.new[now.history.hour_row() if len(self.new) > 1 else 0]
        escape = len(self.known)
        symbol = coder.among(new, without, self.position.get(said, escape))
        if symbol < escape:
            return self.known[symbol]
        species = coder.uniform(self.capacity, said)
        if species in self.position or species in recent:
            raise meaningless()
        return species
