"""Encoding in C: values to codes, codes side by side in words, words to octets.

While the place of a run is known, its words are stored octet by octet; after an optional field or
a list, `put` appends them.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field

from packcodec.emit.bits import Item, Word, words
from packcodec.emit.c_codes import bound, outside
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_types import KEYWORDS, CNames, CType, Struct, type_of
from packcodec.emit.names import Names
from packcodec.emit.text import broken, in_every_build
from packcodec.emit.whole import Whole, whole
from packcodec.layout.model import (
    Count,
    Group,
    MessageLayout,
    Place,
    Presence,
    Repeat,
    Run,
    Step,
    Value,
    When,
)
from packcodec.schema.model import Boolean, Time

WORD, OCTET = 32, 8


# Stands in a test for the variable that holds the code.
CODE = "@code@"


@dataclass
class Scope:
    """The lines of one function, and the names that its variables have taken."""

    names: CNames
    lines: list[str] = dataclass_field(default_factory=list)
    variables: Names = dataclass_field(default_factory=lambda: Names(KEYWORDS))
    tests: list[str] = dataclass_field(default_factory=list)
    lengths: list[str] = dataclass_field(default_factory=list)
    excess: list[str] = dataclass_field(default_factory=list)

    def add(self, depth: int, *lines: str) -> None:
        self.lines += [INDENT * depth + line if line else "" for line in lines]

    @property
    def out_of_range(self) -> str:
        return f"return {self.names.macro}_OUT_OF_RANGE;"


@dataclass(frozen=True, slots=True)
class Held:
    """Where the values of a group are: an expression that ends in -> or ., and its struct."""

    at: str
    struct: Struct


def encode(each: MessageLayout, names: CNames, head: str) -> Iterator[str]:
    """The function, of that head, that packs a payload in fixed coding."""
    scope = Scope(names)
    for taken in ("message", "payload", "bits", "word", "to"):
        scope.variables.give(taken)
    body = each.body
    rigid = body.rigid_bits
    held = Held("message->", names.structs[each.name])
    steps = list(body.steps)
    prefix = 0
    if steps and isinstance(steps[0], Run):
        first = steps.pop(0)
        assert isinstance(first, Run)
        store(_codes(first, held, scope, 1), "payload", scope, 1)
        prefix = first.width
    if rigid is None:
        scope.add(1, f"to.bits = {prefix}u;")
        for step in steps:
            _step(step, held, scope, 1)
        scope.add(1, "*bits = to.bits;")
    else:
        scope.add(1, f"*bits = {rigid}u;")
    scope.add(1, f"return {names.macro}_OK;")
    body_text = in_every_build(scope.lines)
    yield f"{head}("
    yield f"{INDENT}const struct {held.struct.tag} *message, uint8_t *payload, size_t *bits)"
    yield "{"
    if rigid is None:
        yield f"{INDENT}struct writer to = {{payload, 0u}};"
    if "word = " in body_text:
        yield f"{INDENT}uint32_t word;"
    if "message->" not in body_text:
        yield f"{INDENT}(void)message;"
    if rigid == 0:
        yield f"{INDENT}(void)payload;"
    yield ""
    yield from scope.lines
    yield "}"


def store(items: Iterable[Item], target: str, scope: Scope, depth: int) -> None:
    """Write the items from the first octet of `target` on."""
    at = 0
    for word in words(items, WORD):
        _refuse(scope, depth)
        scope.add(depth, *_word(word))
        for down in range(24, 24 - word.bits, -8):
            shifted = f"word >> {down}" if down else "word"
            scope.add(depth, f"{target}[{at}] = (uint8_t)({shifted});")
            at += 1
    _refuse(scope, depth)


def _word(word: Word) -> Iterator[str]:
    parts = []
    for part in word.parts:
        text = part.item.text
        if part.left < 0:
            text = f"{text} >> {-part.left}"
            text = f"(uint32_t)({text})" if part.item.wide else text
        else:
            text = f"(uint32_t){text}" if part.item.wide else text
            text = f"{text} << {part.left}" if part.left else text
        parts.append(text)
    yield from broken("word = ", parts, " | ", ";")


def _step(step: Step, held: Held, scope: Scope, depth: int) -> None:
    match step:
        case Run():
            for word in words(_codes(step, held, scope, depth), WORD):
                _refuse(scope, depth)
                scope.add(depth, *_word(word), f"put(&to, word, {word.bits}u);")
            _refuse(scope, depth)
        case When():
            presence = held.struct.presence[step.field.name]
            scope.add(depth, f"if ({held.at}{presence}) {{")
            for inner in step.steps:
                _step(inner, held, scope, depth + 1)
            scope.add(depth, "}")
        case Repeat():
            _repeat(step, held, scope, depth)


def _repeat(step: Repeat, held: Held, scope: Scope, depth: int) -> None:
    name = step.field.name
    element: Group = step.element
    index, row = scope.variables.give("i"), scope.variables.give("row")
    count, member = held.struct.counts[name], held.struct.members[name]
    inner = Held(f"{row}->", held.struct.elements[name])
    outer = scope.lines
    scope.lines = []
    for each in element.steps:
        _step(each, inner, scope, depth + 1)
    lines, scope.lines = scope.lines, outer
    if not lines:
        return
    scope.add(depth, f"for (size_t {index} = 0; {index} < {held.at}{count}; {index}++) {{")
    scope.add(
        depth + 1, f"const struct {inner.struct.tag} *{row} = &{held.at}{member}[{index}];", ""
    )
    if f"{row}->" not in in_every_build(lines):
        scope.add(depth + 1, f"(void){row};")
    scope.lines += lines
    scope.add(depth, "}")


def _codes(run: Run, held: Held, scope: Scope, depth: int) -> Iterator[Item]:
    """A variable for the code of every place, as it is asked for, and the tests it must pass.

    Values are loaded for one word at a time: a small core has few registers to keep them in.
    """
    for place in run.places:
        item, test = _code(place, held, scope, depth)
        if test and item and OCTET < item.width < WORD and place.codes == 1 << item.width:
            # Bits past the field's, in one test for all: a limit past 8 bits is no short operand.
            scope.excess.append(f"{item.text} >> {item.width}")
        elif test:
            (scope.lengths if isinstance(place, Count) else scope.tests).append(test)
        if item is not None:
            yield item


def _refuse(scope: Scope, depth: int) -> None:
    """The tests that have gathered; those of lengths, which guard memory, in every build."""
    if scope.lengths:
        _return_if(scope.lengths, scope, depth)
    if scope.excess:
        over = " | ".join(scope.excess)
        scope.tests.insert(0, f"({over}) != 0u" if len(scope.excess) > 1 else f"{over} != 0u")
        scope.excess.clear()
    if scope.tests:
        scope.lines.append(f"#ifndef {scope.names.macro}_TRUST_VALUES")
        _return_if(scope.tests, scope, depth)
        scope.lines.append("#endif")


def _return_if(tests: list[str], scope: Scope, depth: int) -> None:
    scope.add(depth, *broken("if (", tests, " || ", ") {"))
    scope.add(depth + 1, scope.out_of_range)
    scope.add(depth, "}")
    tests.clear()


def _code(place: Place, held: Held, scope: Scope, depth: int) -> tuple[Item | None, str]:
    """The item of a place that is sent in any bit, and the test that its value must pass."""
    struct, name = held.struct, place.field.name
    if isinstance(place, Presence):
        code, test, kind = f"{held.at}{struct.presence[name]} ? 1u : 0u", "", CType(WORD)
    elif isinstance(place, Count):
        count = f"{held.at}{struct.counts[name]}"
        least, most = place.field.least, place.field.most
        code, kind = f"{count} - {least}u" if least else count, CType(WORD)
        ends = [f"{count} < {least}u"] * (least > 0) + [f"{count} > {most}u"] * (most < 255)
        test = " || ".join(ends)
    else:
        value = f"{held.at}{struct.members[name]}"
        number = whole(place.field)
        if number is not None and not place.width:
            held_as = type_of(place.field, scope.names.schema, place.path)
            return None, outside(number, value, held_as)
        code, test, kind = _value(place, value, scope, depth)
    if not place.width:
        return None, test.replace(CODE, f"({code})")
    variable = scope.variables.give(name)
    scope.add(depth, f"const {kind.name} {variable} = {code};")
    return Item(variable, place.width, wide=kind.bits > WORD), test.replace(CODE, variable)


def _value(place: Value, value: str, scope: Scope, depth: int) -> tuple[str, str, CType]:
    """The code of a value, the test it must pass (of CODE), and the type to work it out in."""
    field = place.field
    working = CType(64 if place.width > WORD else WORD)
    if isinstance(field, Boolean):
        return f"{value} ? 1u : 0u", "", working
    held_as = type_of(field, scope.names.schema, place.path)
    number = whole(field)
    test = f"{CODE} > {literal(place.codes - 1)}"
    if isinstance(field, Time):
        working = CType(max(working.bits, held_as.bits))
        steps = f"{value} / {field.step_s}u" if field.step_s > 1 else value
        if held_as.high // field.step_s < place.codes:
            return steps, "", working
        if field.beyond == "reject":
            return steps, test, working
        return f"({steps}) % {literal(place.codes)}", "", working
    if number is None:
        # Flags, enumerations and species are held as their codes.
        return value, test if held_as.high >= place.codes else "", working
    if held_as.bits > WORD or number.spread >= 1 << WORD:
        working = CType(64)
    value, least, most = _clamped(field.name, value, number, held_as, scope, depth)
    plain = not held_as.signed and (held_as.bits == working.bits or working.bits == WORD)
    offset = value if plain else f"({working.name}){value}"
    if number.first:
        offset = f"{offset} {'-' if number.first > 0 else '+'} {literal(abs(number.first))}"
    code = offset if number.step == 1 else f"({offset}) / {literal(number.step)}"
    fits = number.first <= least and most <= number.first + number.spread
    return code, "" if fits else test, working


def _clamped(
    name: str, value: str, number: Whole, held_as: CType, scope: Scope, depth: int
) -> tuple[str, int, int]:
    """The value brought to the ends that clamp, and the least and most that it can now be."""
    least, most, ends = held_as.low, held_as.high, ""
    if number.clamp_below and least < number.low:
        least = number.low
        ends += f"{value} < {bound(least, held_as)} ? {bound(least, held_as)} : "
    if number.clamp_above and most > number.high:
        most = number.high
        ends += f"{value} > {bound(most, held_as)} ? {bound(most, held_as)} : "
    if not ends:
        return value, least, most
    clamped = scope.variables.give(f"{name}_clamped")
    kind = CType(max(WORD, held_as.bits), held_as.signed)
    scope.add(depth, f"const {kind.name} {clamped} = {ends}{value};")
    return clamped, least, most
