"""Where the tables of a message in its compact form stand, and how a sum in them is found.

All sums of shares are one array. What the rank before chooses is found by one product, and so is
what the last element of a species chooses; other contexts add what a small table holds.
"""

from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.tables import MOST_ALONE
from packcodec.emit.c_compact_shape import codes_of_entry, keeps, tabled
from packcodec.emit.c_compact_tables import SUM_OCTETS, Placed, Words, buckets, folds
from packcodec.emit.c_told import KIN, LAST, RANK, Part, Told
from packcodec.emit.c_walk import NEAR


class Places:
    """The tables of one message, and what is kept of the latest species in one word each."""

    def __init__(self, told: Told) -> None:
        assert told.tail is not None
        self.told, self.tail, self.name = told, told.tail, told.name
        self.kept = self._kept()
        self.low = sum(self.kept.values())
        self._place_sums()
        self.by_last = [at for at in self.kept if self.entries[at]["value"]["around"] == LAST]
        self.fold_row = sum(codes_of_entry(self.entries[at]) for at in self.by_last)
        self.folded = self._folded() if self.by_last else ""

    @property
    def entries(self) -> list[dict[str, Any]]:
        """What there is to say of each field of the elements."""
        entries: list[dict[str, Any]] = self.tail.said["fields"]
        return entries

    def _kept(self) -> dict[int, int]:
        """Of the fields whose last code is asked for: so many bits hold it and 1."""
        return {
            at: codes_of_entry(entry).bit_length()
            for at, entry in enumerate(self.entries)
            if keeps(entry)
        }

    def shift(self, at: int) -> int:
        """Where a kept field's code and 1 stand in the word."""
        return sum(bits for other, bits in self.kept.items() if other > at)

    def _place_sums(self) -> None:
        header = self.told.message.said["fields"]
        places = [place for entry in self.entries for place in tabled(entry)]
        by_last = [place for place in places if LAST in place["contexts"]]
        by_rank = [place for place in places if RANK in place["contexts"]]
        rest = [place for place in places if not {LAST, RANK} & set(place["contexts"])]
        rest += [place for entry in header[:-1] for place in tabled(entry)]
        words = Words()
        # These first: no rows of a rank begin at 0, which stands for fixed coding.
        self.more = words.more(header[-1]["more"]) if not by_last else 0
        found = words.by(LAST, by_last)
        ranked = words.by(RANK, by_rank)
        self.rank_block = ranked[0].steps[RANK] if ranked else 1
        self.rank_start = ranked[0].offset if ranked else 0
        self.more = self.more or words.more(header[-1]["more"])
        placed = [*found, *ranked, *map(words.plain, rest)]
        self.placed = {id(each.place): each for each in placed}
        self.new = words.rows(self.entries[self.tail.species_at or 0]["new"])
        meaning = "\n * ".join(self._contents())
        self.words = self.told.tables.array("uint16_t", [*words.words, 0], meaning)

    def _folded(self) -> str:
        """The table of codes folded around the last code."""
        places = [self.entries[at]["value"] for at in self.by_last]
        rows = [folds(place) for place in places]
        folded = [0]  # a code and 1 is looked up
        for last in range(max(map(len, rows))):
            for each in rows:
                folded += [SUM_OCTETS * code for code in each[min(last, len(each) - 1)]]
        meaning = f"{self.tail.path}: codes and 1, folded around the last and 1, 0 for none"
        return self.told.tables.array("uint8_t", folded, meaning)

    def _contents(self) -> Iterator[str]:
        """What the table holds, by octets."""
        yield f"{self.tail.path}: sums of shares, ready to be coded with. By octets:"
        found = [(each.offset, each) for each in self.placed.values()]
        rows = {
            offset: f"{self._path(each.place)} by {', '.join(each.steps) or 'itself'}"
            for offset, each in found
        }
        rows[self.more] = "whether there is one more, by the bits left of the room"
        rows[self.new] = "a species that is none of the latest"
        for offset in sorted(rows):
            yield f"{offset}: {rows[offset]}"

    def _path(self, place: dict[str, Any]) -> str:
        inner = any(place is each for entry in self.entries for each in tabled(entry))
        part = self.tail if inner else self.told.message
        rank = ", its rank," if place["get"] == "rank" else ""
        return f"{part.fields[place['at']].name}{rank}"

    def terms(self, placed: Placed, species: str) -> list[str]:
        """What adds up to where a row begins, but for what the last element chooses."""
        offset, place = placed.offset, placed.place
        terms: list[str] = []
        path = f"{self.tail.path}.{self.tail.fields[place['at']].name}"
        if place["get"] == "rank":
            offset -= self.first_rank + SUM_OCTETS  # from where the rank is counted
        if RANK in placed.steps:
            offset -= self.rank_start
            terms.append("w->now.rows")
        for name, step in placed.steps.items():
            if name in (RANK, LAST):
                continue
            if name == KIN:
                terms.append(f"{self.kin(placed, offset)}[{species}]")
                offset = 0
                continue
            at, codes = place["before"][NEAR[name]]
            values, by = buckets(codes), self.tail.fields[at].name
            index = self.code(at) if codes <= MOST_ALONE else self.variable(at, "class")
            held = [step * each for each in values]
            if min(held) + offset >= 0:
                held, offset = [each + offset for each in held], 0
            kind = "uint8_t" if max(held) <= 255 else "uint16_t"
            table = self.told.tables.array(kind, held, f"{path}: rows by {by}")
            terms.append(f"{table}[{index}]")
        return [*terms, *([f"{offset}u"] if offset else [])]

    def kin(self, placed: Placed, offset: int) -> str:
        """The table of where the rows of a place begin, so far on, by species."""
        place = placed.place
        kin = dict(zip(self.told.tables.known, place["kin"], strict=False))
        species = range(self.told.capacity)
        held = [offset + placed.steps[KIN] * kin.get(code, 0) for code in species]
        kind = "uint8_t" if max(held) <= 255 else "uint16_t"
        path = f"{self.tail.path}.{self.tail.fields[place['at']].name}"
        return self.told.tables.array(kind, held, f"{path}: rows by species")

    @property
    def first_rank(self) -> int:
        """What stands for no rank, in octets of a table of one sum for each rank."""
        return SUM_OCTETS * (self.rank_start // self.rank_block)

    @property
    def ranked(self) -> bool:
        """Whether any table goes by the rank of the element before."""
        return any(RANK in placed.steps for placed in self.placed.values())

    @property
    def ranked_after(self) -> bool:
        """Whether a field after the species looks at the rank of the element before."""
        return any(
            RANK in place["contexts"]
            for entry in self.entries[(self.tail.species_at or 0) + 1 :]
            for place in tabled(entry)
        )

    def variable(self, at: int, what: str) -> str:
        """The variable of a field of the elements: its code, or its class, or its last code."""
        field = self.tail.fields[at]
        return f"{self.tail.struct.members[field.name]}_{what}"

    def code(self, at: int) -> str:
        """A field's code."""
        if at == self.tail.species_at:
            return f"(uint32_t)row->{self.tail.species}"
        if at in self.kept:
            return f"({self.variable(at, 'kept')} - 1u)"
        return self.variable(at, "code") if codes_of_entry(self.entries[at]) > 1 else "0u"

    def around_centre(self, part: Part, place: dict[str, Any], code: str) -> str:
        """Where a code's sum stands in its row."""
        if place["around"] == "none":
            return f"{SUM_OCTETS}u * {code}"
        folded = [SUM_OCTETS * each for each in folds(place)[0]]
        path = f"{part.path}.{part.fields[place['at']].name}"
        return f"{self.told.tables.array('uint8_t', folded, f'{path}: folded')}[{code}]"

    @property
    def word(self) -> str:
        """The type that holds a species and the codes kept with it."""
        return "uint16_t" if self.told.capacity.bit_length() + self.low <= 16 else "uint32_t"

    @property
    def none(self) -> int:
        """What stands for no species: its bits are those of none."""
        return (1 << int(self.word[4:-2])) - 1
