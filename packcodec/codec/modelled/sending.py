"""The source of the function that turns a record into the steps that an encoder takes."""

from packcodec.codec.modelled.coder import END, TOTAL, digits, steps_of
from packcodec.codec.modelled.contexts import place_of
from packcodec.codec.modelled.history import HOURS_IN_DAY, MOST_RECENT
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import NewSpecies, There, class_of
from packcodec.codec.modelled.script import Script, fixed_bits, width_of
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import FIRST_CODES, MOST_ALONE
from packcodec.codec.modelled.walk import (
    Group,
    ListPart,
    OptionalPart,
    StartPart,
    ValuePart,
    Walk,
)
from packcodec.codec.places import Codes, Source, pack_place, plus
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Count
from packcodec.schema.model import Integer, ListOf


def send_source(walk: Walk, source: Source) -> None:
    """Add `def send(*values)`: the runs of steps, and how many bits fixed coding takes."""
    script = _Sending(walk, source)
    group = walk.group
    values = [script.said(group, at) for at in range(len(group.fields))]
    script.begin(f"def send({', '.join(values)}):")
    source.add(1, f"bits = {fixed_bits(group, source)}")
    source.add(1, "steps = []")
    source.add(1, "runs = [steps]")
    source.add(1, "try:")
    script.fields(group, 2)
    source.add(2, "return runs, bits")
    source.add(1, "except MISFITS:")
    source.add(2, "pass")
    source.add(1, f"return send(*settle(({' '.join(f'{value},' for value in values)})))")


