"""Modelled coding in MicroPython: the walk over each message, and the tables it goes by.

A walk serves both ways: it takes values to send, or values to overlook, and gives the values sent
or read. What it remembers are the values themselves, so nothing is stored on the way out. The
range is held in halves, and no number in between reaches 2^30 (templates/micropython_modelled).
"""

import re
from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.coder import ROOM_ROWS, room_row
from packcodec.codec.modelled.payload import PLAIN, ROOMY_BITS, TAIL_BITS
from packcodec.codec.modelled.tables import OCTAVE, Classes, cumulative, odds
from packcodec.codec.modelled.walk import DAY_S, LEAST_MORE
from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.micropython_decode import value_of
from packcodec.emit.micropython_encode import TAKEN, Function, add_step
from packcodec.emit.modelled_table import add_models
from packcodec.emit.names import Names
from packcodec.emit.table import table
from packcodec.emit.text import broken
from packcodec.emit.whole import whole
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Boolean, Field, ListOf, Time

_NEAR = {"before": 0, "before_2": 1, "before_3": 2}
_TAKEN = TAKEN | {"c", "row", "known", "here", "count"}
_DEFINED = re.compile(r"^(?:def|class) (\w+)", re.MULTILINE)
_READING = ("reading", "species reading")


class Walks:
    """The walks of a schema's messages, and the tables they use, each written once."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.data = table(layout)
        add_models(self.data, layout)
        self.tables: dict[bytes, str] = {}
        self.lists: dict[str, int] = {}
        self.functions = [
            line
            for message, said in zip(layout.messages, self.data["messages"], strict=True)
            for line in (
                *_Group(self, f"{message.name}", message.message.fields, said, None).lines(),
                *_plain(message),
            )
        ]

    def named(self, octets: bytes) -> str:
        """The constant that holds these bytes."""
        return self.tables.setdefault(octets, f"_T{len(self.tables)}")

    def sums(self, rows: list[str], least: int = 1) -> str:
        """The constant of a table: of each row the sums between its symbols, in 16 bits each."""
        found = b""
        for row in rows:
            inner = cumulative(bytes.fromhex(row), least)[1:-1]
            found += b"".join(each.to_bytes(2, "big") for each in inner)
        return self.named(found)

    def has_tail(self, name: str) -> bool:
        """Whether the size of a message's payload depends on the room there is."""
        (said,) = (each for each in self.data["messages"] if each["name"] == name)
        return any(each["part"] == "list" and each["more"] for each in said["fields"])

    def writing(self, blocks: dict[str, str]) -> Iterator[str]:
        """What encoders need: the coder, what of the walk's parts is used, tables and walks."""
        text = "\n".join(self.functions)
        used = _used(blocks, text)
        yield from self._constants(text + "".join(used.values()))
        for key, block in used.items():
            if key not in _READING:
                yield from ("", "", _filled(block))
        yield from ("", "", "_c = _Coder()")
        for name, ages in self.lists.items():
            yield f"{name} = _List({ages})"
        yield f"_LISTS = ({''.join(f'{name}, ' for name in self.lists)})".replace(", )", ",)")
        yield from self.functions

    def reading(self, blocks: dict[str, str]) -> Iterator[str]:
        """What only decoders need."""
        used = _used(blocks, "\n".join(self.functions))
        for key in _READING:
            if key in used:
                yield from ("", "", _filled(used[key]))

    def _constants(self, text: str) -> Iterator[str]:
        if "_KNOWN" in text:
            known = [f"{code}," for code in self.data["known"]] or [""]
            yield from broken("_KNOWN = (", known, " ", ")")
        if "_ROOM[" in text:
            yield f"_ROOM = {tuple(_rooms())}"
        if "_ODDS" in text:
            entries = (odds(logit)[1] for logit in range(-15 * OCTAVE, 15 * OCTAVE + 1))
            yield from _literal("_ODDS", b"".join(each.to_bytes(2, "big") for each in entries))
        for octets, name in self.tables.items():
            yield from _literal(name, octets)


