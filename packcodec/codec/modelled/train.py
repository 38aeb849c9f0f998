"""Tables from records: which contexts a place's table takes, and how likely each symbol is.

Every place tries what its code may be counted from and which one or two contexts choose the row,
and keeps what would have cost the fewest bits to send while learning it (the Dirichlet-multinomial
code length, whose price for a row rises with the symbols it must learn, so that a large table has
to earn its size). Then the whole is brought under the size a station can hold by the changes that
cost the fewest bits a byte. Rows are smoothed towards the place's whole: a new site or a new
species costs little.

Training uses floating point; its result is integers, and coding uses these alone.
"""

from collections import Counter, defaultdict
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from math import lgamma, log, log2
from typing import Any

from packcodec.codec.modelled.coder import Coder, Cumulative
from packcodec.codec.modelled.defaults import default_species, default_table
from packcodec.codec.modelled.history import HOUR_ROWS, KINS, SET_AGES, Now
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.presence import Presence, logit_byte
from packcodec.codec.modelled.sets import SetOf
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import OCTAVE, Classes, fold
from packcodec.codec.modelled.tree import Tree
from packcodec.codec.modelled.walk import Walk
from packcodec.layout.model import Layout
from packcodec.schema.model import Message, Schema
from packcodec.schema.models import Models, PlaceTable

DEVICE_BYTES = 2048
HIGHEST = 240
LOWEST = HIGHEST - 16 * OCTAVE
# How many observations the place's whole counts for in a row of its own.
BACKING = 6.0
PRIOR = 0.4
MOST_CONTEXTS = 2
MOST_AROUND = 2
KIN_ROUNDS = 8


class Counts(dict[int, float]):
    """How often each symbol was, 0.0 where never."""

    def __missing__(self, symbol: int) -> float:
        return 0.0


def train(
    layout: Layout, records: Iterable[tuple[str, float, Tree]], *, size_bytes: int = DEVICE_BYTES
) -> Models:
    """Models from records: the name of a message, a weight, and codes (`tree_of`).

    What was seen once but is learned from in frames of several lengths has a weight under 1. The
    tables take at most `size_bytes`. Places that no record reached keep their defaults.
    """
    by_message: dict[str, list[tuple[float, Tree]]] = defaultdict(list)
    for name, share, tree in records:
        by_message[name].append((share, tree))
    known = default_species(layout.schema)
    choices: list[list[_Choice]] = []
    for message in layout.messages:
        if by_message[message.name]:
            choices += _learn(layout, message.message, by_message[message.name], known)
    tables = _within(choices, size_bytes)
    return Models(known, tuple(sorted(tables, key=lambda table: table.path)))


@dataclass(frozen=True, slots=True)
class _Choice:
    """One way to make the tables of a place: the bits it would have cost, and its bytes."""

    bits: float
    size: int
    make: Callable[[], tuple[PlaceTable, ...]]


def _within(choices: list[list[_Choice]], size_bytes: int) -> list[PlaceTable]:
    """The cheapest of each, then what costs the fewest bits a byte until all fit.

    A large step down may leave room: it is filled by what saves the most bits a byte.
    """
    chosen = [min(each, key=lambda choice: choice.bits) for each in choices]
    while sum(choice.size for choice in chosen) > size_bytes:
        swaps = [
            ((other.bits - choice.bits) / (choice.size - other.size), at, other)
            for at, choice in enumerate(chosen)
            for other in choices[at]
            if other.size < choice.size
        ]
        if not swaps:
            break
        _, at, other = min(swaps, key=lambda swap: swap[:2])
        chosen[at] = other
    while gains := [
        ((choice.bits - other.bits) / (other.size - choice.size), at, other)
        for at, choice in enumerate(chosen)
        for other in choices[at]
        if other.bits < choice.bits
        and choice.size < other.size <= size_bytes - sum(each.size for each in chosen) + choice.size
    ]:
        _, at, other = max(gains, key=lambda gain: gain[:2])
        chosen[at] = other
    return [table for choice in chosen for table in choice.make()]


