"""What a payload costs: the information in its symbols, place by place."""

from collections.abc import Sequence
from math import log2
from typing import Any

from packcodec.codec.modelled.coder import SURE_BITS, TOTAL, Coder, Cumulative, room_row
from packcodec.codec.modelled.history import Now
from packcodec.codec.modelled.place import RANK, Place, Spot, TablePlace
from packcodec.codec.modelled.tree import Tree
from packcodec.codec.modelled.walk import Walk
from packcodec.schema.models import PlaceTable


class Meter:
    """Measures what a walk would send: no bits come out.

    `bits` is the information in all that was measured since the start, and `spent` its share for
    each path: of a species, a list's count or its set at the path of the field itself.
    """

    def __init__(self, walk: Walk) -> None:
        self.bits = 0.0
        self.symbols = 0
        self.spent: dict[str, float] = {}
        self._path = ""
        self._started = 0.0
        self._room_bits = 0
        self._species = walk.models.species
        self._walk = Walk(walk.message, walk.schema, walk.models, self._place)

    def measure(self, tree: Tree, room_bits: int) -> float:
        """The information of one payload in bits, when it may take `room_bits`."""
        self._started = self.bits
        self._room_bits = room_bits
        # What stands before the first table is the day of a time, which has none.
        self._path = f"{self._walk.path}.{self._walk.message.fields[0].name}"
        self._walk.code(self, tree)
        return self.bits - self._started

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        """Count what a symbol of a table says; as a coder, so are the two below."""
        self._path = self._walk.names.get(id(cumulative), self._path)
        self._add(log2(TOTAL / (cumulative[said + 1] - cumulative[said])))
        return said

    def uniform(self, n: int, said: int) -> int:
        """Of a number among n alike."""
        self._add(log2(n))
        return said

    def more(self, tables: Sequence[Cumulative], said: int) -> int:
        """Of one more element or none, by the room that the bits counted so far leave."""
        left = self._room_bits - int(self.bits - self._started)
        return said if left >= SURE_BITS else self.symbol(tables[room_row(left)], said)

    def _add(self, bits: float) -> None:
        self.bits += bits
        self.symbols += 1
        self.spent[self._path] = self.spent.get(self._path, 0.0) + bits

    def _place(self, spot: Spot, table: PlaceTable) -> Place:
        return _Told(self, spot, TablePlace(spot, table, self._species))


class _Told:
    """A place that says where it is before it is coded."""

    def __init__(self, meter: Meter, spot: Spot, place: TablePlace) -> None:
        self._meter, self._place = meter, place
        self._path = spot.path.removesuffix(f" {RANK}")

    def code(self, coder: Coder, now: Now, said: Any) -> int:
        self._meter._path = self._path
        return self._place.code(coder, now, said)
