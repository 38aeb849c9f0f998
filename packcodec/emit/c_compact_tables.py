"""The tables of a message that is emitted in its compact form (`c_compact`), in one array.

What the rank before chooses stands together, and so does what the last element of the species
chooses: one product leads to both. Other contexts add what small tables of octets hold.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from itertools import pairwise, product
from math import log2
from typing import Any

from packcodec.codec.modelled.coder import ROOM_ROWS, SURE_BITS, TOTAL
from packcodec.codec.modelled.history import KINS, RANKS, bucket_of
from packcodec.codec.modelled.tables import MOST_ALONE, Classes, cumulative, fold
from packcodec.codec.modelled.walk import LEAST_MORE
from packcodec.emit.c_told import KIN, LAST, RANK, Part
from packcodec.schema.models import BEFORE

FEW = 8  # codes whose bucket is the code and 1
OCTET = 8
SUM_OCTETS = 2
END_BITS = 2  # what the end of a string may cost, and rounding
# Before the first row by room, which is for a room that is spent: an octet of it may be, and more.
SPENT_ROWS = OCTET - 1


@dataclass
class Placed:
    """Where the rows of a place stand: at `offset`, and each context's next so much further on,
    in octets.

    Fields said before are always there, so that rows for an absent one are left out.
    """

    place: dict[str, Any]
    offset: int
    steps: dict[str, int] = dataclass_field(default_factory=dict)


def sizes_of(place: dict[str, Any]) -> dict[str, int]:
    """How many values each context of a place has."""
    sizes = {RANK: RANKS + 1, KIN: KINS, LAST: bucket_of(place["codes"])[0]}
    sizes |= {
        name: bucket_of(codes)[0] for name, (_, codes) in zip(BEFORE, place["before"], strict=False)
    }
    return {name: sizes[name] for name in place["contexts"]}


class Words:
    """Rows of sums, one after the other, each of them at a place that is known."""

    def __init__(self) -> None:
        self.words: list[int] = []

    @property
    def octets(self) -> int:
        """How many there are so far."""
        return SUM_OCTETS * len(self.words)

    def rows(self, rows: Sequence[str], least: int = 1) -> int:
        """Where rows from weights as hexadecimal begin, in octets."""
        at = self.octets
        for row in rows:
            self.words += cumulative(bytes.fromhex(row), least)[:-1]
        return at

    def by(self, context: str, places: Sequence[dict[str, Any]]) -> list[Placed]:
        """Blocks of rows, one for each value of that context; aligned where it costs little."""
        sizes = {_key(place): sizes_of(place) for place in places}
        block = sum(
            len(_rows(place, sizes[_key(place)], {context: 0})) * _symbols(place)
            for place in places
        )
        if not places:
            return []
        rounded = 1 << (block - 1).bit_length()
        if rounded - block <= block // OCTET:
            block = rounded
        if -len(self.words) % block <= block // OCTET:
            self.pad(block)
        start, placed = len(self.words), []
        values = max(each[context] for each in sizes.values())
        for value in range(values):
            for place in places:
                mine = sizes[_key(place)]
                if value == 0:
                    placed.append(self._placed(place, mine, context, block))
                rows = _rows(place, mine, {context: min(value, mine[context] - 1)})
                self.rows(rows)
            self.words += [0] * (start + (value + 1) * block - len(self.words))
        return placed

    def _placed(
        self, place: dict[str, Any], sizes: dict[str, int], context: str, block: int
    ) -> Placed:
        steps = {context: SUM_OCTETS * block} | _steps(place, sizes, context)
        return Placed(place, self.octets, steps)

    def plain(self, place: dict[str, Any]) -> Placed:
        """The rows of a place as they are."""
        sizes = sizes_of(place)
        found = Placed(place, self.octets, _steps(place, sizes))
        self.rows(_rows(place, sizes, {}))
        return found

    def more(self, rows: Sequence[str]) -> int:
        """The rows for one more, from that for an octet too much on; where that for no bit stands.

        After them one that narrows nothing, for a room in which there surely is.
        """
        self.pad(2)
        by_bits = [rows[min(max(0, bits), ROOM_ROWS - 1)] for bits in range(-SPENT_ROWS, SURE_BITS)]
        at = self.rows(by_bits, LEAST_MORE)
        self.words += [0, 0]
        return at + 2 * SPENT_ROWS * SUM_OCTETS

    def pad(self, to: int) -> None:
        """Zeros up to a multiple of so many sums."""
        self.words += [0] * (-len(self.words) % to)


def _key(place: dict[str, Any]) -> tuple[str, int]:
    return place["get"], place["at"]


def _symbols(place: dict[str, Any]) -> int:
    return len(bytes.fromhex(place["rows"][0]))


def _values(name: str, size: int) -> range:
    """Those that a context may have."""
    return range(name in BEFORE, size)


def _steps(place: dict[str, Any], sizes: dict[str, int], without: str = "") -> dict[str, int]:
    steps, step = {}, SUM_OCTETS * _symbols(place)
    for name, size in reversed(list(sizes.items())):
        if name != without:
            steps[name] = step
            step *= len(_values(name, size))
    return steps


def _rows(place: dict[str, Any], sizes: dict[str, int], given: dict[str, int]) -> list[str]:
    """The rows for all values of the contexts, but for one that is given."""
    found = []
    every = [(given[n],) if n in given else _values(n, size) for n, size in sizes.items()]
    for chosen in product(*every):
        row = 0
        for value, size in zip(chosen, sizes.values(), strict=True):
            row = row * size + value
        found.append(place["rows"][row])
    return found


def buckets(codes: int) -> list[int]:
    """The bucket, from 0 on, of each code, or of each class where there are many codes."""
    of = bucket_of(codes)[1]
    firsts = range(codes) if codes <= MOST_ALONE else [at for at, _ in Classes(codes).spans]
    return [of(code) - 1 for code in firsts]


def cut(codes: int) -> bool:
    """Whether the last class is narrower than those of its octave."""
    first, width = Classes(codes).spans[-1]
    return codes > MOST_ALONE and width != 1 << (first.bit_length() - 2)


def folds(place: dict[str, Any]) -> list[list[int]]:
    """Each code folded: around the last one, none first, or in one list around the centre."""
    codes, centre = place["codes"], place["centre"]
    around = [centre, *range(codes)] if place["around"] == LAST else [centre]
    return [[fold(code, each, codes) for code in range(codes)] for each in around]


def surely_ends(rows: Sequence[str], part: Part) -> bool:
    """Whether no list can end where 24 bits or more are left and one size less was too small.

    That one left 15 bits, but for the questions, which began at 24. Even if all of them come at the
    end, each must leave enough to say that it was the last, and for the end of the string.
    """
    assert part.field is not None
    shares = [cumulative(bytes.fromhex(row), LEAST_MORE)[1] / TOTAL for row in rows]
    left = SURE_BITS - OCTET - 1.0
    questions = part.field.most - part.field.least
    if element := sum(map(_least_bits, part.said["fields"])):
        questions = min(questions, 1 + int((SURE_BITS - left) / element))
    for _ in range(questions):
        no = shares[min(int(left), ROOM_ROWS - 1)]
        if left + log2(no) < END_BITS:
            return False
        left += log2(1 - no)
        if left < END_BITS:
            return False
    return True


def _least_bits(entry: dict[str, Any]) -> float:
    """What a field costs at least."""
    place = entry["recent"] if entry["part"] == "species" else entry["value"]
    if not place["rows"]:
        return log2(place["codes"])
    rows = [cumulative(bytes.fromhex(row)) for row in place["rows"]]
    most = max(after - before for row in rows for before, after in pairwise(row))
    return -log2(most / TOTAL)
