"""Decoding in C: `take` reads codes from a payload wherever it begins.

A run is read only when all its bits are there, so that `take` itself never runs past the end.
"""

from collections.abc import Iterator

from packcodec.emit.c_encode import WORD, Held, Scope
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_types import CNames, CType, type_of
from packcodec.emit.whole import whole
from packcodec.layout.model import (
    Count,
    Layout,
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


def read(each: MessageLayout, names: CNames) -> Iterator[str]:
    """The function that reads a payload in fixed coding, wherever it begins."""
    scope = Scope(names)
    for taken in ("message", "from"):
        scope.variables.give(taken)
    struct = names.structs[each.name]
    for step in each.body.steps:
        _step(step, Held("message->", struct), scope, 1)
    yield f"static enum {names.prefix}_result read_{each.name}("
    yield f"{INDENT}struct reader *from, struct {struct.tag} *message)"
    yield "{"
    yield f"{INDENT}memset(message, 0, sizeof *message);"
    yield from scope.lines
    yield f"{INDENT}return finish(from);"
    yield "}"


def decode(layout: Layout, each: MessageLayout, names: CNames) -> Iterator[str]:
    """The functions that decode a payload, and a payload in its frame."""
    call, name = names.prefix, each.name
    modelled = layout.schema.coding == "modelled"
    tag = names.structs[name].tag
    yield f"enum {call}_result {call}_decode_{name}("
    yield f"{INDENT}const uint8_t *payload, size_t length, struct {tag} *message)"
    yield "{"
    yield from _source("payload", "length", "0u", name, modelled)
    yield "}"
    yield ""
    header = f" const struct {call}_header *header," if layout.repair else ""
    yield f"enum {call}_result {call}_unframe_{name}("
    yield f"{INDENT}const uint8_t *frame, size_t length,{header} struct {tag} *message)"
    yield "{"
    yield f"{INDENT}if (length < LEAST_BYTES || length > {names.macro}_LARGEST_FRAME_BYTES) {{"
    yield f"{INDENT * 2}return {names.macro}_WRONG_LENGTH;"
    yield f"{INDENT}}}"
    at = "HEADER_BITS"
    if layout.repair and name in layout.repair.repair.messages:
        yield from _past_symbol(names)
        at = "front"
    elif layout.repair:
        yield f"{INDENT}(void)header;"
    yield from _source("frame", "(length - CHECK_BYTES)", at, name, modelled)
    yield "}"


def _past_symbol(names: CNames) -> Iterator[str]:
    """Past the repair field, where the frame carries one."""
    lines = [
        "const size_t front = HEADER_BITS + (RIDES(header->sequence) ? FIELD_BITS : 0u);",
        "struct reader field = {frame, HEADER_BITS, 0u};",
        "",
        "if (8u * (length - CHECK_BYTES) < front) {",
        f"    return {names.macro}_WRONG_LENGTH;",
        "}",
        "if (front > HEADER_BITS && take(&field, HELD_BITS) > WINDOW) {",
        f"    return {names.macro}_OUT_OF_RANGE;",
        "}",
    ]
    yield from (INDENT + line if line else "" for line in lines)


def _source(octets: str, length: str, at: str, name: str, modelled: bool) -> Iterator[str]:
    """Read a payload from that bit on."""
    if modelled:
        yield f"{INDENT}return unpack_{name}({octets}, {length.strip('()')}, {at}, message);"
        return
    left = f"8u * {length}" + (f" - {at}" if at != "0u" else "")
    yield f"{INDENT}struct reader from = {{{octets}, {at}, {left}}};"
    yield ""
    yield f"{INDENT}return read_{name}(&from, message);"


def _step(step: Step, held: Held, scope: Scope, depth: int) -> None:
    match step:
        case Run():
            _need(f"{step.width}u", scope, depth)
            _run(step, held, scope, depth)
        case When():
            scope.add(depth, f"if ({held.at}{held.struct.presence[step.field.name]}) {{")
            for inner in step.steps:
                _step(inner, held, scope, depth + 1)
            scope.add(depth, "}")
        case Repeat():
            _repeat(step, held, scope, depth)


def _need(bits: str, scope: Scope, depth: int) -> None:
    if bits == "0u":
        return
    scope.add(depth, f"if (!enough(from, {bits})) {{")
    scope.add(depth + 1, f"return {scope.names.macro}_WRONG_LENGTH;")
    scope.add(depth, "}")


def _repeat(step: Repeat, held: Held, scope: Scope, depth: int) -> None:
    name, element = step.field.name, step.element
    index, row = scope.variables.give("i"), scope.variables.give("row")
    count = f"{held.at}{held.struct.counts[name]}"
    inner = Held(f"{row}->", held.struct.elements[name])
    rigid = element.rigid_bits
    if rigid:
        _need(f"{rigid}u * (size_t){count}", scope, depth)
    outer, scope.lines = scope.lines, []
    for each in element.steps:
        if rigid is not None and isinstance(each, Run):
            _run(each, inner, scope, depth + 1)
        else:
            _step(each, inner, scope, depth + 1)
    lines, scope.lines = scope.lines, outer
    if not lines:
        return
    member = held.struct.members[name]
    scope.add(depth, f"for (size_t {index} = 0; {index} < {count}; {index}++) {{")
    scope.add(depth + 1, f"struct {inner.struct.tag} *{row} = &{held.at}{member}[{index}];", "")
    scope.lines += lines
    scope.add(depth, "}")


def _run(run: Run, held: Held, scope: Scope, depth: int) -> None:
    for place in run.places:
        _place(place, held, scope, depth)


def _place(place: Place, held: Held, scope: Scope, depth: int) -> None:
    struct, name = held.struct, place.field.name
    if isinstance(place, Presence):
        scope.add(depth, f"{held.at}{struct.presence[name]} = take(from, 1u) != 0u;")
        return
    code, kind = _code(place, scope, depth)
    if isinstance(place, Count):
        count = f"{code} + {place.field.least}u" if place.field.least else code
        cast = f"({count})" if place.field.least else count
        scope.add(depth, f"{held.at}{struct.counts[name]} = (uint8_t){cast};")
        return
    target = f"{held.at}{struct.members[name]}"
    scope.add(depth, f"{target} = {value_of(place, code, kind, scope.names)};")


def _code(place: Value | Count, scope: Scope, depth: int) -> tuple[str, CType]:
    """The code, read and tested, and its type."""
    kind = CType(64 if place.width > WORD else WORD)
    if not place.width:
        return "0u", kind
    read = f"take{'_wide' if place.width > WORD else ''}(from, {place.width}u)"
    if place.codes == 1 << place.width:
        return read, kind
    variable = scope.variables.give(place.field.name)
    scope.add(depth, f"const {kind.name} {variable} = {read};")
    scope.add(depth, f"if ({variable} > {literal(place.codes - 1)}) {{")
    scope.add(depth + 1, scope.out_of_range)
    scope.add(depth, "}")
    return variable, kind


def value_of(place: Value, code: str, kind: CType, names: CNames) -> str:
    """The value that a code of that type stands for, as the type of its member."""
    field = place.field
    if isinstance(field, Boolean):
        return f"{code} != 0u"
    held_as = type_of(field, names.schema, place.path)
    number = whole(field)
    by = field.step_s if isinstance(field, Time) else number.step if number else 1
    plus = number.low if number else 0
    if held_as.bits > kind.bits:
        code, kind = f"({CType(64).name}){code}", CType(64)
    if place.codes == 1:
        code, by = "", 1
    terms = f"{code} * {literal(by)}" if by != 1 else code
    if plus or not terms:
        # Added modulo the word, and read as signed only then.
        low = literal(plus % (1 << kind.bits))
        terms = f"{terms} + {low}" if terms else low
    if terms != code:
        terms = f"({terms})"
    if held_as.signed:
        terms = f"({CType(kind.bits, signed=True).name}){terms}"
    if held_as in (kind, CType(kind.bits, signed=True)):
        return terms
    return f"({held_as.name}){terms}"