def _learn(
    layout: Layout, message: Message, trees: Sequence[tuple[float, Tree]], known: tuple[int, ...]
) -> list[list[_Choice]]:
    probes: list[_Probe] = []
    tally = _Tally()

    def probe(spot: Spot, _: PlaceTable) -> _Probe:
        probes.append(_Probe(spot, tally))
        return probes[-1]

    walk = Walk(message, layout.schema, Models(known, ()), probe, _by_hour)
    for tally.share, tree in trees:
        walk.code(tally, tree)
    choices = [each.choices(known) for each in probes if each.codes]
    for species in walk.species:
        choices += _species_choices(species, tally)
    for listed in walk.sets:
        choices += _set_choices(listed, tally)
    return choices


def _by_hour(spot: Spot, schema: Schema, known: tuple[int, ...]) -> PlaceTable:
    """The default, but with a row for every hour where the hour may count."""
    table = default_table(spot, schema, known)
    if spot.role in ("new", "there"):
        return replace(table, contexts=("hour",), rows=table.rows * HOUR_ROWS)
    return table


class _Tally:
    """A coder that counts which symbol followed from which table, by the table's identity."""

    def __init__(self) -> None:
        self.share = 1.0
        self.counts: dict[int, Counts] = defaultdict(Counts)

    def of(self, table: Sequence[int]) -> "Counts":
        return self.counts.get(id(table), Counts())

    def symbol(self, cumulative: Cumulative, said: int) -> int:
        self.counts[id(cumulative)][said] += self.share
        return said

    def among(self, frequencies: Sequence[int], without: Collection[int], said: int) -> int:  # noqa: ARG002
        self.counts[id(frequencies)][said] += self.share
        return said

    def uniform(self, n: int, said: int) -> int:  # noqa: ARG002
        return said

    def more(self, tables: Sequence[Cumulative], said: int) -> int:  # noqa: ARG002
        return said