class _Group:
    """The walk over the fields of a message or of a list's elements, as functions."""

    def __init__(
        self,
        walks: Walks,
        name: str,
        fields: tuple[Field, ...],
        said: dict[str, Any],
        here: str | None,
    ) -> None:
        self.walks = walks
        self.name = name
        self.fields = fields
        self.said = said
        self.here = here
        self.keeps = False
        self.row = "values" if here is None else "row"
        self.function = Function(Names(_TAKEN))
        self.held = [self.function.variables.give(f.name) for f in fields]
        self.before: list[str] = []
        self.species_at: int | None = said["species_at"]
        step_s = said["clock_step_s"]
        self.moment = "c.elapsed" if step_s else "here.elements"

    def lines(self) -> Iterator[str]:
        """The functions of the lists within, and this one."""
        for at, (f, entry) in enumerate(zip(self.fields, self.said["fields"], strict=True)):
            self._field(at, f, entry)
        yield from self.before
        nothing = [f"{_nothing(f)}," for f in self.fields] or [""]
        yield from ("", "", *broken(f"_NO_{self.name} = (", nothing, " ", ")"))
        yield from ("", "", f"def _walk_{self.name}(c, {self.row}, known):")
        if self.here is not None:
            yield f"{INDENT}here = {self.here}"
        yield from self.function.lines
        values = [self._value(at, f) for at, f in enumerate(self.fields)] or [""]
        if self.here is None:
            yield f"{INDENT}if not c.reading:"
            yield f"{INDENT * 2}return values"
            yield from broken(f"{INDENT}return [", values, ", ", "]")
            return
        yield f"{INDENT}if c.reading:"
        yield from broken(f"{INDENT * 2}row = [", values, ", ", "]")
        if self.keeps:
            yield f"{INDENT}_keep(here, row)"
        species = "-1" if self.species_at is None else self.held[self.species_at]
        yield f"{INDENT}_note(here, row, {species}, {self.moment})"
        yield f"{INDENT}return row"

    def _value(self, at: int, field: Field) -> str:
        variable = self.held[at]
        if isinstance(field, ListOf):
            return variable
        value = value_of(field, variable)
        return f"None if {variable} < 0 else {value}" if field.optional else value

    def _field(self, at: int, field: Field, entry: dict[str, Any]) -> None:
        add, variable, depth = self.function.add, self.held[at], 1
        given = f"{self.row}[{at}]"
        if field.optional:
            absent = "None" if isinstance(field, ListOf) else "-1"
            there = self._place(entry["presence"], f"0 if {given} is None else 1")
            add(1, f"{variable} = {absent}", f"if {there}:")
            depth = 2
        match entry["part"]:
            case "list":
                assert isinstance(field, ListOf)
                self._list(at, field, entry, depth)
            case "species":
                if at == self.species_at:
                    add(depth, f"{variable} = known", "if known < 0:")
                    depth += 1
                add(depth, f"{variable} = {self._species(entry, given)}")
            case "start":
                assert isinstance(field, Time)
                self._start(variable, field, entry, given, depth)
            case "gap":
                code = self._place(entry["value"], self._code(at, given))
                add(depth, f"{variable} = {code}")
                add(depth, f"c.elapsed += {variable} * {entry['step_s']}")
            case _:
                code = self._place(entry["value"], self._code(at, given))
                add(depth, f"{variable} = {code}")

    def _code(self, at: int, given: str) -> str:
        entry = self.said["fields"][at]
        codes = entry["value"]["codes"] if "value" in entry else entry["codes"]
        return code_of(self.fields[at], codes, given)

    def _start(
        self, variable: str, field: Time, entry: dict[str, Any], given: str, depth: int
    ) -> None:
        add, codes = self.function.add, entry["codes"]
        add(depth, f"{variable} = {code_of(field, codes, given)}")
        if entry["hour"] is None:
            add(depth, f"{variable} = _alike(c, {codes}, {variable})")
        else:
            an_hour = entry["an_hour"]
            day = 24 * an_hour
            hour = self._place(entry["hour"], f"{variable} // {an_hour} % 24")
            add(
                depth,
                f"count = _alike(c, {codes // day}, {variable} // {day}) * {day}",
                f"count += {hour} * {an_hour}",
                f"{variable} = count + _alike(c, {an_hour}, {variable} % {an_hour})",
            )
        if entry["known"]:
            add(depth, f"c.start = {variable} * {field.step_s} % {DAY_S}")

    def _species(self, entry: dict[str, Any], given: str) -> str:
        recent, new = self.walks.sums(entry["recent"]), self.walks.sums(entry["new"])
        hour = "_hour(c)" if len(entry["new"]) > 1 else "0"
        here = "here"
        if self.here is None:
            here = "_BARE"
            self.walks.lists[here] = 0
        step_s = max(self.said["clock_step_s"], 1)
        moment = self.moment if self.here is not None else "0"
        return (
            f"_species(c, {here}, {moment}, {step_s}, {recent}, {new}, {hour}, "
            f"{entry['codes']}, {given})"
        )

    def _list(self, at: int, field: ListOf, entry: dict[str, Any], depth: int) -> None:
        name, here = f"{self.name}__{field.name}", f"_H_{self.name}__{field.name}"
        walks, add, variable = self.walks, self.function.add, self.held[at]
        walks.lists[here] = len(walks.data["known"]) if entry["set"] else 0
        inner = _Group(walks, name, field.fields, entry, here)
        self.before += inner.lines()
        given, of = f"{self.row}[{at}]", f"_walk_{name}, _NO_{name}"
        if entry["more"]:
            more = walks.sums(entry["more"], LEAST_MORE)
            ends = f"{field.least}, {field.most}"
            add(depth, f"{variable} = _tail(c, {more}, {ends}, {given}, {of})")
            return
        if entry["set"]:
            species = entry["species_at"]
            flag = walks.sums(entry["set"])
            add(depth, f"if _by(c, {flag}, 0, 2, _is_set({given}, {species})):")
            there = walks.named(b"".join(map(bytes.fromhex, entry["there"])))
            hour = "_hour(c)" if len(entry["there"]) > 1 else "0"
            age = walks.named(bytes.fromhex(entry["age"][0]))
            start = f"{variable} = _set(c, {here}, "
            rest = [there, hour, age, str(field.least), str(field.most), str(species), given, of]
            add(depth + 1, *broken(start, rest, ", ", ")"))
            add(depth, "else:")
            depth += 1
        less = f" - {field.least}" if field.least else ""
        count = self._place(entry["count"], f"len({given}){less}")
        add(depth, f"count = {count}{less.replace('-', '+')}")
        add(depth, f"{variable} = _rows(c, count, {given}, {of})")
        if entry["set"]:
            add(depth, f"if c.reading and _is_set({variable}, {species}):")
            add(depth + 1, 'raise Refused(NOT_CANONICAL, "frame")')
            add(depth - 1, f"_age_set({here})")

    # ---- A place: the row of its table that what is known chooses

    def _place(self, place: dict[str, Any], said: str) -> str:
        codes, rows = place["codes"], place["rows"]
        if not rows:
            return f"_alike(c, {codes}, {said})"
        row = "0"
        for name in place["contexts"]:
            size, kind = self._context(name, place)
            row = kind if row == "0" else f"({row}) * {size} + {kind}"
        classes = len(Classes(codes))
        chosen = f"{self.walks.sums(rows)}, {row}, {classes}"
        if place["around"] != "none":
            return f"_around(c, {chosen}, {codes}, {self._centre(place)}, {said})"
        if classes == codes:
            return f"_by(c, {chosen}, {said})"
        return f"_value(c, {chosen}, {codes}, {said})"

    def _context(self, name: str, place: dict[str, Any]) -> tuple[int, str]:
        """How many kinds there are, and which of them it is."""
        match name:
            case "hour":
                return 8, "_hour(c)"
            case "active":
                reach_s = 4 * self.said["clock_step_s"]
                return 4, f"_active(here, c.elapsed - {reach_s})"
            case "kin":
                assert self.species_at is not None
                kin = self.walks.named(bytes(place["kin"]))
                return 4, f"_kin({kin}, {self.held[self.species_at]})"
        codes = place["before"][_NEAR[name]][1] if name in _NEAR else place["codes"]
        code = self._earlier(name, place)
        if codes <= 8:
            return codes + 1, f"{code} + 1"
        return 9, f"_bucket({code}, {codes}, {len(Classes(codes))})"

    def _centre(self, place: dict[str, Any]) -> str:
        centre = str(place["centre"])
        if place["around"] == "centre":
            return centre
        return f"_near({self._earlier(place['around'], place)}, {centre}, {place['codes']})"

    def _earlier(self, name: str, place: dict[str, Any]) -> str:
        """A code said earlier, -1 where there is none."""
        if name in _NEAR:
            at: int = place["before"][_NEAR[name]][0]
            return self.held[at]
        element = "here.previous"
        if name == "last":
            assert self.species_at is not None
            self.keeps = True
            element = f"_last(here, {self.species_at}, {self.held[self.species_at]})"
        return f"{self._getter(place)}({element})"

    def _getter(self, place: dict[str, Any]) -> str:
        """The function that takes a place's code from an element said earlier."""
        at, get = place["at"], place["get"]
        function, field = f"_{get}_{self.name}_{at}", self.fields[at]
        if f"def {function}(row):" in self.before:
            return function
        given = f"row[{at}]"
        absent = f"row is None or {given} is None" if field.optional else "row is None"
        if get == "presence":
            absent, code = "row is None", f"0 if {given} is None else 1"
        elif isinstance(field, ListOf):
            code = f"len({given}) - {field.least}"
        else:
            code = self._code(at, given)
        self.before += ["", "", f"def {function}(row):", f"{INDENT}if {absent}:"]
        self.before += [f"{INDENT * 2}return -1", f"{INDENT}return {code}"]
        return function