class _Sending(Script):
    held = staticmethod(steps_of)
    held_answer = staticmethod(steps_of)
    unfolds = False

    def said(self, group: Group, at: int) -> str:
        """The variable of a value."""
        return self._of_field(group, at, "a")

    def ask(self, group: Group, at: int, there: str, depth: int) -> None:
        self.add(depth, f"{there} = {self.said(group, at)} is not None")

    def to_code(self, group: Group, at: int, depth: int) -> None:
        field, code = group.fields[at], self.code(group, at)
        said = self.said(group, at)
        if isinstance(field, Integer) and not self._only_looked_up(group, at):
            # Not for plain integers, but for floats and numpy's, which would be reckoned with.
            self.add(depth, f"{said} = index({said})")
        test, term, less = pack_place(self.value(group, at), self.source, depth, said)
        if test:
            self.refuse_unless(test, depth)
        if less or term != code:
            self.add(depth, f"{code} = {plus(term, -less)}")
        if field.optional:
            self.add(depth, f"bits += {width_of(field, self.source)}")

    def _only_looked_up(self, group: Group, at: int) -> bool:
        """Whether a code is an index and nothing else, which only a whole number can be."""
        part = group.parts[at]
        part = part.part if isinstance(part, OptionalPart) else part
        place = part.place if isinstance(part, ValuePart) else None
        return isinstance(place, TablePlace) and bool(place.rows) and place.codes <= MOST_ALONE

    def refuse_unless(self, test: str, depth: int) -> None:
        self.add(depth, f"if not ({test}):")
        self.add(depth + 1, "raise Misfit")

    def alike(self, n: int, code: str, depth: int) -> None:
        if n > TOTAL:
            self.add(depth, f"steps += {self.source.constant(digits)}({code}, {n})")
        elif n > 1:
            self.add(depth, f"steps.append(({code}, 1, {n}))")

    def table(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        row = self.row(group, place)
        folded = self.folded(group, place, code)
        if place.codes <= MOST_ALONE:
            self.add(depth, f"steps.append({row}[{folded}])")
            return
        if folded != code:
            self.add(depth, f"f = {folded}")
            folded = "f"
        of = class_of(place.codes)
        classes = self.source.constant(of)
        index = f"{classes}[{folded}]" if isinstance(of, bytes) else f"{classes}({folded})"
        self.add(depth, f"s = {index}")
        self.add(depth, f"steps.append({row}[s])")
        self.add(depth, f"if s >= {FIRST_CODES}:")
        self.add(depth + 1, f"first, width = {self.source.constant(place.spans)}[s]")
        if max(width for _, width in place.spans) > TOTAL:
            digits_of = self.source.constant(digits)
            self.add(depth + 1, f"steps += {digits_of}({folded} - first, width)")
        else:
            self.add(depth + 1, f"steps.append(({folded} - first, 1, width))")

    def start_by_hour(self, group: Group, part: StartPart, code: str, depth: int) -> None:
        self.add(depth, f"hours, rest = divmod({code}, {part.an_hour})")
        self.add(depth, f"day, at_hour = divmod(hours, {HOURS_IN_DAY})")
        self.alike(part.codes // (HOURS_IN_DAY * part.an_hour), "day", depth)
        self.place(group, place_of(part.hour), "at_hour", depth)
        self.alike(part.an_hour, "rest", depth)

    def pick(self, part: SpeciesPart, code: str, depth: int) -> None:
        if part.recent is not None:
            self.find(part.group, depth)
            k = self.k(part.group)
            self.place(part.group, place_of(part.recent), k, depth)
            self.add(depth, f"if {k} == {MOST_RECENT}:")
            depth += 1
        new = NewSpecies(part)
        self.add(depth, f"steps.append({self.source.constant(new.step)}({code}, hour))")
        if part.capacity > 1:
            self.add(depth, f"if {code} not in {self.source.constant(frozenset(part.known))}:")
            self.alike(part.capacity, code, depth + 1)

    def list(self, group: Group, at: int, part: ListPart, depth: int) -> None:
        field, rows = group.fields[at], self.said(group, at)
        assert isinstance(field, ListOf)
        element, width = part.element, width_of(field, self.source)
        place = Count(field, part.path, codes_of(field, self.source.schema), width)
        test, count, least = pack_place(place, self.source, depth, rows)
        self.refuse_unless(test, depth)
        more = width if field.optional else 0
        self.add(depth, f"bits += {fixed_bits(element, self.source)} * {count} + {more}")
        code = self.code(group, at)
        self.add(depth, f"{code} = {count} - {least}")
        values = [self.said(element, at) for at in range(len(element.fields))]
        each = f"{', '.join(values)},"
        if part.tail:
            self._tail(part, each, rows, count, depth)
        elif part.set is not None:
            self._set(group, part, each, rows, code, depth)
        else:
            self.place(group, place_of(part.count), code, depth)
            self.add(depth, f"for {each} in {rows}:")
            self.fields(element, depth + 1)
            self.note(element, depth + 1)

    def _tail(self, part: ListPart, each: str, rows: str, count: str, depth: int) -> None:
        number = self.source.variable(part.path, "n")
        if part.least:
            self.add(depth, f"{number} = 0")
        self.add(depth, f"for {each} in {rows}:")
        inner = depth + 1
        if part.least:
            self.add(inner, f"if {number} >= {part.least}:")
            inner += 1
        self.add(inner, "steps = []")
        self.add(inner, "runs.append(steps)")
        if part.least:
            self.add(depth + 1, f"{number} += 1")
        self.fields(part.element, depth + 1)
        self.note(part.element, depth + 1)
        self.add(depth, f"if {count} < {part.most}:")
        self.add(depth + 1, f"runs.append({self.source.constant(END)})")

    def _set(
        self, group: Group, part: ListPart, each: str, rows: str, code: str, depth: int
    ) -> None:
        assert part.set is not None
        element, there = part.element, There(part.set, self.held_answer)
        listed = self.source.variable(part.path, "y")
        in_set = self.source.variable(part.path, "z")
        seen, instances = self.named(element, "seen", "{}"), self.named(element, "instances", "0")
        codes, species = self.source.constant(Codes(self.source.schema)), self.species(element)
        said = self.said(element, element.species or 0)
        self.add(depth, f"{listed} = [{codes}[{said}] for {each} in {rows}]")
        self.add(depth, f"{in_set} = {self.source.constant(there.holds)}({listed})")
        self.add(depth, f"steps.append({self.source.constant(steps_of(part.set.flag))}[{in_set}])")
        self.add(depth, f"if {in_set}:")
        tables = f"{self.source.constant(there.tables)}({seen}, {instances}, hour)"
        known = self.source.constant(there.known)
        pairs = f"zip({known}, {tables})"
        self.add(depth + 1, f"steps += [answers[each in {listed}] for each, answers in {pairs}]")
        if part.least < part.most:
            self.add(depth, "else:")
            self.place(group, place_of(part.count), code, depth + 1)
        self.add(depth, f"for {species}, ({each}) in zip({listed}, {rows}):")
        self.fields(element, depth + 1, in_set)
        self.note(element, depth + 1)
        self.add(depth + 1, f"{seen}[{species}] = {instances}")
        self.add(depth, f"{instances} += 1")
