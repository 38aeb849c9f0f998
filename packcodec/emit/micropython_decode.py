"""Frames to values: readers of groups in fixed coding and the decoder, in MicroPython."""

from collections.abc import Iterator

from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.micropython_counted import Counted
from packcodec.emit.micropython_encode import TAKEN
from packcodec.emit.micropython_modelled import Walks
from packcodec.emit.micropython_values import value_of
from packcodec.emit.names import Names
from packcodec.emit.text import broken
from packcodec.layout.compiler import LARGEST_FRAME_BYTES
from packcodec.layout.model import Count, Group, Layout, Place, Presence, Repeat, Run, Step, When
from packcodec.schema.model import ListOf


def reader(group: Group, name: str) -> Iterator[str]:
    """The function that reads a group to a list, after those of the lists in it."""
    variables = Names(TAKEN | {"bits"})
    held = {f.name: variables.give(f.name) for f in group.fields}
    lines = [INDENT + line for step in group.steps for line in _read_step(step, held, name)]
    for step in group.steps:
        for inner in step.steps if isinstance(step, When) else (step,):
            if isinstance(inner, Repeat):
                function = _row_reader(name, inner.field)
                yield from reader(inner.element, function)
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
    if isinstance(place, Presence):
        return code
    if isinstance(place, Count):
        return f"{code} + {place.field.least}" if place.field.least else code
    return value_of(place.field, code)


def decoder(layout: Layout, walks: Walks | None, counted: Counted) -> Iterator[str]:
    """The function that reads a frame of any message."""
    frame, octets = layout.schema.frame, layout.check.octets
    least = (layout.header_bits + 7) // 8 + octets
    said = [name for name, bits in (("message", frame.message_bits),) if not bits]
    said = said if len(layout.messages) > 1 else []
    said += ["station"] if not frame.station_bits else []
    said += ["sequence"] if counted.told and not frame.sequence_bits else []
    yield "# What the carrier says comes after the frame: the message as its code, the station."
    yield f"def decode({', '.join(['frame', *said, *counted.needed])}):"
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
    if not frame.sequence_bits and not counted.told:
        yield "    sequence = None"
    known = "0" if frame.message_bits else "message"
    who = "0" if frame.station_bits else "station"
    if counted.sealed:
        yield "    counter = expected.get(station, 0) if expected else 0"
        yield "    counter = _whole_counter(sequence, counter)"
        of = f"{known}, {who}, station, counter, ciphers"
        yield f"    bits.frame = _open(frame, n, {of})"
    else:
        yield f"    check = bytearray({octets})"
        yield f"    _check(frame, n, {known}, {who}, check, 0)"
        yield "    if check != bytearray(frame[n:]):"
        yield '        raise Refused(FAILED_CHECK, "check")'
    if counted.repair is not None:
        yield "    repair = None"
    for number, each in enumerate(layout.messages):
        yield f"    {'el' if number else ''}if message == {each.message.code}:"
        name = each.name
        rides = counted.rides(each.message)
        if rides is not None:
            depth = INDENT * (3 if rides else 2)
            yield from [f"{INDENT * 2}{rides}"] * bool(rides)
            yield f"{depth}repair = _take_symbol(bits)"
        if walks is None:
            yield f"        values = _read_{name}(bits)"
        else:
            of = f"_read_{name}, _plain_{name}, _walk_{name}, _NO_{name}, {walks.tail(name)}"
            yield from broken("        values = _values(bits, ", of.split(", "), ", ", ")")
    yield "    else:"
    yield '        raise Refused(UNKNOWN_MESSAGE, "message")'
    if walks is None:
        yield "    _finish(bits)"
    yield f"    return {', '.join(['message', 'station', 'sequence', 'values', *counted.told])}"