def code_of(field: Field, codes: int, given: str) -> str:
    """The expression of the code of a value that has been found sound."""
    if isinstance(field, Boolean):
        return f"1 if {given} else 0"
    if isinstance(field, Time):
        code = f"{given} // {field.step_s}" if field.step_s > 1 else given
        return f"{code} % {codes}" if field.beyond == "wrap" else code
    number = whole(field)
    if number is None:
        return given
    code = f"max({given}, {number.low})" if number.clamp_below else given
    code = f"min({code}, {number.high})" if number.clamp_above else code
    if number.first:
        code = f"{code} {'-' if number.first > 0 else '+'} {abs(number.first)}"
    if number.step > 1:
        code = f"({code}) // {number.step}" if number.first else f"{code} // {number.step}"
    return code


def _nothing(field: Field) -> str:
    """A sound value, which is overlooked."""
    number = whole(field)
    return "()" if isinstance(field, ListOf) else str(number.low if number else 0)


def _plain(message: MessageLayout) -> Iterator[str]:
    """The function that appends the payload of fixed coding behind its mark."""
    function = Function(Names(TAKEN))
    held = {f.name: function.variables.give(f.name) for f in message.message.fields}
    for step in message.body.steps:
        add_step(step, held, function, 1)
    names = [f"{name}," for name in held.values()]
    yield from ("", "", f"def _plain_{message.name}(out, n, values):")
    if names:
        yield from broken(f"{INDENT}(", names, " ", ") = values")
    yield f"{INDENT}n = _put(out, n, {PLAIN}, {PLAIN_BITS})"
    yield from function.lines
    yield f"{INDENT}return n"


