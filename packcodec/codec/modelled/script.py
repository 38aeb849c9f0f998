"""A walk written out as the source of a function: what sending and reading have in common.

The function goes through a message as `Walk.code` does, with the same tables, but every question
whose answer is the same for each record is answered here, once: which contexts choose a row, what
a code is counted from, what must be remembered of a list. Codes are variables; one that is absent
is -1. `packcodec.codec.modelled.sending` and `reading` say how a symbol is sent and read.

Names: `hour`, the row of the hour; `clock`, what has elapsed, in units that all clocks share;
`began`, the message's first time in seconds.
"""

from collections.abc import Sequence
from math import gcd
from typing import Any

from packcodec.codec.modelled.history import (
    ACTIVE_MOST,
    ACTIVE_STEPS,
    HOUR_ROWS,
    HOUR_S,
    HOURS_IN_DAY,
    KINS,
    MOST_RECENT,
    NOON_ROW,
)
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import (
    ABSENT,
    MOST_LISTED,
    OLDEST,
    Held,
    bucket_keys,
    by_age,
    folds,
    nested,
)
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import MOST_ALONE, fold, unfold
from packcodec.codec.modelled.walk import (
    GapPart,
    Group,
    ListPart,
    OptionalPart,
    StartPart,
    ValuePart,
    Walk,
)
from packcodec.codec.places import Source
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Value
from packcodec.schema.model import Field
from packcodec.schema.models import BEFORE

EIGHTH_S = HOUR_S * HOURS_IN_DAY // HOUR_ROWS


