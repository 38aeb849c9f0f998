"""What a payload would cost: the information in its symbols, place by place."""

from collections import Counter
from collections.abc import Collection, Sequence
from math import log2

from packcodec.codec.modelled.coder import TOTAL, Cumulative, left_of


class Meter:
    """A coder that only counts: `bits` in all, `spent` by the table that asked for them.

    `names` gives the path of a table by its identity (`Walk.names`); what is sent without a table
    counts for the place named last.
    """

    def __init__(self, names: dict[int, str] | None = None) -> None:
        self.bits = 0.0
        self.symbols = 0
        self.spent: Counter[str] = Counter()
        self._names = names or {}
        self._path = ""

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        self._path = self._names.get(id(cumulative), self._path)
        self._add(log2(TOTAL / (cumulative[said + 1] - cumulative[said])))
        return said

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:
        self._path = self._names.get(id(frequencies), self._path)
        shares = left_of(frequencies, without)
        self._add(log2(sum(shares) / shares[said]))
        return said

    def uniform(self, n: int, said: int) -> int:
        self._add(log2(n))
        return said

    def spent_bits(self) -> int:
        return int(self.bits)

    def _add(self, bits: float) -> None:
        self.bits += bits
        self.symbols += 1
        self.spent[self._path] += bits  # type: ignore[assignment]