def _used(blocks: dict[str, str], text: str) -> dict[str, str]:
    """Those of the blocks that `text` needs, in their order."""
    used = {"coder", "core", "reading"}
    while True:
        said = text + "".join(blocks[key] for key in used)
        more = used | {
            key
            for key, block in blocks.items()
            if any(f"{name}(" in said for name in _DEFINED.findall(block))
        }
        if more == used:
            return {key: block for key, block in blocks.items() if key in used}
        used = more


def _filled(block: str) -> str:
    figures = {
        "tail_bits": TAIL_BITS,
        "roomy_bits": ROOMY_BITS,
        "plain_bits": PLAIN_BITS,
        "plain": PLAIN,
    }
    for name, figure in figures.items():
        block = block.replace(f"@{name}@", str(figure))
    return block


def _rooms() -> Iterator[int]:
    """For each row of room but the first, the fewest bits that are left there."""
    bits = 0
    for row in range(1, ROOM_ROWS):
        while room_row(bits) < row:
            bits += 1
        yield bits


def _literal(name: str, octets: bytes) -> Iterator[str]:
    pieces = [repr(octets[at : at + 16]) for at in range(0, len(octets), 16)]
    if len(pieces) < 2:
        yield f"{name} = {octets!r}"
        return
    yield f"{name} = ("
    yield from (f"{INDENT}{piece}" for piece in pieces)
    yield ")"
