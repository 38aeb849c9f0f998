"""Layout → one MicroPython file, which CPython 3.8 and later take as well.

Values are the whole numbers of `whole`, as in C. Framing takes no heap: codes are put together in
words under 2^30, so that small ports need no big integer, and stored in the caller's bytearray.
Comments stand for docstrings, which small ports would have to hold while they compile.
"""

import keyword
import re
from collections.abc import Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field

from packcodec.emit.bits import Item, Word, words
from packcodec.emit.carry import crc_of_identity, must_be_plain
from packcodec.emit.names import Names
from packcodec.emit.templates import template
from packcodec.emit.text import broken
from packcodec.emit.whole import unit_of, whole
from packcodec.layout.compiler import LARGEST_FRAME_BYTES
from packcodec.layout.model import (
    Count,
    Group,
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
from packcodec.schema.model import (
    Boolean,
    Enumeration,
    Field,
    Flags,
    ListOf,
    Message,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.words import range_of

INDENT = "    "
WORD = 30
TAKEN = frozenset(keyword.kwlist) | {"out", "values", "n", "len", "range", "print", "match", "case"}

_BLOCK = re.compile(r"^#@ (?P<key>.*)\n(?P<text>(?:(?!#@).*\n?)*)", re.MULTILINE)


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>_micro.py": …}. Raises LayoutError for a layout whose coding it cannot carry."""
    must_be_plain(layout, "MicroPython")
    return {f"{layout.schema.name}_micro.py": "\n".join(_file(layout)) + "\n"}


@dataclass
class _Function:
    """The lines of one function and the names its variables have taken."""

    schema: Schema
    variables: Names
    lines: list[str] = dataclass_field(default_factory=list)

    def add(self, depth: int, *lines: str) -> None:
        self.lines += [INDENT * depth + line for line in lines]


def _file(layout: Layout) -> Iterator[str]:
    schema = layout.schema
    blocks = {
        found["key"]: found["text"].rstrip("\n")
        for found in _BLOCK.finditer(template("micropython.py.txt"))
    }
    epoch = schema.epoch.strftime("%Y-%m-%dT%H:%M:%SZ")
    encoders = [line for each in layout.messages for line in ("", "", *_frame(layout, each))]
    yield f"# Schema {schema.name}, version {schema.version}: records to frames and back."
    yield f"# Identity {layout.identity.hex()}"
    yield "# Written from the schema: change that, not this."
    yield "#"
    yield "# frame_…(out, station, sequence, values) writes a frame into a bytearray and gives its"
    yield "# length; decode(frame) gives (message code, station, sequence, values). Values stand in"
    yield "# field order, None for what is absent; quantities are whole numbers in the unit that"
    yield f"# their comment names, times seconds since {epoch}."
    yield from _species(schema)
    yield ""
    yield blocks["head"]
    if any("_put(" in line for line in encoders):
        yield from ("", "", blocks["put"])
    yield from ("", "", _check(layout, blocks))
    yield from encoders
    yield from ("", "", blocks["reader"])
    for each in layout.messages:
        yield from _reader(each.body, f"_read_{each.name}")
    yield from ("", "", *_decode(layout))


def _species(schema: Schema) -> Iterator[str]:
    rows = [f"{row.code} {row.label}" for row in schema.species.rows]
    if rows:
        yield "#"
        yield from (f"# {line.lstrip()}" for line in broken("species: ", rows, ", ", ""))


def _check(layout: Layout, blocks: dict[str, str]) -> str:
    """The function of the check, with its figures in place."""
    check, start = layout.check, crc_of_identity(layout)
    figures = {
        "start": start,
        "octets": check.octets,
        "octet_shift": check.bits - 8,
        "last_octet": check.octets - 1,
        "top": 1 << check.bits,
        "polynomial": 1 << check.bits | check.polynomial,
        "ones": (1 << check.bits) - 1,
        "start_high": start >> 16,
        "start_low": start & 0xFFFF,
        "polynomial_high": check.polynomial >> 16,
        "polynomial_low": check.polynomial & 0xFFFF,
    }
    text = blocks["check in halves" if check.bits == 32 else "check"]
    for name, figure in figures.items():
        text = text.replace(f"@{name}@", str(figure) if figure < 256 else f"0x{figure:X}")
    return text


# ---- Encoding


def _frame(layout: Layout, each: MessageLayout) -> Iterator[str]:
    """The function that writes the frame of one message."""
    frame, message = layout.schema.frame, each.message
    function = _Function(layout.schema, Names(TAKEN | {"station", "sequence"}))
    held = {f.name: function.variables.give(f.name) for f in message.fields}
    steps = list(each.body.steps)
    function.add(1, f"if len(out) < {each.most_frame_bytes}:")
    function.add(2, 'raise Refused(NO_ROOM, "out")')
    if frame.station_bits % 32:
        function.add(1, f"if not 0 <= station < {1 << frame.station_bits}:")
        function.add(2, 'raise Refused(OUT_OF_RANGE, "station")')
    function.add(1, *broken("(", [f"{name}," for name in held.values()], " ", ") = values"))
    items = [*_header(layout, message)]
    if steps and isinstance(steps[0], Run):
        first = steps.pop(0)
        assert isinstance(first, Run)
        items += _items(first, held, function, 1)
    if steps:
        function.add(1, f"for n in range({each.most_frame_bytes}):", f"{INDENT}out[n] = 0")
    bits = sum(item.width for item in items)
    for at, word in enumerate(words(items, 8)):
        function.add(1, *broken(f"out[{at}] = (", _parts(word, 8, 8), " | ", ")"))
    octets = str((bits + 7) // 8)
    if steps:
        function.add(1, f"n = {bits}")
        for step in steps:
            _step(step, held, function, 1)
        function.add(1, "n = (n + 7) >> 3")
        octets = "n"
    said = "0" if frame.message_bits else str(message.code)
    who = "0" if frame.station_bits else "station"
    function.add(1, f"_check(out, {octets}, {said}, {who}, out, {octets})")
    total = f"n + {layout.check.octets}" if steps else (bits + 7) // 8 + layout.check.octets
    function.add(1, f"return {total}")
    yield from _meaning(message.fields, held, 0)
    yield f"def frame_{message.name}(out, station, sequence, values):"
    yield from function.lines


def _header(layout: Layout, message: Message) -> Iterator[Item]:
    """The header's items; the tag in halves, for it may have 32 bits."""
    frame, tag = layout.schema.frame, layout.tag
    low = frame.tag_bits // 2
    for part, width in ((tag >> low, frame.tag_bits - low), (tag & ((1 << low) - 1), low)):
        if width:
            yield Item(str(part), width)
    for text, width in (
        (str(message.code), frame.message_bits),
        ("station", frame.station_bits),
        ("sequence", frame.sequence_bits),
    ):
        if width:
            # The sequence has bits above those that are sent.
            yield Item(text, width, wide=text == "sequence")


def _parts(word: Word, size: int, keep: int) -> Iterator[str]:
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


def _step(step: Step, held: dict[str, str], function: _Function, depth: int) -> None:
    match step:
        case Run():
            items = list(_items(step, held, function, depth))
            for word in words(items, WORD):
                parts = list(_parts(word, WORD, word.bits))
                function.add(depth, *broken("n = _put(out, n, ", parts, " | ", f", {word.bits})"))
        case When():
            function.add(depth, f"if {held[step.field.name]} is not None:")
            before = len(function.lines)
            for inner in step.steps:
                _step(inner, held, function, depth + 1)
            if len(function.lines) == before:
                function.add(depth + 1, "pass")
        case Repeat():
            fields = step.element.fields
            inner_held = {f.name: function.variables.give(f.name) for f in fields}
            names = [f"{name}," for name in inner_held.values()]
            function.add(depth, *broken("for (", names, " ", f") in {held[step.field.name]}:"))
            before = len(function.lines)
            for each in step.element.steps:
                _step(each, inner_held, function, depth + 1)
            if len(function.lines) == before:
                function.add(depth + 1, "pass")


def _items(run: Run, held: dict[str, str], function: _Function, depth: int) -> Iterator[Item]:
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


def _must(test: str, place: Place, function: _Function, depth: int) -> None:
    function.add(depth, f"if not {test}:")
    function.add(depth + 1, f'raise Refused(OUT_OF_RANGE, "{place.field.name}")')


def _code(place: Value, variable: str, function: _Function, depth: int) -> str:
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


# ---- Decoding


def _reader(group: Group, name: str) -> Iterator[str]:
    """The function that reads a group to a list, after those of the lists in it."""
    variables = Names(TAKEN | {"bits"})
    held = {f.name: variables.give(f.name) for f in group.fields}
    lines = [INDENT + line for step in group.steps for line in _read_step(step, held, name)]
    for step in group.steps:
        for inner in step.steps if isinstance(step, When) else (step,):
            if isinstance(inner, Repeat):
                function = _row_reader(name, inner.field)
                yield from _reader(inner.element, function)
    yield from ("", "", f"def {name}(bits):", *lines)
    yield from broken(f"{INDENT}return [", list(held.values()), ", ", "]")


def _row_reader(name: str, field: ListOf) -> str:
    # Two underscores, which no name of a schema has side by side.
    return f"{name}__{field.name}"


def _read_step(step: Step, held: dict[str, str], name: str) -> Iterator[str]:
    match step:
        case Run():
            for place in step.places:
                variable = held[place.field.name]
                code = f"bits.take({place.width}, {place.codes})"
                yield f"{variable} = {_read(place, code)}"
        case When():
            variable = held[step.field.name]
            yield f"if {variable}:"
            for inner in step.steps:
                for line in _read_step(inner, held, name):
                    yield INDENT + line
            yield "else:"
            yield f"{INDENT}{variable} = None"
        case Repeat():
            variable = held[step.field.name]
            yield f"{variable} = [{_row_reader(name, step.field)}(bits) for _ in range({variable})]"


def _read(place: Place, code: str) -> str:
    """The value of a code; for a presence bit or a list's count, that."""
    field = place.field
    if isinstance(place, Presence):
        return code
    if isinstance(place, Count):
        return f"{code} + {place.field.least}" if place.field.least else code
    number = whole(field)
    if isinstance(field, Boolean):
        return f"{code} == 1"
    by = field.step_s if isinstance(field, Time) else number.step if number else 1
    plus = number.low if number else 0
    scaled = f"{code} * {by}" if by != 1 else code
    return f"{scaled} {'+' if plus > 0 else '-'} {abs(plus)}" if plus else scaled


def _decode(layout: Layout) -> Iterator[str]:
    frame, octets = layout.schema.frame, layout.check.octets
    least = (layout.header_bits + 7) // 8 + octets
    said = [name for name, bits in (("message", frame.message_bits),) if not bits]
    said = said if len(layout.messages) > 1 else []
    said += ["station"] if not frame.station_bits else []
    yield "# What the carrier says comes after the frame: the message as its code, the station."
    yield f"def decode({', '.join(['frame', *said])}):"
    yield f"    if not {least} <= len(frame) <= {LARGEST_FRAME_BYTES}:"
    yield '        raise Refused(WRONG_LENGTH, "frame")'
    yield f"    n = len(frame) - {octets}"
    yield "    bits = _Bits(frame, 8 * n)"
    if frame.tag_bits:
        yield f"    if bits.take({frame.tag_bits}, {1 << frame.tag_bits}) != {layout.tag}:"
        yield '        raise Refused(UNKNOWN_TAG, "tag")'
    for name, width in (
        ("message", frame.message_bits),
        ("station", frame.station_bits),
        ("sequence", frame.sequence_bits),
    ):
        if width:
            yield f"    {name} = bits.take({width}, {1 << width})"
    if not frame.message_bits and len(layout.messages) == 1:
        yield f"    message = {layout.messages[0].message.code}"
    if not frame.sequence_bits:
        yield "    sequence = None"
    yield f"    check = bytearray({octets})"
    known = "0" if frame.message_bits else "message"
    who = "0" if frame.station_bits else "station"
    yield f"    _check(frame, n, {known}, {who}, check, 0)"
    yield "    if check != bytearray(frame[n:]):"
    yield '        raise Refused(FAILED_CHECK, "check")'
    for number, each in enumerate(layout.messages):
        yield f"    {'el' if number else ''}if message == {each.message.code}:"
        yield f"        values = _read_{each.name}(bits)"
    yield "    else:"
    yield '        raise Refused(UNKNOWN_MESSAGE, "message")'
    yield "    left = bits.end - bits.at"
    yield "    if left > 7:"
    yield '        raise Refused(WRONG_LENGTH, "frame")'
    yield "    if bits.take(left, 128):"
    yield '        raise Refused(NONZERO_PAD, "padding")'
    yield "    return message, station, sequence, values"


# ---- Comments


def _meaning(fields: tuple[Field, ...], held: dict[str, str], depth: int) -> Iterator[str]:
    for field in fields:
        meaning = _meaning_of(field)
        note = f"; {field.note}" if field.note else ""
        optional = "None or " if field.optional else ""
        name = held.get(field.name, field.name)
        start = f"{INDENT * depth}{name}: "
        for line in broken(start, f"{optional}{meaning}{note}".split(" "), " ", ""):
            yield f"# {line}"
        if isinstance(field, ListOf):
            yield from _meaning(field.fields, {}, depth + 1)


def _meaning_of(field: Field) -> str:
    match field:
        case Flags(flags=flags):
            last = len(flags) - 1
            return "sum of " + ", ".join(
                f"{1 << (last - at)} {flag}" for at, flag in enumerate(flags)
            )
        case Enumeration(values=names):
            return ", ".join(f"{number} {name}" for number, name in enumerate(names))
        case SpeciesCode():
            return "species code"
        case Time():
            return f"seconds since the epoch, {range_of(field)}"
    number = whole(field)
    if number is None or number.decimals == 0:
        return range_of(field)
    return f"in units of {unit_of(field)}, {number.low} to {number.high}; {range_of(field)}"
