"""Readers of groups in fixed coding, as MicroPython functions."""

from collections.abc import Iterator

from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.micropython_encode import TAKEN
from packcodec.emit.micropython_values import value_of
from packcodec.emit.names import Names
from packcodec.emit.text import broken
from packcodec.layout.model import Count, Group, Place, Presence, Repeat, Run, Step, When
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
