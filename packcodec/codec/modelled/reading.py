"""The source of the function that turns a string of bits into a record, as a decoder does.

It notes the steps of an encoder that says what was read, and where the encoder's interval stood
before each run of them, as far as that is the same in a frame without end
(`packcodec.codec.modelled.ending.Course`).
"""

from packcodec.codec.modelled.coder import (
    FIRST_RANGE,
    LEAST_RANGE,
    TOTAL,
    TOTAL_BITS,
    room_row,
    spent_bits,
    uniform_parts,
)
from packcodec.codec.modelled.ending import ample_shifts
from packcodec.codec.modelled.history import HOURS_IN_DAY
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import NewSpecies, There, to_answer, to_read
from packcodec.codec.modelled.script import Script, fixed_bits, place_of, width_of
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import FIRST_CODES, MOST_ALONE
from packcodec.codec.modelled.walk import Group, ListPart, StartPart, Walk
from packcodec.codec.places import Source, value_expression


def read_source(walk: Walk, source: Source) -> None:
    """Add `def read(data, room)`: values, runs, states and bits of fixed coding.

    `data` is the string of `room` bits, filled with zeros to a byte.
    """
    script = _Reading(walk, source)
    group = walk.group
    script.begin(["def read(data, room):"])
    source.add(1, f"bits = {fixed_bits(group, source)}")
    source.add(1, "steps = []")
    source.add(1, "runs = [steps]")
    source.add(1, "feed = data + bytes(4)")
    source.add(1, "value = from_bytes(feed[:4])")
    source.add(1, "feed = feed[4:]")
    source.add(1, f"range_, shifts = {FIRST_RANGE}, 0")
    source.add(1, "states = [(-value, range_, shifts)]")
    source.add(1, "try:")
    script.fields(group, 2)
    source.add(1, "except IndexError:")
    source.add(2, "raise cut_short() from None")
    if not walk.has_tail:
        source.add(1, "states.append((-value, range_, shifts))")
    source.add(1, f"return {script.tuple(group)}, runs, states, bits")