class Script:
    """The lines of one function. Subclasses have what differs between sending and reading."""

    # How tables are held, those of no and yes apart, and which way a code is folded.
    held: Held
    held_answer: Held
    unfolds: bool

    def __init__(self, walk: Walk, source: Source) -> None:
        self.walk, self.source = walk, source
        groups = list(_groups(walk.group))
        clocks = [part.step_s for group in groups for part in _plain(group, GapPart)]
        self.unit_s = gcd(*clocks) or 1
        self.starts = any(part.known for part in _plain(walk.group, StartPart))
        self._first = len(source.lines)
        self._remembered: set[str] = set()

    def add(self, depth: int, line: str) -> None:
        self.source.add(depth, line)

    def begin(self, lines: Sequence[str]) -> None:
        """The lines that open the function; what is remembered begins after them."""
        for line in lines:
            self.add(0, line)
        self.add(1, f"hour, clock, began = {NOON_ROW}, 0, None")
        self._first = len(self.source.lines)

    def remember(self, variable: str, start: str) -> None:
        """A variable that has a value before anything is said."""
        if variable not in self._remembered:
            self._remembered.add(variable)
            self.source.lines.insert(self._first, f"    {variable} = {start}")

    # ---- Names

    def code(self, group: Group, at: int) -> str:
        return self.source.variable(f"{group.path}.{group.fields[at].name}", "c")

    def species(self, group: Group) -> str:
        assert group.species is not None
        return self.code(group, group.species)

    def value(self, group: Group, at: int) -> Value:
        """The place of a field that is no list, as fixed coding knows it."""
        field = group.fields[at]
        codes = codes_of(field, self.source.schema)
        path = f"{group.path}.{field.name}"
        return Value(field, path, codes, (codes - 1).bit_length())

    def named(self, group: Group, kind: str, start: str) -> str:
        """A variable of a list, which all its instances in the payload share."""
        variable = self.source.variable(group.path, kind)
        self.remember(variable, start)
        return variable

    # ---- Fields

    def fields(self, group: Group, depth: int, in_set: str = "") -> None:
        """All fields; `in_set` is the variable that tells whether a set has said the species."""
        for at, part in enumerate(group.parts):
            if isinstance(part, OptionalPart):
                self._optional(group, at, part, depth)
            elif in_set and at == group.species:
                k, recent, code = self.k(group, at), self.recent(group), self.code(group, at)
                self.add(depth, f"if {in_set}:")
                self.add(depth + 1, f"{k} = {recent}.index({code}) if {code} in {recent} else -1")
                self.add(depth, "else:")
                self.field(group, at, part, depth + 1)
            else:
                self.field(group, at, part, depth)

    def _optional(self, group: Group, at: int, part: OptionalPart, depth: int) -> None:
        there = self.source.variable(f"{group.path}.{group.fields[at].name}", "p")
        self.ask(group, at, there, depth)
        self.place(group, place_of(part.presence), there, depth)
        self.add(depth, f"if {there}:")
        self.field(group, at, part.part, depth + 1)
        self.add(depth, "else:")
        code = self.code(group, at)
        self.add(depth + 1, f"{code} = {ABSENT}")
        inner = part.part
        place = inner.count if isinstance(inner, ListPart) else getattr(inner, "place", None)
        if place is not None:
            self.note(group, place_of(place), code, depth + 1)
        self.leave_out(group, at, depth + 1)

    def field(self, group: Group, at: int, part: Any, depth: int) -> None:
        code = self.code(group, at)
        match part:
            case ListPart():
                self.list(group, at, part, depth)
                return
            case SpeciesPart():
                self.to_code(group, at, depth)
                self.pick(part, code, self.k(group, at), depth)
            case StartPart():
                self.to_code(group, at, depth)
                self.start(group, part, code, depth)
            case GapPart():
                self.to_code(group, at, depth)
                self.place(group, place_of(part.place), code, depth)
                units = part.step_s // self.unit_s
                self.add(depth, f"clock += {code}" + (f" * {units}" if units > 1 else ""))
                self._set_hour(depth)
            case ValuePart():
                self.to_code(group, at, depth)
                self.place(group, place_of(part.place), code, depth)
        self.to_value(group, at, depth)

    def start(self, group: Group, part: StartPart, code: str, depth: int) -> None:
        if part.by_hour:
            self.start_by_hour(group, part, code, depth)
        else:
            self.alike(part.codes, code, depth)
        if part.known:
            self.add(depth, f"began = {code} * {part.step_s}")
            self._set_hour(depth)

    def _set_hour(self, depth: int) -> None:
        if self.starts:
            elapsed = "clock" if self.unit_s == 1 else f"clock * {self.unit_s}"
            self.add(depth, "if began is not None:")
            self.add(depth + 1, f"hour = (began + {elapsed}) // {EIGHTH_S} % {HOUR_ROWS}")

    # ---- Places

    def place(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        if place.rows and place.codes > 1:
            self.table(group, place, code, depth)
            self.note(group, place, code, depth)
        else:
            self.alike(place.codes, code, depth)

    def row(self, group: Group, place: TablePlace, held: Held, depth: int) -> str:
        """The row that the contexts choose; lines before it fetch what they need."""
        said = {*place.table.contexts, place.table.around}
        if "last" in said:
            last, species = self._last(place), self.species(group)
            self.add(depth, f"l = {last}.get({species}, {ABSENT})")
        indices, keys = [], []
        for name in place.table.contexts:
            index, values = self._context(group, place, name, depth)
            indices.append(f"[{index}]")
            keys.append(values)
        rows = self.source.constant(nested([held(row) for row in place.rows], keys))
        return rows + "".join(indices)

    def _context(
        self, group: Group, place: TablePlace, name: str, depth: int
    ) -> tuple[str, Sequence[int]]:
        """The index of a context's value, and the value that it has at each."""
        match name:
            case "hour":
                return "hour", range(HOUR_ROWS)
            case "active":
                return self._active(group, depth), range(ACTIVE_MOST + 1)
            case "kin":
                return self._kin(group, place), range(KINS)
        code, codes = self.earlier(group, place, name)
        keys, index = bucket_keys(codes)
        if index is None:
            return code, keys
        of = self.source.constant(index)
        return (f"{of}[{code}]" if isinstance(index, bytes) else f"{of}({code})"), keys

    def _active(self, group: Group, depth: int) -> str:
        if group.species is None:
            return "0"
        when = self.when(group)
        self.add(depth, f"since = clock - {ACTIVE_STEPS * group.clock_step_s // self.unit_s}")
        steps = (f"{at} if {when}[{at}] < since else " for at in range(ACTIVE_MOST))
        return "".join(steps) + str(ACTIVE_MOST)

    def _kin(self, group: Group, place: TablePlace) -> str:
        capacity, species = self.source.schema.species.capacity, self.species(group)
        if capacity > MOST_LISTED:
            return f"{self.source.constant(place.kin)}.get({species}, 0)"
        kin = bytes(place.kin.get(code, 0) for code in range(capacity))
        return f"{self.source.constant(kin)}[{species}]"

    def earlier(self, group: Group, place: TablePlace, name: str) -> tuple[str, int]:
        """A code said earlier, and how many codes its place has."""
        if name == "previous":
            previous = self.source.variable(place.spot.path, "q")
            self.remember(previous, str(ABSENT))
            return previous, place.codes
        if name == "last":
            return "l", place.codes
        at, codes = place.spot.before[BEFORE.index(name)]
        return self.code(group, at), codes

    def _last(self, place: TablePlace) -> str:
        last = self.source.variable(place.spot.path, "d")
        self.remember(last, "{}")
        return last

    def note(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        """Keep the code for the element after, if its table asks for it."""
        said = {*place.table.contexts, place.table.around} if place.rows else set()
        if "previous" in said:
            self.add(depth, f"{self.earlier(group, place, 'previous')[0]} = {code}")
        if "last" in said:
            self.add(depth, f"{self._last(place)}[{self.species(group)}] = {code}")

    def folded(self, group: Group, place: TablePlace, code: str) -> str:
        """The code folded around the table's centre, or a folded one's code."""
        last = place.codes - 1
        fallback = min(place.table.centre, last)
        if place.table.around == "none":
            return code
        if place.table.around == "centre":
            centre, centres, index = str(fallback), [fallback], "[0]"
        else:
            earlier, codes = self.earlier(group, place, place.table.around)
            centre = f"(min({earlier}, {last}) if {earlier} >= 0 else {fallback})"
            centres = [min(each, last) for each in range(min(codes, MOST_ALONE))] + [fallback]
            index = f"[{earlier}]" if codes <= MOST_ALONE else ""
        if place.codes <= MOST_ALONE and index:
            turns = self.source.constant(folds(place.codes, centres, back=self.unfolds))
            return f"{turns}{index}[{code}]"
        turn = self.source.constant(unfold if self.unfolds else fold)
        return f"{turn}({code}, {centre}, {place.codes})"

    # ---- Lists

    def recent(self, group: Group) -> str:
        """The species seen lately, the last first; `when` has their moments."""
        return self.named(group, "recent", "[]")

    def when(self, group: Group) -> str:
        long_ago = -(ACTIVE_STEPS + 1) * max(group.clock_step_s, 1)
        return self.named(group, "when", f"[{long_ago}] * {ACTIVE_MOST}")

    def moment(self, group: Group) -> str:
        return "clock" if group.clock_step_s else self.named(group, "number", "0")

    def k(self, group: Group, at: int) -> str:
        return self.source.variable(f"{group.path}.{group.fields[at].name}", "k")

    def age(self, group: Group, k: str) -> str:
        """The index of the row of `recent` for the species at `k`."""
        age = f"{self.moment(group)} - {self.when(group)}[{k}]"
        units = group.clock_step_s // self.unit_s
        if units > 1:
            age = f"({age}) // {units}"
        return f"age if (age := {age}) < {OLDEST} else {OLDEST}"

    def hits(self, part: SpeciesPart) -> str:
        return self.source.constant(by_age(part, self.held_answer))

    def note_element(self, group: Group, depth: int) -> None:
        """What an element leaves for those after it."""
        if group.species is None:
            return
        k = self.k(group, group.species)
        recent, when, moment = self.recent(group), self.when(group), self.moment(group)
        last = MOST_RECENT - 1
        self.add(depth, f"if {k}:")
        self.add(depth + 1, f"if {k} > 0:")
        self.add(depth + 2, f"del {recent}[{k}], {when}[{k}]")
        self.add(depth + 1, "else:")
        self.add(depth + 2, f"del {recent}[{last}:], {when}[{last}:]")
        self.add(depth + 1, f"{recent}.insert(0, {self.species(group)})")
        self.add(depth + 1, f"{when}.insert(0, {moment})")
        self.add(depth, "else:")
        self.add(depth + 1, f"{when}[0] = {moment}")
        if not group.clock_step_s:
            self.add(depth, f"{moment} += 1")

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

    def pick(self, part: SpeciesPart, code: str, k: str, depth: int) -> None:
        """A species: one of those seen lately, `k` is then where among them, or a new one, -1."""
        raise NotImplementedError

    def list(self, group: Group, at: int, part: ListPart, depth: int) -> None:
        raise NotImplementedError


def fixed_bits(group: Group, source: Source) -> int:
    """Bits of fixed coding that a group takes whatever is said: of optional fields the presence."""
    return sum(1 if field.optional else width_of(field, source) for field in group.fields)


def width_of(field: Field, source: Source) -> int:
    """Bits of fixed coding; of a list's number of elements."""
    return (codes_of(field, source.schema) - 1).bit_length()


def place_of(place: Any) -> TablePlace:
    assert isinstance(place, TablePlace)
    return place


def _groups(group: Group) -> "Sequence[Group]":
    found = [group]
    for part in _plain(group, ListPart):
        found += _groups(part.element)
    return found


def _plain(group: Group, kind: type[Any]) -> list[Any]:
    """The group's parts of a kind, optional or not."""
    parts = [part.part if isinstance(part, OptionalPart) else part for part in group.parts]
    return [part for part in parts if isinstance(part, kind)]
