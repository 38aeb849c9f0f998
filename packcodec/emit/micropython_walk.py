"""The walk over a message in modelled coding, as MicroPython functions: one for each group.

A walk serves both ways: it takes values to send, or values to overlook, and gives the values sent
or read. What it remembers are the values themselves, so nothing is stored on the way out.
"""

from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.walk import DAY_S, LEAST_MORE
from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.micropython_places import Places, alike
from packcodec.emit.micropython_tables import Constants
from packcodec.emit.micropython_values import nothing, value_of
from packcodec.emit.text import broken
from packcodec.schema.model import Field, ListOf, Time


class Group(Places):
    """The walk over the fields of a message or of a list's elements, as functions."""

    def __init__(
        self,
        constants: Constants,
        name: str,
        fields: tuple[Field, ...],
        said: dict[str, Any],
        here: str | None,
    ) -> None:
        super().__init__(constants, name, fields, said)
        self.here = here
        # The functions of the lists within.
        self.before: list[str] = []
        # Where "seen", the last element of the species, is to be known, if any place asks.
        self.after_species = 0
        self.row = "values" if here is None else "row"
        self.in_set = here is not None and bool(said["set"])

    def lines(self) -> Iterator[str]:
        """The functions of the lists within, and this one."""
        for at, (f, entry) in enumerate(zip(self.fields, self.said["fields"], strict=True)):
            self._field(at, f, entry)
            if at == self.species_at:
                self.after_species = len(self.function.lines)
        if self.asks_last:
            assert self.species_at is not None
            line = f"{INDENT}seen = here.rows[_stands(here, {self.held[self.species_at]})]"
            self.function.lines.insert(self.after_species, line)
        yield from self.before
        values = [f"{nothing(f)}," for f in self.fields] or [""]
        yield from ("", "", *broken(f"_NO_{self.name} = (", values, " ", ")"))
        given = "c, values" if self.here is None else "c, rows, at"
        yield from ("", "", f"def _walk_{self.name}({given}{', known' * self.in_set}):")
        yield from self._head()
        for line in self.function.lines:
            yield from _folded(line)
        values = [self._value(at, f) for at, f in enumerate(self.fields)] or [""]
        if self.here is None:
            yield f"{INDENT}if not c.reading:"
            yield f"{INDENT * 2}return values"
            yield from broken(f"{INDENT}return [", values, ", ", "]")
            return
        yield f"{INDENT}if c.reading:"
        yield from broken(f"{INDENT * 2}rows[at] = row = [", values, ", ", "]")
        if self.species_at is not None:
            yield f"{INDENT}_note{'_set' * self.in_set}(here, row, {self.held[self.species_at]})"
        if self.asks_previous:
            yield f"{INDENT}here.previous = row"

    def _head(self) -> Iterator[str]:
        if self.here is None:
            for name in self.constants.lists_of(self.name):
                is_set = self.constants.lists[name]
                yield f"{INDENT}_forget{'_set' * is_set}({name})"
            return
        yield f"{INDENT}row = rows[at]"
        if self.species_at is not None or self.asks_previous:
            yield f"{INDENT}here = {self.here}"
            self.constants.lists[self.here] = self.in_set

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
            add(1, f"{variable} = {absent}")
            there = self.place(entry["presence"], f"0 if {given} is None else 1", 1)
            add(1, f"if {there}:")
            depth = 2
        match entry["part"]:
            case "list":
                assert isinstance(field, ListOf)
                self._list(at, field, entry, depth)
            case "species":
                if at == self.species_at and self.in_set:
                    add(depth, f"{variable} = known", "if known < 0:")
                    depth += 1
                self._species(variable, entry, given, depth)
            case "start":
                assert isinstance(field, Time)
                self._start(at, field, entry, given, depth)
            case "gap":
                code = self.place(entry["value"], self.code(at, given), depth)
                add(depth, f"{variable} = {code}")
                add(depth, f"c.elapsed += {variable} * {entry['step_s']}")
            case _:
                code = self.place(entry["value"], self.code(at, given), depth)
                add(depth, f"{variable} = {code}")

    def _start(self, at: int, field: Time, entry: dict[str, Any], given: str, depth: int) -> None:
        add, codes, variable = self.function.add, entry["codes"], self.held[at]
        add(depth, f"{variable} = {self.code(at, given)}")
        if entry["hour"] is None:
            add(depth, f"{variable} = {alike(codes, variable)}")
        else:
            an_hour = entry["an_hour"]
            day = 24 * an_hour
            hours = f"{variable} // {an_hour}" if an_hour > 1 else variable
            times = f" * {an_hour}" if an_hour > 1 else ""
            days = alike(codes // day, f"{variable} // {day}")
            add(depth, f"count = {days} * {day}")
            add(depth, f"count += {self.place(entry['hour'], f'{hours} % 24', depth)}{times}")
            rest = f" + {alike(an_hour, f'{variable} % {an_hour}')}" if an_hour > 1 else ""
            add(depth, f"{variable} = count{rest}")
        if entry["known"]:
            add(depth, f"c.start = {variable} * {field.step_s} % {DAY_S}")

    def _species(self, variable: str, entry: dict[str, Any], given: str, depth: int) -> None:
        """Straight on, for small ports have little stack."""
        add, constants = self.function.add, self.constants
        known, here = len(constants.known), "None"
        if entry["recent"] is not None:
            here = "here"
            stands = f"_stands(here, {given})"
            said = f"min({stands}, {MOST_RECENT})" if self.in_set else stands
            add(depth, f"rank = {self.place(entry['recent'], said, depth)}")
            add(depth, f"if rank < {MOST_RECENT}:", f"{INDENT}{variable} = here.recent[rank]")
            add(depth + 1, f"if {variable} < 0:")
            add(depth + 2, 'raise Refused(NOT_CANONICAL, "frame")')
            add(depth, "else:")
            depth += 1
        hour = "_hour(c)" if len(entry["new"]) > 1 else "0"
        new = f"{constants.sums(entry['new'])}, {hour}, {known + 1}"
        another = alike(entry["codes"], given)
        add(depth, f"found = _by(c, {new}, _known({given}))")
        add(depth, f"{variable} = _KNOWN[found] if found < {known} else {another}")
        add(depth, "if c.reading:")
        add(depth + 1, f"_refuse_told({here}, found == {known}, {variable})")

    def _list(self, at: int, field: ListOf, entry: dict[str, Any], depth: int) -> None:
        name, here = f"{self.name}__{field.name}", f"_H_{self.name}__{field.name}"
        constants, add, variable = self.constants, self.function.add, self.held[at]
        self.before += Group(constants, name, field.fields, entry, here).lines()
        given = f"{self.row}[{at}]"
        element = f"_walk_{name}(c, {variable}, n"
        if entry["more"]:
            more = constants.sums(entry["more"], LEAST_MORE)
            asked = f"n >= {field.least} and " if field.least else ""
            add(depth, f"{variable} = [] if c.reading else {given}", "n = 0")
            add(depth, f"while n < {field.most}:")
            add(depth + 1, f"if {asked}not _more(c, {more}, 1 if n < len({variable}) else 0):")
            add(depth + 2, "break")
            add(depth + 1, "if c.reading:", f"{INDENT}{variable}.append(_NO_{name})")
            add(depth + 1, f"{element})", "n += 1")
            return
        if entry["set"]:
            species = entry["species_at"]
            flag = constants.sums(entry["set"])
            add(depth, f"if _by(c, {flag}, 0, 2, _is_set({given}, {species})):")
            there = constants.named(b"".join(map(bytes.fromhex, entry["there"])))
            hour = "_hour(c)" if len(entry["there"]) > 1 else "0"
            age = constants.named(bytes.fromhex(entry["age"][0]))
            start = f"{variable} = _set(c, {here}, "
            rest = [there, hour, age, str(field.least), str(field.most), str(species), given]
            rest += [f"_walk_{name}", f"_NO_{name}"]
            add(depth + 1, *broken(start, rest, ", ", ")"))
            add(depth, "else:")
            depth += 1
        less = f" - {field.least}" if field.least else ""
        count = self.place(entry["count"], f"len({given}){less}", depth)
        add(depth, f"count = {count}{less.replace('-', '+')}")
        add(depth, f"{variable} = [_NO_{name}] * count if c.reading else {given}")
        add(depth, "for n in range(count):")
        add(depth + 1, f"{element}{', -1' if entry['set'] else ''})")
        if entry["set"]:
            add(depth, f"if c.reading and _is_set({variable}, {species}):")
            add(depth + 1, 'raise Refused(NOT_CANONICAL, "frame")')
            add(depth - 1, f"_age_set({here})")


def _folded(line: str) -> Iterator[str]:
    """A line, broken within its brackets where it is too long."""
    indent = line[: len(line) - len(line.lstrip())]
    yield from broken(indent, line.lstrip().split(", "), ", ", "")
