"""The parts of a frame as boxes, and its values as rows: what both kinds of document show.

A message is cut where the place of a bit begins to depend on the values: after an optional field
and around a list. Each part counts its bits from 0 and is drawn 32 to a line, as the RFCs do.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import chain
from string import ascii_letters, digits

from packcodec.layout.compiler import PLAIN_BITS, codes_of
from packcodec.layout.model import (
    Count,
    Group,
    Layout,
    MessageLayout,
    Presence,
    RepairLayout,
    Repeat,
    Run,
    Step,
    When,
)
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Repair,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.remedy import decimal

LINE_BITS = 32
# One character each, for boxes too small for their name; the digit 0 and letter O are too alike.
MARKS = [mark for mark in digits[1:] + ascii_letters if mark not in "OlI"]


@dataclass(frozen=True, slots=True)
class Row:
    """One value, presence bit or count: its row in the table. `mark` is unique in its message."""

    mark: str
    name: str
    depth: int
    bits: int
    reads_as: str
    note: str


@dataclass(frozen=True, slots=True)
class Part:
    """Boxes side by side from bit 0 on; `title` says when they are sent, empty for the first."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Box:
    """What of a row falls in one line of 32 bits: its first bit there, and how many."""

    row: Row
    at: int
    bits: int
    text: str


def parts(layout: Layout, each: MessageLayout) -> tuple[Part, ...]:
    """The parts of a message's frames, in the order they are sent."""
    marks = chain(MARKS, map(str, range(100, 10_000)))
    header = tuple(
        Row(next(marks), name, 0, bits, meaning, "")
        for name, bits, meaning in _header(layout, each)
    )
    found, then = [Part("", header)] if header else [], ""
    repair = layout.repair
    if repair is not None and each.name in repair.repair.messages:
        title = _when(repair.repair)
        found.append(Part(title, tuple(_repair_field(repair, marks))))
        then = "then" if title else ""
    if layout.schema.coding == "modelled":
        six = Row(next(marks), "plain", 0, PLAIN_BITS, "six ones, as no other payload begins", "")
        found.append(Part("a payload by the tables or, if this is no longer, plain", (six,)))
    found += _group(each.body, layout.schema, marks, 0, then)
    check = layout.check
    meaning = "over the identity and all before it"
    meaning = f"of {check.name}" if check.sealed else f"{check.name}, {meaning}"
    name = "tag of seal" if check.sealed else "check"
    last = Row(next(marks), name, 0, check.bits, meaning, "")
    return (*_joined(found), Part("after zeros to the end of the byte", (last,)))


def check_words(layout: Layout) -> str:
    """One sentence on what ends a frame."""
    check = layout.check
    if not check.sealed:
        return f"The check is {check.name}, {check.octets} bytes."
    hides = "what stands behind the header is encrypted" if check.hides else "nothing is encrypted"
    return f"The seal is {check.name}: {hides}, and a tag of {check.octets} bytes stands last."


def _when(repair: Repair) -> str:
    """Which frames carry a repair field, as a title; empty where all do."""
    if repair.symbols == repair.every:
        return ""
    if repair.symbols == 1:
        return f"if the sequence is a multiple of {repair.every}"
    return f"if {repair.symbols} × sequence modulo {repair.every} is under {repair.symbols}"


def _repair_field(repair: RepairLayout, marks: Iterator[str]) -> Iterator[Row]:
    most = repair.repair.window
    yield Row(next(marks), "held", 0, repair.held_bits, f"frames in the symbol, at most {most}", "")
    yield Row(next(marks), "symbol", 0, 8 * repair.symbol_bytes, "the repair symbol", "")


def _joined(found: list[Part]) -> list[Part]:
    """Parts, each without a title joined to the one before it."""
    joined: list[Part] = []
    for part in found:
        if part.title == "" and joined:
            joined[-1] = Part(joined[-1].title, (*joined[-1].rows, *part.rows))
        else:
            joined.append(part)
    return joined


def lines(part: Part) -> Iterator[tuple[Box, ...]]:
    """The boxes of each line; a name stands in the widest of its boxes, or its mark does."""
    line: list[Box] = []
    at = 0
    for row in part.rows:
        left = row.bits
        shares: list[int] = []
        while left:
            share = min(left, LINE_BITS - (at + sum(shares)) % LINE_BITS)
            shares.append(share)
            left -= share
        widest = max(shares, default=0)
        room = 2 * widest - 1
        text = next((text for text in (row.name, row.mark) if len(text) <= room), "")
        for share in shares:
            shown = text if share == widest else ""
            text = "" if share == widest else text
            line.append(Box(row, at % LINE_BITS, share, shown))
            at += share
            if at % LINE_BITS == 0:
                yield tuple(line)
                line = []
    if line:
        yield tuple(line)