class _Reading(Script):
    held = staticmethod(to_read)
    held_answer = staticmethod(to_answer)
    unfolds = True

    def __init__(self, walk: Walk, source: Source) -> None:
        super().__init__(walk, source)
        self.values: dict[str, str] = {}

    def tuple(self, group: Group) -> str:
        """A group's values."""
        values = (self.values[f"{group.path}.{field.name}"] for field in group.fields)
        return f"({''.join(f'{value}, ' for value in values)})"

    def to_value(self, group: Group, at: int, depth: int) -> None:
        field = group.fields[at]
        path = f"{group.path}.{field.name}"
        code = self.code(group, at)
        self.values[path] = value_expression(self.value(group, at), self.source, depth, code)
        if field.optional:
            self.add(depth, f"bits += {width_of(field, self.source)}")
            self._optional_value(path, self.values[path], depth)

    def leave_out(self, group: Group, at: int, depth: int) -> None:
        self._optional_value(f"{group.path}.{group.fields[at].name}", "None", depth)

    def _optional_value(self, path: str, value: str, depth: int) -> None:
        variable = self.source.variable(path, "o")
        self.add(depth, f"{variable} = {value}")
        self.values[path] = variable

    # ---- Steps

    def shift(self, depth: int) -> None:
        self.add(depth, f"while range_ < {LEAST_RANGE}:")
        self.add(depth + 1, "value = value << 8 | feed[shifts]")
        self.add(depth + 1, "range_ <<= 8")
        self.add(depth + 1, "shifts += 1")

    def digit(self, n: str, digit: str, depth: int) -> None:
        """A number 0..n-1, n at most 2**16."""
        self.add(depth, f"r = range_ // {n}")
        self.add(depth, f"{digit} = value // r")
        self.add(depth, f"if {digit} >= {n}:")
        self.add(depth + 1, "raise meaningless()")
        self.add(depth, f"value -= r * {digit}")
        self.add(depth, "range_ = r")
        self.add(depth, f"steps.append(({digit}, 1, {n}))")
        self.shift(depth)

    def number(self, n: str, number: str, depth: int) -> None:
        """A number 0..n-1, n as large as may be."""
        self.add(depth, f"{number} = 0")
        parts = self.source.constant(uniform_parts)
        self.add(depth, f"for part, left in {parts}({n}):")
        self.digit("part", "digit", depth + 1)
        self.add(depth + 1, f"{number} |= digit << left")
        self.add(depth, f"if {number} >= {n}:")
        self.add(depth + 1, "raise meaningless()")

    def alike(self, n: int, code: str, depth: int) -> None:
        if n > TOTAL:
            self.number(str(n), code, depth)
        elif n > 1:
            self.digit(str(n), code, depth)
        else:
            self.add(depth, f"{code} = 0")

    def table(self, group: Group, place: TablePlace, code: str, depth: int) -> None:
        row = self.row(group, place, self.held, depth)
        self.add(depth, f"bounds, parts = {row}")
        self.add(depth, f"r = range_ >> {TOTAL_BITS}")
        self.add(depth, "s = bisect(bounds, value // r)")
        self.add(depth, "step = parts[s]")
        self.add(depth, "steps.append(step)")
        self.add(depth, "start, width, _ = step")
        self.add(depth, "value -= r * start")
        self.add(depth, "range_ = r * width if width else range_ - r * start")
        self.shift(depth)
        symbol = "s"
        if place.codes > MOST_ALONE:
            symbol = "f"
            self.add(depth, f"f, width = {self.source.constant(place.spans)}[s]")
            self.add(depth, f"if s >= {FIRST_CODES}:")
            most = max(width for _, width in place.spans)
            (self.number if most > TOTAL else self.digit)("width", "digit_", depth + 1)
            self.add(depth + 1, "f += digit_")
        self.add(depth, f"{code} = {self.folded(group, place, symbol)}")

    def answer(self, table: str, answer: str, depth: int, *, noted: bool = True) -> None:
        """Whether the answer is yes by a table of no and yes."""
        self.add(depth, f"split, no, yes = {table}")
        self.add(depth, f"split *= range_ >> {TOTAL_BITS}")
        self.add(depth, f"{answer} = value >= split")
        self.add(depth, f"if {answer}:")
        self.add(depth + 1, "value -= split")
        self.add(depth + 1, "range_ -= split")
        self.add(depth, "else:")
        self.add(depth + 1, "range_ = split")
        if noted:
            self.add(depth, f"steps.append(yes if {answer} else no)")
        self.shift(depth)

    # ---- Parts

    def start_by_hour(self, group: Group, part: StartPart, code: str, depth: int) -> None:
        self.alike(part.codes // (HOURS_IN_DAY * part.an_hour), "day", depth)
        self.place(group, place_of(part.hour), "at_hour", depth)
        self.alike(part.an_hour, "rest", depth)
        self.add(depth, f"{code} = (day * {HOURS_IN_DAY} + at_hour) * {part.an_hour} + rest")

    def pick(self, part: SpeciesPart, code: str, k: str, depth: int) -> None:
        group, recent = part.group, "()"
        if group.species is not None:
            recent = self.recent(group)
            self.add(depth, f"{k} = 0")
            self.add(depth, f"for {code} in {recent}:")
            self.answer(f"{self.hits(part)}[{self.age(group, k)}]", "hit", depth + 1)
            self.add(depth + 1, "if hit:")
            self.add(depth + 2, "break")
            self.add(depth + 1, f"{k} += 1")
            self.add(depth, "else:")
            depth += 1
            self.add(depth, f"{k} = -1")
        new = NewSpecies(part)
        find = self.source.constant(new.find)
        self.add(depth, f"{code}, step = {find}(value, range_, {recent}, hour)")
        self.add(depth, "steps.append(step)")
        self.add(depth, "start, width, total = step")
        self.add(depth, "r = range_ // total")
        self.add(depth, "value -= r * start")
        self.add(depth, "range_ = r * width")
        self.shift(depth)
        self.add(depth, f"if {code} is None:")
        self.alike(part.capacity, code, depth + 1)
        known = self.source.constant(new.position)
        self.add(depth + 1, f"if {code} in {known} or {code} in {recent}:")
        self.add(depth + 2, "raise meaningless()")

    def list(self, group: Group, at: int, part: ListPart, depth: int) -> None:
        field, element = group.fields[at], part.element
        code, rows = self.code(group, at), self.source.variable(part.path, "v")
        if part.tail:
            self._tail(part, rows, depth)
        elif part.set is not None:
            self._set(group, part, rows, code, depth)
        else:
            self.place(group, place_of(part.count), code, depth)
            self.add(depth, f"{rows} = []")
            self.add(depth, f"for _ in range({code} + {part.least}):")
            self._element(part, rows, depth + 1)
        more = width_of(field, self.source) if field.optional else 0
        self.add(depth, f"bits += {fixed_bits(element, self.source)} * len({rows}) + {more}")
        self.values[f"{group.path}.{field.name}"] = rows
        if field.optional:
            self._optional_value(f"{group.path}.{field.name}", rows, depth)

    def _element(self, part: ListPart, rows: str, depth: int, in_set: str = "") -> None:
        element = part.element
        self.fields(element, depth, in_set)
        self.note_element(element, depth)
        self.add(depth, f"{rows}.append({self.tuple(element)})")

    def _tail(self, part: ListPart, rows: str, depth: int) -> None:
        """Where the room is ample, the flag is as in a frame without end."""
        more = self.source.constant(tuple(to_answer(table) for table in part.more))
        ample, number = self.source.variable(part.path, "m"), self.source.variable(part.path, "n")
        self.add(depth, f"{ample} = {self.source.constant(ample_shifts)}(room)")
        self.add(depth, f"{rows} = []")
        self.add(depth, f"for {number} in range({part.most}):")
        inner = depth + 1
        if part.least:
            self.add(inner, f"if {number} >= {part.least}:")
            inner += 1
        row, spent = self.source.constant(room_row), self.source.constant(spent_bits)
        self.add(inner, f"row = {len(part.more) - 1}")
        self.add(inner, f"if shifts >= {ample}:")
        self.add(inner + 1, f"row = {row}(room - {spent}(range_, shifts))")
        self.add(inner, f"if row == {len(part.more) - 1}:")
        self.add(inner + 1, "states.append((-value, range_, shifts))")
        self.answer(f"{more}[row]", "go_on", inner, noted=False)
        _, no, yes = to_answer(part.more[-1])
        self.add(inner, "if not go_on:")
        self.add(inner + 1, f"runs.append([{self.source.constant(no)}])")
        self.add(inner + 1, "break")
        self.add(inner, f"steps = [{self.source.constant(yes)}]")
        self.add(inner, "runs.append(steps)")
        self._element(part, rows, depth + 1)

    def _set(self, group: Group, part: ListPart, rows: str, code: str, depth: int) -> None:
        assert part.set is not None
        element, there = part.element, There(part.set, self.held_answer)
        listed = self.source.variable(part.path, "y")
        in_set = self.source.variable(part.path, "z")
        seen, instances = self.named(element, "seen", "{}"), self.named(element, "instances", "0")
        known, species = self.source.constant(there.known), self.species(element)
        self.answer(self.source.constant(to_answer(part.set.flag)), in_set, depth)
        self.add(depth, f"if {in_set}:")
        self.add(depth + 1, f"{listed} = []")
        tables = f"{self.source.constant(there.tables)}({seen}, {instances}, hour)"
        self.add(depth + 1, f"for known, answers in zip({known}, {tables}):")
        self.answer("answers", "is_there", depth + 2)
        self.add(depth + 2, "if is_there:")
        self.add(depth + 3, f"{listed}.append(known)")
        self.add(depth + 1, f"if not {part.least} <= len({listed}) <= {part.most}:")
        self.add(depth + 2, "raise meaningless()")
        self.add(depth + 1, f"{code} = len({listed}) - {part.least}")
        self.note(group, place_of(part.count), code, depth + 1)
        self.add(depth, "else:")
        self.place(group, place_of(part.count), code, depth + 1)
        self.add(depth + 1, f"{listed} = [-1] * ({code} + {part.least})")
        self.add(depth, f"{rows} = []")
        number = self.source.variable(part.path, "n")
        self.add(depth, f"for {number}, {species} in enumerate({listed}):")
        self._element(part, rows, depth + 1, in_set)
        self.add(depth + 1, f"{listed}[{number}] = {species}")
        self.add(depth + 1, f"{seen}[{species}] = {instances}")
        self.add(depth, f"if not {in_set} and {self.source.constant(there.holds)}({listed}):")
        self.add(depth + 1, "raise meaningless()")
        self.add(depth, f"{instances} += 1")
