"""What a generated function knows while it goes through a message: names, and the rows they choose.

Every question whose answer is the same for each record is answered here, once: which contexts
choose a row, what a code is counted from, what must be remembered of a list. Codes are variables;
one that is absent is -1.

Names beside those of codes: `hour`, the row of the hour; `clock`, what has elapsed, in units that
all clocks share; `began`, the message's first time in seconds; `turn`, when on the clock the hour's
row changes.
"""

from collections.abc import Iterator, Sequence
from math import gcd
from typing import Any

from packcodec.codec.modelled.history import (
    HOUR_ROWS,
    HOUR_S,
    HOURS_IN_DAY,
    KINS,
    MOST_RECENT,
    NOON_ROW,
    RANKS,
)
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import (
    ABSENT,
    MOST_LISTED,
    Held,
    bucket_keys,
    folds,
    nested,
)
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
from packcodec.schema.models import BEFORE

NEVER = 1 << 62
EIGHTH_S = HOUR_S * HOURS_IN_DAY // HOUR_ROWS


class Contexts:
    """The source of one function, its names and the lines that keep them true."""

    # How tables are held, those of no and yes apart, and which way a code is folded.
    held: Held
    held_answer: Held
    unfolds: bool

    def __init__(self, walk: Walk, source: Source) -> None:
        self.source = source
        clocks = [gap.step_s for group in _groups(walk.group) for gap in _plain(group, GapPart)]
        self.unit_s = gcd(*clocks) or 1
        self.starts = any(part.known for part in _plain(walk.group, StartPart))
        self._first = 0
        self._remembered: set[str] = set()

    def add(self, depth: int, line: str) -> None:
        self.source.add(depth, line)

    def begin(self, line: str) -> None:
        """The line that opens the function; what is remembered begins after it."""
        self.add(0, line)
        self.add(1, f"hour, clock, turn = {NOON_ROW}, 0, {NEVER}")
        self._first = len(self.source.lines)

    # ---- Names

    def code(self, group: Group, at: int) -> str:
        """The code of a field; of a list how many elements it has, less the least."""
        return self._of_field(group, at, "c")

    def there(self, group: Group, at: int) -> str:
        """Whether an optional field is there."""
        return self._of_field(group, at, "p")

    def k(self, group: Group) -> str:
        """Where the element's species stands among those seen lately, 4 where it does not."""
        assert group.species is not None
        return self._of_field(group, group.species, "k")

    def rank(self, group: Group) -> str:
        """Where that of the element before stood."""
        return self.named(group, "rank", str(ABSENT))

    def species(self, group: Group) -> str:
        assert group.species is not None
        return self.code(group, group.species)

    def recent(self, group: Group) -> str:
        """The species seen lately, the last first."""
        return self.named(group, "recent", "[]")

    def named(self, group: Group, kind: str, start: str) -> str:
        """A variable of a list, which all its instances in the payload share."""
        return self._remember(self.source.variable(group.path, kind), start)

    def value(self, group: Group, at: int) -> Value:
        """The place of a field that is no list, as fixed coding knows it."""
        field = group.fields[at]
        codes = codes_of(field, self.source.schema)
        return Value(field, f"{group.path}.{field.name}", codes, (codes - 1).bit_length())

    def _of_field(self, group: Group, at: int, kind: str) -> str:
        return self.source.variable(f"{group.path}.{group.fields[at].name}", kind)

    def _remember(self, variable: str, start: str) -> str:
        """A variable that has a value before anything is said."""
        if variable not in self._remembered:
            self._remembered.add(variable)
            self.source.lines.insert(self._first, f"    {variable} = {start}")
        return variable

    # ---- Rows

    def row(self, group: Group, place: TablePlace) -> str:
        """The row that the contexts choose."""
        indices, keys = [], []
        for name in place.table.contexts:
            index, values = self._context(group, place, name)
            indices.append(f"[{index}]")
            keys.append(values)
        rows = self.source.constant(nested([self.held(row) for row in place.rows], keys))
        return rows + "".join(indices)

    def _context(self, group: Group, place: TablePlace, name: str) -> tuple[str, Sequence[int]]:
        """The index of a context's value, and the value that it has at each."""
        match name:
            case "hour":
                return "hour", range(HOUR_ROWS)
            case "kin":
                return self._kin(group, place), range(KINS)
        code, codes = self._earlier(group, place, name)
        keys, index = bucket_keys(codes)
        if index is None:
            return code, keys
        of = self.source.constant(index)
        return (f"{of}[{code}]" if isinstance(index, bytes) else f"{of}({code})"), keys

    def _kin(self, group: Group, place: TablePlace) -> str:
        capacity, species = self.source.schema.species.capacity, self.species(group)
        if capacity > MOST_LISTED:
            return f"{self.source.constant(place.kin)}.get({species}, 0)"
        kin = bytes(place.kin.get(code, 0) for code in range(capacity))
        return f"{self.source.constant(kin)}[{species}]"

    def _earlier(self, group: Group, place: TablePlace, name: str) -> tuple[str, int]:
        """A code said earlier, and how many codes its place has."""
        if name == "previous":
            previous = self.source.variable(place.spot.path, "previous")
            return self._remember(previous, str(ABSENT)), place.codes
        if name == "rank":
            return self.rank(group), RANKS
        if name == "last":
            return self.source.variable(place.spot.path, "last"), place.codes
        at, codes = place.spot.before[BEFORE.index(name)]
        return self.code(group, at), codes

    def folded(self, group: Group, place: TablePlace, code: str) -> str:
        """The code folded around the table's centre, or a folded one's code."""
        last = place.codes - 1
        fallback = min(place.table.centre, last)
        if place.table.around == "none":
            return code
        if place.table.around == "centre":
            centre, centres, index = str(fallback), [fallback], "[0]"
        else:
            earlier, codes = self._earlier(group, place, place.table.around)
            centre = f"(min({earlier}, {last}) if {earlier} >= 0 else {fallback})"
            centres = [min(each, last) for each in range(min(codes, MOST_ALONE))] + [fallback]
            index = f"[{earlier}]" if codes <= MOST_ALONE else ""
        if place.codes <= MOST_ALONE and index:
            turns = self.source.constant(folds(place.codes, centres, back=self.unfolds))
            return f"{turns}{index}[{code}]"
        turn = self.source.constant(unfold if self.unfolds else fold)
        return f"{turn}({code}, {centre}, {place.codes})"

    # ---- Lines that remember

    def start_from(self, part: StartPart, code: str, depth: int) -> None:
        """The message's first time has been said."""
        if part.known:
            self.add(depth, f"began = {code} * {part.step_s}")
            self._set_hour(depth)

    def move_on(self, part: GapPart, code: str, depth: int) -> None:
        """A duration since the element before has been said."""
        units = part.step_s // self.unit_s
        self.add(depth, f"clock += {code}" + (f" * {units}" if units > 1 else ""))
        if self.starts:
            self.add(depth, "if clock >= turn:")
            self._set_hour(depth + 1)

    def _set_hour(self, depth: int) -> None:
        self.add(depth, f"hour = (began + clock * {self.unit_s}) // {EIGHTH_S}")
        self.add(depth, f"turn = -((began - (hour + 1) * {EIGHTH_S}) // {self.unit_s})")
        self.add(depth, f"hour %= {HOUR_ROWS}")

    def recall(self, group: Group, depth: int) -> None:
        """An element's species has been said: the codes of its last element."""
        places = [place for _, place in _asking(self, group, "last")]
        if places:
            names = "".join(f"{self._earlier(group, place, 'last')[0]}, " for place in places)
            last = self.named(group, "lasts", "{}")
            absent = self.source.constant((ABSENT,) * len(places))
            self.add(depth, f"{names}= {last}.get({self.species(group)}, {absent})")

    def note(self, group: Group, depth: int) -> None:
        """All of an element has been said."""
        for code, place in _asking(self, group, "previous"):
            self.add(depth, f"{self._earlier(group, place, 'previous')[0]} = {code}")
        if group.species is None:
            return
        codes = "".join(f"{code}, " for code, _ in _asking(self, group, "last"))
        recent, k, species = self.recent(group), self.k(group), self.species(group)
        last = self.named(group, "lasts", "{}") if codes else ""
        if codes:
            self.add(depth, f"{last}[{species}] = {codes}")
        self.add(depth, f"if {k}:")
        self.add(depth + 1, f"{recent}.insert(0, {species})")
        self.add(depth + 1, f"if {k} < {MOST_RECENT}:")
        self.add(depth + 2, f"del {recent}[{k} + 1]")
        self.add(depth + 1, f"elif len({recent}) > {MOST_RECENT}:")
        forgotten = f"{recent}.pop()"
        if codes and not group.may_be_set:
            forgotten = f"del {last}[{forgotten}]"
        self.add(depth + 2, forgotten)
        self.add(depth, f"{self.rank(group)} = {k}")


