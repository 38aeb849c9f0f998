"""A walk written out as the source of a function: what sending and reading have in common.

The function goes through a message as `Walk.code` does, with the same tables.
`packcodec.codec.modelled.sending` and `reading` say how a symbol is sent and read.
"""

from typing import Any

from packcodec.codec.modelled.contexts import Contexts, place_of
from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import ABSENT
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.walk import (
    GapPart,
    Group,
    ListPart,
    OptionalPart,
    StartPart,
    ValuePart,
)
from packcodec.codec.places import Source
from packcodec.layout.compiler import codes_of
from packcodec.schema.model import Field


class Script(Contexts):
    """The order of the fields; subclasses have what differs between sending and reading."""

    def fields(self, group: Group, depth: int, in_set: str = "") -> None:
        """All fields; `in_set` is the variable that tells whether a set has said the species."""
        for at, part in enumerate(group.parts):
            if isinstance(part, OptionalPart):
                self._optional(group, at, part, depth)
            elif in_set and at == group.species:
                self.add(depth, f"if {in_set}:")
                self.find(group, depth + 1)
                self.add(depth, "else:")
                self._field(group, at, part, depth + 1)
            else:
                self._field(group, at, part, depth)
            if at == group.species:
                self.recall(group, depth)

    def _optional(self, group: Group, at: int, part: OptionalPart, depth: int) -> None:
        there = self.there(group, at)
        self.ask(group, at, there, depth)
        self.place(group, place_of(part.presence), there, depth)
        self.add(depth, f"if {there}:")
        self._field(group, at, part.part, depth + 1)
        self.add(depth, "else:")
        self.add(depth + 1, f"{self.code(group, at)} = {ABSENT}")
        self.leave_out(group, at, depth + 1)

    def _field(self, group: Group, at: int, part: Any, depth: int) -> None:
        code = self.code(group, at)
        if isinstance(part, ListPart):
            self.list(group, at, part, depth)
            return
        self.to_code(group, at, depth)
        match part:
            case SpeciesPart():
                self.pick(part, code, depth)
            case StartPart(by_hour=True):
                self.start_by_hour(group, part, code, depth)
                self.start_from(part, code, depth)
            case StartPart():
                self.alike(part.codes, code, depth)
                self.start_from(part, code, depth)
            case GapPart():
                self.place(group, place_of(part.place), code, depth)
                self.move_on(part, code, depth)
            case ValuePart():
                self.place(group, place_of(part.place), code, depth)
        self.to_value(group, at, depth)

    def find(self, group: Group, depth: int) -> None:
        """Where the element's species stands among those seen lately."""
        k, recent, code = self.k(group), self.recent(group), self.species(group)
        found = f"{recent}.index({code}) if {code} in {recent} else {MOST_RECENT}"
        self.add(depth, f"{k} = {found}")

    def place(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        if place.rows and place.codes > 1:
            self.table(group, place, code, depth)
        else:
            self.alike(place.codes, code, depth)

    # ---- What differs

    def ask(self, group: Group, at: int, there: str, depth: int) -> None:
        """Sending: whether an optional field is there."""

    def to_code(self, group: Group, at: int, depth: int) -> None:
        """Sending: the code of a value."""

    def to_value(self, group: Group, at: int, depth: int) -> None:
        """Reading: the value of a code."""

    def leave_out(self, group: Group, at: int, depth: int) -> None:
        """Reading: no value."""

    def alike(self, n: int, code: str, depth: int) -> None:
        """A number 0..n-1, all alike."""
        raise NotImplementedError

    def table(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        """A code by a table's row."""
        raise NotImplementedError

    def start_by_hour(self, group: Group, part: StartPart, code: str, depth: int) -> None:
        raise NotImplementedError

    def pick(self, part: SpeciesPart, code: str, depth: int) -> None:
        """A species: one of those seen lately, `k` is then where among them, or a new one, 4."""
        raise NotImplementedError

    def list(self, group: Group, at: int, part: ListPart, depth: int) -> None:
        raise NotImplementedError


def fixed_bits(group: Group, source: Source) -> int:
    """Bits of fixed coding that a group takes whatever is said: of optional fields the presence."""
    return sum(1 if field.optional else width_of(field, source) for field in group.fields)


def width_of(field: Field, source: Source) -> int:
    """Bits of fixed coding; of a list's number of elements."""
    return (codes_of(field, source.schema) - 1).bit_length()
