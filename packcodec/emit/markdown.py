"""Layout → a Markdown document: bit diagrams in the manner of the RFCs, and a table of values."""

from collections.abc import Iterator

from packcodec.emit.diagram import Box, Part, Row, check_words, instant, lines, parts, sentence
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Schema


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.md": the document}."""
    schema = layout.schema
    text = [
        f"# {schema.name}, version {schema.version}",
        "",
        *([_inline(schema.note), ""] if schema.note else []),
        f"Identity `{layout.identity.hex()}`. Written from the schema: change that, not this.",
        "",
        f"Bits are numbered in the order they are sent, most significant first. A value is sent as "
        f"its code c. Times count from {instant(schema.epoch)}. {check_words(layout)}",
    ]
    for each in layout.messages:
        text += ["", *_message(layout, each)]
    if schema.species.rows:
        text += ["", *_species(schema)]
    return {f"{schema.name}.md": "\n".join(text) + "\n"}


def _message(layout: Layout, each: MessageLayout) -> Iterator[str]:
    least, most = each.least_frame_bytes, each.most_frame_bytes
    size = f"{least} bytes" if least == most else f"{least} to {most} bytes"
    note = f"{_inline(sentence(each.message.note))}. " if each.message.note else ""
    yield f"## {each.name}"
    yield ""
    yield f"{note}Code {each.message.code}; a frame has {size}."
    drawn = parts(layout, each)
    yield ""
    yield "```text"
    for number, part in enumerate(drawn):
        yield from _drawn(part, first=number == 0)
    yield "```"
    yield ""
    yield "| | bits | value | reads as | |"
    yield "|---|---:|---|---|---|"
    for part in drawn:
        for row in part.rows:
            yield _row(row)


def _drawn(part: Part, *, first: bool) -> Iterator[str]:
    if part.title:
        yield ""
        yield f"{part.title}:"
    drawn = list(lines(part))
    if not drawn:
        yield " (no bits)"
        return
    widths = [sum(box.bits for box in line) for line in drawn]
    if first or max(widths) > 8:
        tens = (str(bit // 10) if bit % 10 == 0 else " " for bit in range(max(widths)))
        yield f" {' '.join(tens)}".rstrip()
    yield " " + " ".join(str(bit % 10) for bit in range(max(widths)))
    above = 0
    for line, width in zip(drawn, widths, strict=True):
        yield "+" + "-+" * max(width, above)
        yield "|" + "".join(f"{_centred(box)}|" for box in line)
        above = width
    yield "+" + "-+" * above


def _centred(box: Box) -> str:
    return box.text.center(2 * box.bits - 1)


def _row(row: Row) -> str:
    name = "&nbsp;&nbsp;" * row.depth + f"`{row.name}`"
    return f"| {row.mark} | {row.bits} | {name} | {_inline(row.reads_as)} | {_inline(row.note)} |"


def _species(schema: Schema) -> Iterator[str]:
    yield "## Species codes"
    yield ""
    yield "| code | label | | kind |"
    yield "|---:|---|---|---|"
    for row in schema.species.rows:
        retired = ", retired" if row.retired else ""
        name = f"*{_inline(row.scientific_name)}*" if row.scientific_name else ""
        yield f"| {row.code} | {_inline(row.label)} | {name} | {row.kind}{retired} |"


def _inline(text: str) -> str:
    """`text` as it may stand in a cell, and mean nothing to Markdown."""
    return "".join(f"\\{letter}" if letter in "\\`*_{}[]<>#|" else letter for letter in text)
