"""What the fields of a message mean, as comments of emitted MicroPython."""

from collections.abc import Iterator

from packcodec.emit.text import broken
from packcodec.emit.whole import unit_of, whole
from packcodec.schema.model import Enumeration, Field, Flags, ListOf, SpeciesCode, Time
from packcodec.schema.words import range_of

INDENT = "    "


def meaning(fields: tuple[Field, ...], held: dict[str, str], depth: int) -> Iterator[str]:
    """A line or more a field, each behind a mark of comment; `held` are their variables."""
    for field in fields:
        says = _meaning_of(field)
        note = f"; {field.note}" if field.note else ""
        optional = "None or " if field.optional else ""
        name = held.get(field.name, field.name)
        start = f"{INDENT * depth}{name}: "
        for line in broken(start, f"{optional}{says}{note}".split(" "), " ", ""):
            yield f"# {line}"
        if isinstance(field, ListOf):
            yield from meaning(field.fields, {}, depth + 1)


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
