"""Straight code for a message in modelled coding: what both directions share.

Every place of the walk (spec/modelled-coding.md) becomes a statement that names its table. The row
of a table, and what a code is folded around, are expressions over the message itself: what was
said earlier stands there, in the direction of decoding too.
"""

import re
from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.history import HOUR_ROWS, MOST_RECENT, NOON_ROW, RANKS
from packcodec.codec.modelled.tables import MOST_ALONE, Classes
from packcodec.codec.modelled.walk import LEAST_MORE
from packcodec.emit.c_codes import code_of, divided
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_past import looks_back
from packcodec.emit.c_told import HOUR, KIN, LAST, PREVIOUS, RANK, Part, Told
from packcodec.schema.model import Field, ListOf

# Of what is inside another expression.
LONG = 24
NEAR = {"before": 0, "before_2": 1, "before_3": 2}


class Walk:
    """The functions of one message in one direction; `lines` are those of the function at hand."""

    verb: str
    coder: str

    def __init__(self, told: Told, *, wide: bool) -> None:
        """`wide` where codes of the schema need 64 bits."""
        self.told = told
        self.names = told.names
        self.tables = told.tables
        self.wide = wide
        self.code_type = "uint64_t" if wide else "uint32_t"
        self.functions: list[str] = []
        self.lines: list[str] = []

    @property
    def walk(self) -> str:
        """The struct that a walk goes about with."""
        return f"struct {self.told.name}_{self.coder}"

    @property
    def const(self) -> str:
        raise NotImplementedError

    def add(self, depth: int, *lines: str) -> None:
        self.lines += [INDENT * depth + line if line else "" for line in lines]

    # ---- What a direction does with a place, a species and a list

    def value(self, part: Part, at: int, depth: int) -> None:
        raise NotImplementedError

    def presence(self, part: Part, at: int, depth: int) -> None:
        raise NotImplementedError

    def start(self, part: Part, at: int, depth: int) -> None:
        raise NotImplementedError

    def species(self, part: Part, at: int, depth: int) -> None:
        raise NotImplementedError

    def listed(self, part: Part, inner: Part, depth: int) -> None:
        raise NotImplementedError

    # ---- Functions

    def arguments(self, part: Part) -> str:
        """Those of the function of a part's fields."""
        message = f"{self.const}struct {self.told.struct.tag} *message"
        places = "".join(f", size_t {place}" for place in "ij"[: part.depth])
        given = ", bool given" if part.sets else ""
        return f"{self.walk} *w, {message}{places}{given}"

    def called(self, part: Part, given: str) -> str:
        """The call for an element, from a loop that counts it in i or j."""
        places = "".join(f", {place}" for place in "ij"[: part.depth])
        return f"{self.verb}_{part.key}(w, message{places}{f', {given}' if part.sets else ''});"

    def part(self, part: Part) -> None:
        """The function that codes a part's fields, after those that it calls."""
        for inner in part.lists.values():
            self.part(inner)
        outer, self.lines = self.lines, []
        self._locals(part)
        for at, field in enumerate(part.fields):
            self._field(part, at, field)
        if part.species_at is not None:
            species = part.at + part.species
            known = f", {self.position(species)}" if self.noted(part) else ""
            word = self.told.seen[part.key].word(species)
            self.add(1, f"note_{part.key}(&w->past, k, {word}{known});")
        lines, self.lines = self.lines, outer
        text = "\n".join(lines)
        for kind, name in ((self.code_type, "centre"), ("size_t", "chosen")):
            if f" {name} = " in text:
                lines.insert(min(1, part.depth), f"{INDENT}{kind} {name};")
        if part.outer and not any(_names("row", line) for line in lines[1:]):
            lines = lines[1:]
        arguments = self.arguments(part)
        unused = self._unused(arguments, "\n".join(lines))
        self.functions += ["", f"static void {self.verb}_{part.key}({arguments})", "{"]
        self.functions += [*lines, *unused, "}"]

    def _locals(self, part: Part) -> None:
        if part.outer is None:
            return
        tag = part.struct.tag
        self.add(1, f"{self.const}struct {tag} *row = &{part.element(*'ij'[: part.depth])};")
        if part.asks(PREVIOUS):
            self.add(1, f"const struct {tag} *previous = {self._previous(part)};")
        if part.asks(LAST):
            self.add(1, f"const struct {tag} *last;")
        if part.species_at is not None:
            self.add(1, "unsigned k;")
        self.add(1, "")

    def _unused(self, arguments: str, text: str) -> Iterator[str]:
        """What keeps a compiler from warning of an argument that others of its kind need."""
        for name in re.findall(r"(\w+)(?=,|$)", arguments):
            if not _names(name, text):
                yield f"{INDENT}(void){name};"

    def _field(self, part: Part, at: int, field: Field) -> None:
        entry = part.said["fields"][at]
        depth = 1
        if isinstance(field, ListOf) and part.lists[field.name].tail:
            return
        if field.optional:
            self.presence(part, at, depth)
            self.add(depth, f"if ({part.at}{part.struct.presence[field.name]}) {{")
            depth = 2
        match entry["part"]:
            case "list":
                self.listed(part, part.lists[field.name], depth)
            case "species":
                self.species(part, at, depth)
            case "start":
                self.start(part, at, depth)
            case _:
                self.value(part, at, depth)
        if field.optional:
            self.add(1, "}")
        if part.species_at == at and part.asks(LAST):
            self._find_last(part)

    def _find_last(self, part: Part) -> None:
        """The last element of the same species, if there is one."""
        seen = f"w->past.{part.key}"
        places = self.told.seen[part.key].places_of(f"{seen}[k]")
        self.add(1, f"last = k < {MOST_RECENT}u ? &{part.element(*places)}")
        if looks_back(self.told, part):
            at = "".join(f", {place}" for place in "ij"[: part.depth])
            self.add(2, f": {seen}_count < {MOST_RECENT}u ? NULL : last_{part.key}(message{at});")
        else:
            self.lines[-1] += " : NULL;"

    def _previous(self, part: Part) -> str:
        if part.depth == 1:
            return "i > 0u ? &row[-1] : NULL"
        return f"previous_{part.key}(message, i, j)"

    def noted(self, part: Part) -> bool:
        """Whether it is noted in which instance of its list a species was seen last."""
        return part.depth == 2 and part.sets

    @property
    def all_known(self) -> bool:
        """Whether every species code is its own place among the known."""
        return self.tables.counted and self.told.capacity <= len(self.tables.known)

    def seen(self, part: Part) -> str:
        """The k-th of the species seen last."""
        return self.told.seen[part.key].species_of(f"w->past.{part.key}[k]")

    def starts(self, part: Part, entry: dict[str, Any]) -> str:
        """The sums for a new species; `hour` chooses the row where there are several."""
        starts = self.tables.sums(entry["new"], f"{part.path} new species")
        by_hour = f" + {len(self.tables.known) + 1}u * hour" if len(entry["new"]) > 1 else ""
        return starts + by_hour

    def more_row(self, tail: Part) -> str:
        """The row that says whether there is one more, where `spare` bits are left."""
        rows = self.told.message.said["fields"][-1]["more"]
        more = self.tables.sums(rows, f"{tail.path} more, by room", LEAST_MORE)
        return f"{more} + more_row(spare)"

    # ---- Sets

    @property
    def nth_known(self) -> str:
        return "known" if self.tables.counted else f"{self.tables.known_species()}[known]"

    def there(self, inner: Part) -> str:
        """The bytes for each known species, by the hour where that is asked for."""
        rows = "".join(inner.said["there"])
        there = self.tables.array("uint8_t", [*bytes.fromhex(rows), 0], f"{inner.path} there")
        hour = f" + {self.hour()} * KNOWN_COUNT" if len(inner.said["there"]) > 1 else ""
        return there + hour

    def share_of_no(self, inner: Part) -> str:
        """The share of no for the known species at hand."""
        ages = list(bytes.fromhex(inner.said["age"][0]))
        age = f"{ages[0]}u"
        if self.noted(inner):
            name = self.tables.array("uint8_t", ages, f"{inner.path} age")
            past = f"w->past.{inner.key}"
            age = f"{name}[set_age({past}_instances, {past}_in[known])]"
        return f"share_of_no((unsigned)there[known] + {age})"

    # ---- What chooses a row

    def position(self, species: str) -> str:
        """Where a species stands among the known, their number if it is none of them."""
        if self.all_known:
            return f"(unsigned){species}"
        return f"position_of({species})"

    def code(self, part: Part, at: int, of: str) -> str:
        """The code of a field that is there, in the element that `of` leads to."""
        field = part.fields[at]
        path = f"{part.path}.{field.name}"
        code = code_of(field, part.struct, of, path, self.names)
        if not code.wide or self.wide:
            return code.text
        return f"(uint32_t){code.text}"

    def row(self, part: Part, place: dict[str, Any]) -> str:
        """The number of the row, "" where there is only one."""
        text = ""
        for name in place["contexts"]:
            kind, kinds = self._context(part, place, name)
            text = f"({text}) * {kinds}u + {kind}" if text else kind
        return text

    def named(self, name: str, text: str, depth: int) -> str:
        """A text, or where it is long the variable that a statement before gives its value."""
        if len(text) <= LONG:
            return text
        self.add(depth, f"{name} = {_bare(text)};")
        return name

    def table(
        self, part: Part, place: dict[str, Any], symbols: int, depth: int, code: str = ""
    ) -> str:
        """Where a row of sums begins, or the code in it."""
        meaning = f"{part.path}.{part.fields[place['at']].name}: {place['get']}"
        name = self.tables.sums(place["rows"], meaning)
        row = self.named("chosen", self.row(part, place), depth)
        by_row = f"{symbols}u * ({row})" if " " in row else f"{symbols}u * {row}"
        return name + "".join(f" + {each}" for each in (by_row if row else "", code) if each)

    def centre(self, part: Part, place: dict[str, Any], depth: int) -> str:
        around, fallback = place["around"], literal(place["centre"])
        if around == "centre":
            return fallback
        conditions, code, codes = self._earlier(part, place, around)
        if codes > place["codes"]:
            last = literal(place["codes"] - 1)
            code = f"({code} < {last} ? {code} : {last})"
        return self.named("centre", _if(conditions, code, fallback), depth)

    def _context(self, part: Part, place: dict[str, Any], name: str) -> tuple[str, int]:
        """Which of its kinds a context is in, and how many there are."""
        if name == HOUR:
            return self.hour(), HOUR_ROWS
        if name == RANK:
            return f"w->past.{part.key}_rank", RANKS + 1
        if name == KIN:
            kin = [*place["kin"], *[0] * len(self.tables.known)][: len(self.tables.known)]
            table = self.tables.array("uint8_t", [*kin, 0], "the kin of the known species")
            return f"{table}[{self.position(part.at + part.species)}]", 4
        conditions, code, codes = self._earlier(part, place, name)
        bucket, kinds = self._bucket(code, codes)
        return _if(conditions, bucket, "0u"), kinds

    def _bucket(self, code: str, codes: int) -> tuple[str, int]:
        if codes <= 8:
            return f"{code} + 1u", codes + 1
        classes = len(Classes(codes))
        found = f"class_of({code})" if codes > MOST_ALONE else code
        return f"{divided(f'8u * (uint32_t){found}', classes, 8 * classes)} + 1u", 9

    def _earlier(self, part: Part, place: dict[str, Any], name: str) -> tuple[list[str], str, int]:
        """A code said earlier: what must hold for there to be one, it, and how many there are."""
        if name in NEAR:
            at, codes = place["before"][NEAR[name]]
            field, of = part.fields[at], part.at
            presence = part.struct.presence.get(field.name)
            return [f"{of}{presence}"] if presence else [], self.code(part, at, of), codes
        of, field = f"{name}->", part.fields[place["at"]]
        presence = part.struct.presence.get(field.name)
        there = [f"{name} != NULL"]
        if place["get"] == "presence":
            return there, f"({of}{presence} ? 1u : 0u)", 2
        there += [f"{of}{presence}"] if presence else []
        return there, self.code(part, place["at"], of), place["codes"]

    def hour(self) -> str:
        return f"hour_of_{self.told.name}(&w->past)" if self.told.hours else f"{NOON_ROW}u"

    def advance(self, part: Part, at: int, code: str) -> str:
        """The statement that moves the clock on by a code of a field."""
        units = int(part.said["fields"][at]["step_s"]) // self.told.unit_s
        by = f"{code} * {literal(units)}" if units > 1 else code
        kind = "(uint64_t)" if self.told.moment == "uint64_t" and not self.wide else ""
        return f"w->past.elapsed += {kind}{by};"


def _names(name: str, text: str) -> bool:
    """Whether C names a variable, and not only a member that is called so."""
    return re.search(rf"(?<![\w.>]){name}\b", text) is not None


def _bare(text: str) -> str:
    """Without the brackets around all of it."""
    depth = 0
    for at, letter in enumerate(text):
        depth += (letter == "(") - (letter == ")")
        if depth == 0 and at < len(text) - 1:
            return text
    return text[1:-1]


def _if(conditions: list[str], yes: str, no: str) -> str:
    return f"({' && '.join(conditions)} ? {yes} : {no})" if conditions else f"({yes})"