def _header(layout: Layout, each: MessageLayout) -> Iterator[tuple[str, int, str]]:
    frame = layout.schema.frame
    named = ", ".join(f"{number} {name}" for name, number in layout.schema.stations)
    for name, bits, meaning in (
        ("tag", frame.tag_bits, f"{layout.tag}: this schema"),
        ("message", frame.message_bits, f"{each.message.code}: {each.name}"),
        ("station", frame.station_bits, named),
        ("sequence", frame.sequence_bits, "the last bits of the station's frame counter"),
    ):
        if bits:
            yield name, bits, meaning


def _group(
    group: Group, schema: Schema, marks: Iterator[str], depth: int, title: str
) -> Iterator[Part]:
    for at, step in enumerate(group.steps):
        yield from _step(step, schema, marks, depth, title if at == 0 else "then")


def _step(
    step: Step, schema: Schema, marks: Iterator[str], depth: int, title: str
) -> Iterator[Part]:
    match step:
        case Run():
            yield Part(title, tuple(_rows(step, schema, marks, depth)))
        case When():
            given = f"if {step.field.name} is given"
            for at, inner in enumerate(step.steps):
                yield from _step(inner, schema, marks, depth, given if at == 0 else title)
        case Repeat():
            of_each = f"for each of {step.field.name}"
            yield from _group(step.element, schema, marks, depth + 1, of_each)


def _rows(run: Run, schema: Schema, marks: Iterator[str], depth: int) -> Iterator[Row]:
    for place in run.places:
        mark, name, note = next(marks), place.field.name, place.field.note
        if isinstance(place, Presence):
            yield Row(mark, f"{name}?", depth, 1, "1 if it is given", "")
        elif isinstance(place, Count):
            plus = f"{place.field.least} + " if place.field.least else ""
            meaning = f"{plus}c records, at most {place.field.most}"
            yield Row(mark, f"{name} ×", depth, place.width, meaning, note)
        else:
            yield Row(mark, name, depth, place.width, reads_as(place.field, schema), note)


def reads_as(field: Field, schema: Schema) -> str:
    """What a code c of `field` stands for."""
    last = codes_of(field, schema) - 1
    match field:
        case Integer(low=low, clamp_below=below, clamp_above=above):
            text = _line(str(low), "c", field.unit)
            return text + _ends(last, below, above)
        case Scaled(low=low, step=step, clamp_below=below, clamp_above=above):
            by = f"c × {decimal(step)}" if step != 1 else "c"
            return _line(decimal(low), by, field.unit) + _ends(last, below, above)
        case Duration(step_s=step_s, clamp_above=above):
            by = f"c × {decimal(step_s)}" if step_s != 1 else "c"
            return _line("0", by, "s") + _ends(last, False, above)
        case Boolean():
            return "0 false, 1 true"
        case Flags(flags=flags):
            return "bits, first to last: " + ", ".join(flags)
        case Enumeration(values=names):
            return ", ".join(f"{number} {name}" for number, name in enumerate(names))
        case SpeciesCode():
            return "a row of the species code table"
        case Time(step_s=step_s, span_s=span_s, beyond=beyond):
            modulo = f", modulo {span_s} s" if beyond == "wrap" else ""
            return f"{instant(schema.epoch)} + c × {step_s} s{modulo}{_ends(last, False, False)}"
        case ListOf():
            raise AssertionError("a list has no code of its own")


def instant(when: datetime) -> str:
    """A time as it stands in a document: 2027-04-01 06:30:00Z."""
    return when.strftime("%Y-%m-%d %H:%M:%SZ")


def _line(low: str, by: str, unit: str) -> str:
    start = "" if low == "0" else f"{low} + "
    return f"{start}{by}{f' {unit}' if unit not in ('', '1') else ''}"


def _ends(last: int, below: bool, above: bool) -> str:
    said = f"; c to {last}"
    if below:
        said += "; 0 means or less"
    if above and (last or not below):
        said += f"; {last} means or more"
    return said


def sentence(note: str) -> str:
    """A note with a capital and without its full stop."""
    return note[:1].upper() + note[1:].rstrip(".")
