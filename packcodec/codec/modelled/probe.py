"""One place of a message while training: every code there, and the tables that could say them."""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import log2
from typing import Any

from packcodec.codec.modelled.coder import Coder
from packcodec.codec.modelled.history import KINS, Now
from packcodec.codec.modelled.learning import (
    Choice,
    Counts,
    Tally,
    backed,
    learning_bits,
    row_of,
    shares_of,
    together,
)
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import Classes, fold
from packcodec.schema.models import PlaceTable

MOST_CONTEXTS = 2
MOST_AROUND = 2
KIN_ROUNDS = 8


class Probe:
    """Stands at a place, and notes each code with all that could choose its row."""

    def __init__(self, spot: Spot, tally: Tally) -> None:
        self.spot = spot
        self.tally = tally
        self.shares: list[float] = []
        self.available = spot.contexts({})
        self.available.pop("kin", None)
        self.centres = spot.centres()
        self.codes: list[int] = []
        self.contexts: dict[str, list[int]] = {name: [] for name in self.available}
        self.earlier: dict[str, list[int | None]] = {name: [] for name in self.centres}
        self.species: list[int] = []

    def code(self, coder: Coder, now: Now, said: Any) -> int:  # noqa: ARG002
        """Note the code that stands here, in every context that it has."""
        code: int = said
        self.codes.append(code)
        self.shares.append(self.tally.share)
        for name, context in self.available.items():
            self.contexts[name].append(context.of(now))
        for name, earlier in self.centres.items():
            self.earlier[name].append(earlier(now))
        if self.spot.species is not None:
            self.species.append(self.spot.said_species(now))
        return code

    def choices(self, known: tuple[int, ...]) -> list[Choice]:
        """Nothing but log2 of the codes for no bytes; or a row for what one or two contexts say."""
        centre = sorted(self.codes)[len(self.codes) // 2]
        path = self.spot.path
        found = [
            Choice(sum(self.shares) * log2(self.spot.codes), 0, lambda: (PlaceTable(path, ()),))
        ]
        plain = [self._folded(around, centre) for around in ("none", "centre", *self.earlier)]
        plain.sort(key=lambda column: column.bits([], 1))
        for column in plain[:MOST_AROUND]:
            found += self._choices(column, centre, known)
        return found

    def _choices(self, column: "_Column", centre: int, known: tuple[int, ...]) -> list[Choice]:
        """The symbols counted this way, with a row for what none, one or two contexts say."""
        path, found = self.spot.path, []
        by_mean = self._kin_by_mean(known)
        for count in range(MOST_CONTEXTS + 1):
            for names in combinations(self.contexts, count):
                rows, index = self._index(names)
                table = PlaceTable(path, (), names, column.around, centre)
                found.append(column.choice(table, index, rows))
                if count == MOST_CONTEXTS or not by_mean:
                    continue
                for kin in (by_mean, self._kin_by_likeness(column, index, by_mean)):
                    table = PlaceTable(
                        path,
                        (),
                        (*names, "kin"),
                        column.around,
                        centre,
                        bytes(kin[one] for one in known),
                    )
                    # A species that is not known to the tables is of the first class.
                    of = {one: kin[one] for one in known}
                    parts = zip(index, self.species, strict=True)
                    with_kin = [KINS * row + of.get(species, 0) for row, species in parts]
                    found.append(column.choice(table, with_kin, KINS * rows))
        return found

    def _index(self, names: tuple[str, ...]) -> tuple[int, list[int]]:
        """How many rows these contexts choose among, and which of them each code had."""
        rows, index = 1, [0] * len(self.codes)
        for name in names:
            size = self.available[name].size
            rows *= size
            parts = zip(index, self.contexts[name], strict=True)
            index = [row * size + part for row, part in parts]
        return rows, index

    def _folded(self, around: str, centre: int) -> "_Column":
        codes, last = self.spot.codes, self.spot.codes - 1
        classes = Classes(codes)
        folded = self.codes
        if around == "centre":
            folded = [fold(code, centre, codes) for code in self.codes]
        elif around != "none":
            folded = [
                fold(code, min(centre if before is None else before, last), codes)
                for code, before in zip(self.codes, self.earlier[around], strict=True)
            ]
        return _Column(around, [classes.of(code) for code in folded], self.shares, classes)

    def _kin_by_mean(self, known: tuple[int, ...]) -> dict[int, int]:
        """Each species' class: quarters of what was seen, by the species' mean code."""
        if not self.species:
            return {}
        sums: Counter[int] = Counter()
        counts = Counter(self.species)
        for species, code in zip(self.species, self.codes, strict=True):
            sums[species] += code
        whole = sum(self.codes) / len(self.codes)
        # Seen less often, a species is held nearer to the mean of all.
        mean = {one: (sums[one] + 4 * whole) / (counts[one] + 4) for one in {*known, *counts}}
        below, kin = 0, {}
        for one in sorted(mean, key=lambda one: (mean[one], one)):
            kin[one] = min(KINS * below // len(self.species), KINS - 1)
            below += counts[one]
        return kin

    def _kin_by_likeness(
        self, column: "_Column", index: list[int], kin: dict[int, int]
    ) -> dict[int, int]:
        """From those classes on, each species to the class that would send its symbols best, in the
        rows that the other contexts choose."""
        kin = dict(kin)
        said = column.of_each(self.species, index)
        for _ in range(KIN_ROUNDS):
            before = dict(kin)
            costs = [
                column.costs(said[one] for one in sorted(said) if kin[one] == number)
                for number in range(KINS)
            ]
            kin |= {one: _cheapest(said[one], costs) for one in sorted(said)}
            if kin == before:
                break
        return kin


def _cheapest(rows: Mapping[int, Counts], costs: Sequence[Mapping[int, Sequence[float]]]) -> int:
    """The class in which these symbols cost the fewest bits, the first of equals."""
    bits = [
        sum(n * cost[row][symbol] for row, counts in rows.items() for symbol, n in counts.items())
        for cost in costs
    ]
    return bits.index(min(bits))


@dataclass(slots=True)
class _Column:
    """The symbols of a place, counted one way."""

    around: str
    symbols: list[int]
    shares: list[float]
    classes: Classes
    whole: list[float] = field(default_factory=list)
    rest_bits: float = 0.0

    def __post_init__(self) -> None:
        counts = self._rows([0] * len(self.symbols))[0]
        self.whole = shares_of(counts, len(self.classes))
        self.rest_bits = sum(
            count * log2(self.classes.spans[symbol][1]) for symbol, count in counts.items()
        )

    def bits(self, index: list[int], rows: int) -> float:
        """What sending the symbols would have cost while learning the rows."""
        if rows == 1:
            index = [0] * len(self.symbols)
        return self.rest_bits + learning_bits(self._rows(index), self.whole)

    def choice(self, table: PlaceTable, index: list[int], rows: int) -> Choice:
        """`table` with these `rows`, `index` telling the row of each symbol."""
        counted = self._rows(index)
        bits = self.rest_bits + learning_bits(counted, self.whole)

        def make() -> tuple[PlaceTable, ...]:
            made = tuple(
                row_of(backed(counted.get(row, Counts()), self.whole)) for row in range(rows)
            )
            return (replace(table, rows=made),)

        return Choice(bits, rows * len(self.classes) + len(table.kin), make)

    def of_each(self, whose: list[int], index: list[int]) -> dict[int, dict[int, Counts]]:
        """The symbols of each species by row; `whose` and `index` are in their order."""
        found: dict[int, dict[int, Counts]] = defaultdict(lambda: defaultdict(Counts))
        every = zip(whose, index, self.symbols, self.shares, strict=True)
        for species, row, symbol, share in every:
            found[species][row][symbol] += share
        return found

    def costs(self, many: Iterable[Mapping[int, Counts]]) -> dict[int, list[float]]:
        """Bits of each symbol in each row, as learned from all of these together."""
        rows: dict[int, list[Counts]] = defaultdict(list)
        for each in many:
            for row, counts in each.items():
                rows[row].append(counts)
        unseen = [-log2(share) for share in self.whole]
        found: dict[int, list[float]] = defaultdict(lambda: unseen)
        for row, those in rows.items():
            found[row] = [-log2(share) for share in backed(together(those), self.whole)]
        return found

    def _rows(self, index: list[int]) -> dict[int, Counts]:
        found: dict[int, Counts] = defaultdict(Counts)
        for (row, symbol, share), count in Counter(
            zip(index, self.symbols, self.shares, strict=True)
        ).items():
            found[row][symbol] += count * share
        return found
