"""The source of the function that turns a string of bits into a record, as a decoder does.

It notes the steps of an encoder that says what was read, and where the encoder's interval stood
before each run of them, as far as that is the same in a frame without end
(`packcodec.codec.modelled.ending.Course`).
"""

from collections.abc import Sequence

from packcodec.codec.modelled.coder import (
    END,
    FIRST_RANGE,
    LEAST_RANGE,
    SURE_BITS,
    TOTAL,
    TOTAL_BITS,
    room_row,
    spent_bits,
    uniform_parts,
)
from packcodec.codec.modelled.contexts import place_of
from packcodec.codec.modelled.history import HOURS_IN_DAY, MOST_RECENT
from packcodec.codec.modelled.place import TablePlace
from packcodec.codec.modelled.rows import NewSpecies, There, to_answer, to_read
from packcodec.codec.modelled.script import Script, fixed_bits, width_of
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import FIRST_CODES, MOST_ALONE
from packcodec.codec.modelled.walk import Group, ListPart, StartPart, Walk
from packcodec.codec.places import Source, value_expression

NO, YES = "steps.append(no)", "steps.append(yes)"
# So many bits before the end of the room a decoder begins to note where it stands.
NEAR_BITS = 64


def read_source(walk: Walk, source: Source) -> None:
    """Add `def read(data, room)`: values, runs, states, the last one, and bits of fixed coding.

    `data` is the string of `room` bits, filled with zeros to a byte.
    """
    script = _Reading(walk, source)
    group = walk.group
    script.begin("def read(data, room):")
    source.add(1, f"bits = {fixed_bits(group, source)}")
    source.add(1, "steps = []")
    source.add(1, "runs = [steps]")
    source.add(1, "feed = data + bytes(4)")
    source.add(1, "value = from_bytes(feed[:4])")
    source.add(1, "feed = feed[4:]")
    source.add(1, f"range_, shifts = {FIRST_RANGE}, 0")
    source.add(1, "states = {0: (value, range_, shifts)}")
    source.add(1, "try:")
    script.fields(group, 2)
    source.add(1, "except IndexError:")
    source.add(2, "raise cut_short() from None")
    source.add(1, "end = value, range_, shifts")
    if not walk.has_tail:
        source.add(1, "states[1] = end")
    source.add(1, f"return {script.tuple(group)}, runs, states, end, bits")


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
        row = self.row(group, place)
        self.add(depth, f"bounds, parts = {row}")
        self.add(depth, f"r = range_ >> {TOTAL_BITS}")
        if likely := _begins_likely(place):
            # No division is needed to find the first symbol.
            self.add(depth, "split = r * bounds[0]")
            self.add(depth, "if value < split:")
            self.add(depth + 1, "s, range_ = 0, split")
            self.add(depth + 1, "steps.append(parts[0])")
            self.add(depth, "else:")
        self._cut(depth + 1 if likely else depth)
        self.shift(depth)
        if place.codes > MOST_ALONE:
            self.add(depth, f"if s >= {FIRST_CODES}:")
            self.add(depth + 1, f"first, width = {self.source.constant(place.spans)}[s]")
            most = max(width for _, width in place.spans)
            (self.number if most > TOTAL else self.digit)("width", "s", depth + 1)
            self.add(depth + 1, "s += first")
        self.add(depth, f"{code} = {self.folded(group, place, 's')}")

    def symbol(self, depth: int) -> None:
        """The symbol `s` of a table, by `bounds` and `parts`."""
        self.add(depth, f"r = range_ >> {TOTAL_BITS}")
        self._cut(depth)
        self.shift(depth)

    def _cut(self, depth: int) -> None:
        self.add(depth, "s = bisect(bounds, value // r)")
        self.add(depth, "step = parts[s]")
        self.add(depth, "steps.append(step)")
        self.add(depth, "start, width, _ = step")
        self.add(depth, "value -= r * start")
        self.add(depth, "range_ = r * width if width else range_ - r * start")

    def answer(self, no: Sequence[str], yes: Sequence[str], depth: int) -> None:
        """No or yes, which begins at `split` of a table, and what follows from each."""
        self.add(depth, f"split *= range_ >> {TOTAL_BITS}")
        self.add(depth, "if value < split:")
        self.add(depth + 1, "range_ = split")
        self.shift(depth + 1)
        for line in no:
            self.add(depth + 1, line)
        self.add(depth, "else:")
        self.add(depth + 1, "value -= split")
        self.add(depth + 1, "range_ -= split")
        self.shift(depth + 1)
        for line in yes:
            self.add(depth + 1, line)

    # ---- Parts

    def start_by_hour(self, group: Group, part: StartPart, code: str, depth: int) -> None:
        self.alike(part.codes // (HOURS_IN_DAY * part.an_hour), "day", depth)
        self.place(group, place_of(part.hour), "at_hour", depth)
        self.alike(part.an_hour, "rest", depth)
        self.add(depth, f"{code} = (day * {HOURS_IN_DAY} + at_hour) * {part.an_hour} + rest")

    def pick(self, part: SpeciesPart, code: str, depth: int) -> None:
        group, recent = part.group, ""
        if part.recent is not None:
            recent, k = self.recent(group), self.k(group)
            self.place(group, place_of(part.recent), k, depth)
            self.add(depth, f"if {k} < len({recent}):")
            self.add(depth + 1, f"{code} = {recent}[{k}]")
            self.add(depth, "else:")
            depth += 1
            self.add(depth, f"if {k} < {MOST_RECENT}:")
            self.add(depth + 1, "raise meaningless()")
        if part.known:
            new = NewSpecies(part)
            self.add(depth, f"bounds, parts = {self.source.constant(new.read)}[hour]")
            self.symbol(depth)
            self.add(depth, f"if s < {len(part.known)}:")
            self.add(depth + 1, f"{code} = {self.source.constant(part.known)}[s]")
            self.add(depth, "else:")
            self.alike(part.capacity, code, depth + 1)
            self.add(depth + 1, f"if {code} in {self.source.constant(frozenset(part.known))}:")
            self.add(depth + 2, "raise meaningless()")
        else:
            self.alike(part.capacity, code, depth)
        if recent:
            self.add(depth, f"if {code} in {recent}:")
            self.add(depth + 1, "raise meaningless()")

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
        self.note(element, depth)
        self.add(depth, f"{rows}.append({self.tuple(element)})")

    def _tail(self, part: ListPart, rows: str, depth: int) -> None:
        """Where there is surely one more, an encoder stands as in a frame without end."""
        splits = tuple(table[1] for table in part.more)
        near, number = self.source.variable(part.path, "m"), self.source.variable(part.path, "n")
        self.add(depth, f"{near} = (room - {NEAR_BITS}) // 8")
        self.add(depth, f"{rows} = []")
        self.add(depth, f"for {number} in range({part.most}):")
        self.add(depth + 1, f"if {number} >= {part.least}:")
        inner = depth + 2
        self.add(inner, "steps = []")
        self.add(inner, f"if shifts >= {near}:")
        self.add(inner + 1, f"left = room - {self.source.constant(spent_bits)}(range_, shifts)")
        self.add(inner + 1, f"if left >= {SURE_BITS}:")
        self.add(inner + 2, "states[len(runs)] = value, range_, shifts")
        self.add(inner + 1, "else:")
        row = f"{self.source.constant(room_row)}(left)"
        self.add(inner + 2, f"split = {self.source.constant(splits)}[{row}]")
        ended = f"runs.append({self.source.constant(END)})"
        self.answer((ended, "break"), (), inner + 2)
        self.add(inner, "runs.append(steps)")
        self._element(part, rows, depth + 1)

    def _set(self, group: Group, part: ListPart, rows: str, code: str, depth: int) -> None:
        assert part.set is not None
        element, there = part.element, There(part.set, self.held_answer)
        listed = self.source.variable(part.path, "y")
        in_set = self.source.variable(part.path, "z")
        seen, instances = self.named(element, "seen", "{}"), self.named(element, "instances", "0")
        known, species = self.source.constant(there.known), self.species(element)
        flag = self.source.constant(to_answer(part.set.flag))
        self.add(depth, f"split, no, yes = {flag}")
        self.answer((NO, f"{in_set} = False"), (YES, f"{in_set} = True"), depth)
        self.add(depth, f"if {in_set}:")
        self.add(depth + 1, f"{listed} = []")
        tables = f"{self.source.constant(there.tables)}({seen}, {instances}, hour)"
        self.add(depth + 1, f"for known, (split, no, yes) in zip({known}, {tables}):")
        self.answer((NO,), (YES, f"{listed}.append(known)"), depth + 2)
        self.add(depth + 1, f"if not {part.least} <= len({listed}) <= {part.most}:")
        self.add(depth + 2, "raise meaningless()")
        self.add(depth + 1, f"{code} = len({listed}) - {part.least}")
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


def _begins_likely(place: TablePlace) -> bool:
    """Whether the rows give their first symbol a third or more, on average."""
    return 3 * sum(row[1] for row in place.rows) >= TOTAL * len(place.rows)
