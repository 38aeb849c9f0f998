"""Values to codes and codes to words, as lines of a MicroPython function."""

import keyword
from collections.abc import Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field

from packcodec.emit.bits import Item, Word, words
from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.names import Names
from packcodec.emit.text import broken
from packcodec.emit.whole import whole
from packcodec.layout.model import Count, Place, Presence, Repeat, Run, Step, Value, When
from packcodec.schema.model import Boolean, Time

WORD = 30
TAKEN = frozenset(keyword.kwlist) | {"out", "values", "n", "len", "range", "print", "match", "case"}


@dataclass
class Function:
    """The lines of one function and the names its variables have taken."""

    variables: Names
    lines: list[str] = dataclass_field(default_factory=list)

    def add(self, depth: int, *lines: str) -> None:
        """Append lines, indented by `depth`."""
        self.lines += [INDENT * depth + line for line in lines]


def parts(word: Word, size: int, keep: int) -> Iterator[str]:
    """The parts of a word, each cut to the word before it is shifted up.

    The first bit lands at bit keep - 1 of the result: keep = size aligns left, word.bits right.
    """
    down = size - keep
    for part in word.parts:
        item, left = part.item, part.left - down
        above = item.width + part.left - size
        text = f"{item.text} >> {-left}" if left < 0 else item.text
        if above > 0 or item.wide:
            room = min(size - max(part.left, 0), item.width + min(part.left, 0))
            mask = (1 << room) - 1
            text = f"({text}) & {mask}" if left < 0 else f"{text} & {mask}"
            text = f"({text})"
        elif left < 0:
            text = f"({text})"
        yield f"{text} << {left}" if left > 0 else text


def add_step(step: Step, held: dict[str, str], function: Function, depth: int) -> None:
    """Append what `step` sends to `out` at bit n; `held` are the variables of the fields."""
    match step:
        case Run():
            items = list(items_of(step, held, function, depth))
            for word in words(items, WORD):
                pieces = list(parts(word, WORD, word.bits))
                function.add(depth, *broken("n = _put(out, n, ", pieces, " | ", f", {word.bits})"))
        case When():
            function.add(depth, f"if {held[step.field.name]} is not None:")
            before = len(function.lines)
            for inner in step.steps:
                add_step(inner, held, function, depth + 1)
            if len(function.lines) == before:
                function.add(depth + 1, "pass")
        case Repeat():
            fields = step.element.fields
            inner_held = {f.name: function.variables.give(f.name) for f in fields}
            names = [f"{name}," for name in inner_held.values()]
            function.add(depth, *broken("for (", names, " ", f") in {held[step.field.name]}:"))
            before = len(function.lines)
            for each in step.element.steps:
                add_step(each, inner_held, function, depth + 1)
            if len(function.lines) == before:
                function.add(depth + 1, "pass")


def items_of(run: Run, held: dict[str, str], function: Function, depth: int) -> Iterator[Item]:
    """The places' codes, tested, as items; variables that hold values come to hold codes."""
    for place in run.places:
        variable = held[place.field.name]
        if isinstance(place, Presence):
            yield Item(f"({variable} is not None)", 1)
            continue
        if isinstance(place, Count):
            least, most = place.field.least, place.field.most
            _must(f"{least} <= len({variable}) <= {most}", place, function, depth)
            code = f"(len({variable}) - {least})" if least else f"len({variable})"
        else:
            code = _code(place, variable, function, depth)
        if place.width:
            yield Item(code, place.width)


def _must(test: str, place: Place, function: Function, depth: int) -> None:
    function.add(depth, f"if not {test}:")
    function.add(depth + 1, f'raise Refused(OUT_OF_RANGE, "{place.field.name}")')


def _code(place: Value, variable: str, function: Function, depth: int) -> str:
    field = place.field
    if isinstance(field, Boolean):
        return f"(1 if {variable} else 0)"
    number = whole(field)
    if isinstance(field, Time):
        if field.step_s > 1:
            function.add(depth, f"{variable} //= {field.step_s}")
        if field.beyond == "wrap":
            function.add(depth, f"{variable} %= {place.codes}")
            return variable
    if number is None:
        _must(f"0 <= {variable} < {place.codes}", place, function, depth)
        return variable
    for side, sign, end in (("below", "<", number.low), ("above", ">", number.high)):
        if number.clamp_below if side == "below" else number.clamp_above:
            function.add(depth, f"if {variable} {sign} {end}:")
            function.add(depth + 1, f"{variable} = {end}")
    last = number.first + number.spread
    _must(f"{number.first} <= {variable} <= {last}", place, function, depth)
    if number.first:
        sign = "-" if number.first > 0 else "+"
        function.add(depth, f"{variable} {sign}= {abs(number.first)}")
    if number.step > 1:
        function.add(depth, f"{variable} //= {number.step}")
    return variable