def place_of(place: Any) -> TablePlace:
    """A place of a walk that codes, which has a table."""
    assert isinstance(place, TablePlace)
    return place


def _asking(names: Contexts, group: Group, what: str) -> Iterator[tuple[str, TablePlace]]:
    """The places of a group whose tables ask for an earlier code, and the codes' names."""
    for at, part in enumerate(group.parts):
        inner = part
        if isinstance(part, OptionalPart):
            inner = part.part
            if _asks(part.presence, what):
                yield names.there(group, at), place_of(part.presence)
        place = inner.count if isinstance(inner, ListPart) else None
        place = inner.place if isinstance(inner, ValuePart | GapPart) else place
        if place is not None and _asks(place, what):
            yield names.code(group, at), place_of(place)


def _asks(place: Any, what: str) -> bool:
    table = place_of(place).table
    return place.codes > 1 and bool(place.rows) and what in (*table.contexts, table.around)


def _groups(group: Group) -> list[Group]:
    found = [group]
    for part in _plain(group, ListPart):
        found += _groups(part.element)
    return found


def _plain(group: Group, kind: type[Any]) -> list[Any]:
    """The group's parts of a kind, optional or not."""
    parts = [part.part if isinstance(part, OptionalPart) else part for part in group.parts]
    return [part for part in parts if isinstance(part, kind)]