class _Probe:
    """Stands at a place, and notes each code with all that could choose its row."""

    def __init__(self, spot: Spot, tally: _Tally) -> None:
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

    def choices(self, known: tuple[int, ...]) -> list[_Choice]:
        """Nothing but log2 of the codes for no bytes; or a row for what one or two contexts say."""
        centre = sorted(self.codes)[len(self.codes) // 2]
        path = self.spot.path
        found = [
            _Choice(sum(self.shares) * log2(self.spot.codes), 0, lambda: (PlaceTable(path, ()),))
        ]
        plain = [self._folded(around, centre) for around in ("none", "centre", *self.earlier)]
        plain.sort(key=lambda column: column.bits([], 1))
        for column in plain[:MOST_AROUND]:
            found += self._choices(column, centre, known)
        return found

    def _choices(self, column: "_Column", centre: int, known: tuple[int, ...]) -> list[_Choice]:
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
        self.whole = _shares(counts, len(self.classes))
        self.rest_bits = sum(
            count * log2(self.classes.spans[symbol][1]) for symbol, count in counts.items()
        )

    def bits(self, index: list[int], rows: int) -> float:
        """What sending the symbols would have cost while learning the rows."""
        if rows == 1:
            index = [0] * len(self.symbols)
        return self.rest_bits + _learning_bits(self._rows(index), self.whole)

    def choice(self, table: PlaceTable, index: list[int], rows: int) -> _Choice:
        counted = self._rows(index)
        bits = self.rest_bits + _learning_bits(counted, self.whole)

        def make() -> tuple[PlaceTable, ...]:
            made = tuple(
                _row(_backed(counted.get(row, Counts()), self.whole)) for row in range(rows)
            )
            return (replace(table, rows=made),)

        return _Choice(bits, rows * len(self.classes) + len(table.kin), make)

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
            found[row] = [-log2(share) for share in _backed(_together(those), self.whole)]
        return found

    def _rows(self, index: list[int]) -> dict[int, Counts]:
        found: dict[int, Counts] = defaultdict(Counts)
        for (row, symbol, share), count in Counter(
            zip(index, self.symbols, self.shares, strict=True)
        ).items():
            found[row][symbol] += count * share
        return found


def _together(rows: Iterable[Counts]) -> Counts:
    found = Counts()
    for row in rows:
        for symbol, count in row.items():
            found[symbol] += count
    return found


def _shares(counts: Counts, symbols: int) -> list[float]:
    total = sum(counts.values()) + PRIOR * symbols
    return [(counts[symbol] + PRIOR) / total for symbol in range(symbols)]


def _backed(counts: Counts, whole: Sequence[float]) -> list[float]:
    total = sum(counts.values()) + BACKING
    return [(counts[symbol] + BACKING * share) / total for symbol, share in enumerate(whole)]


def _learning_bits(rows: Mapping[int, Counts], whole: Sequence[float]) -> float:
    nats = 0.0
    for counts in rows.values():
        nats += lgamma(BACKING + sum(counts.values())) - lgamma(BACKING)
        for symbol, count in counts.items():
            backing = BACKING * whole[symbol]
            nats -= lgamma(backing + count) - lgamma(backing)
    return nats / log(2)


def _row(shares: Sequence[float]) -> bytes:
    """Shares as bytes: the largest is 240, the least 16 octaves lower."""
    most = max(shares)
    return bytes(
        max(LOWEST, HIGHEST + round(OCTAVE * log2(max(share, 1e-9) / most))) for share in shares
    )


def _species_choices(species: SpeciesPart, tally: _Tally) -> list[list[_Choice]]:
    hits = [tally.of(row) for row in species.hits]
    hit_share = _shares(_together(hits), 2)
    recent = PlaceTable(
        f"{species.path} recent", tuple(_row(_backed(hit, hit_share)) for hit in hits), ("age",)
    )
    found = [[_Choice(0.0, 2 * len(hits), lambda: (recent,))]] if any(hits) else []
    by_hour = {hour: tally.of(row) for hour, row in enumerate(species.new)}
    counts = _together(by_hour.values())
    if counts:
        found.append(_hour_choices(f"{species.path} new", by_hour, counts, len(species.known) + 1))
    return found


def _hour_choices(
    path: str, by_hour: dict[int, Counts], counts: Counts, symbols: int
) -> list[_Choice]:
    whole = _shares(counts, symbols)
    flat = PlaceTable(path, (_row(whole),))
    hourly = PlaceTable(
        path,
        tuple(_row(_backed(by_hour[hour], whole)) for hour in range(HOUR_ROWS)),
        ("hour",),
    )
    return [
        _Choice(_learning_bits({0: counts}, whole), symbols, lambda: (flat,)),
        _Choice(_learning_bits(by_hour, whole), HOUR_ROWS * symbols, lambda: (hourly,)),
    ]


def _set_choices(listed: SetOf, tally: _Tally) -> list[list[_Choice]]:
    cells = {key: tally.of(table) for key, table in listed.odds.items()}
    if not cells:
        return []
    flag = PlaceTable(f"{listed.path} set", (_row(_shares(tally.of(listed.flag), 2)),))
    found = [[_Choice(0.0, 2, lambda: (flag,))]]
    species = len(listed.known)
    choices = []
    for hours in (1, HOUR_ROWS):
        fitted = Presence(cells, hours)
        there = PlaceTable(
            f"{listed.path} there",
            tuple(bytes(fitted.byte(hour, at) for at in range(species)) for hour in range(hours)),
            ("hour",) if hours > 1 else (),
        )
        age = PlaceTable(
            f"{listed.path} age", (bytes(logit_byte(fitted.age[at]) for at in range(SET_AGES)),)
        )
        choices.append(
            _Choice(
                fitted.bits(),
                hours * species + SET_AGES,
                lambda there=there, age=age: (there, age),  # type: ignore[misc]
            )
        )
    return [*found, choices]
