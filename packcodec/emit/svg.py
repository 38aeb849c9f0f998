"""Layout → one SVG document: bit diagrams and a table of values, to hang beside the bench.

Sized in millimetres for a sheet 210 mm wide, as tall as it needs; black on white, with the kind of
a box told by its text, never by colour alone.
"""

from collections.abc import Iterator
from textwrap import wrap
from xml.sax.saxutils import escape

from packcodec.emit.diagram import (
    LINE_BITS,
    Part,
    Row,
    check_words,
    instant,
    lines,
    parts,
    sentence,
)
from packcodec.layout.model import Layout, MessageLayout

# Millimetres.
WIDTH, MARGIN = 210.0, 12.0
BIT = (WIDTH - 2 * MARGIN) / LINE_BITS
BOX, LEAD = 8.0, 4.4

# Columns of the table, from the left margin, and how many characters of 2.9 mm text fit in one.
MARK, BITS, NAME, READS, NOTE = 0.0, 12.0, 15.0, 52.0, 118.0
READS_ROOM, NOTE_ROOM, NAME_ROOM = 46, 48, 20

STYLE = """
text { font-family: sans-serif; font-size: 2.9px; fill: #000 }
.title { font-size: 6px; font-weight: bold }
.message { font-size: 4.6px; font-weight: bold }
.when { font-style: italic }
.bit { font-size: 1.9px; fill: #555; text-anchor: middle }
.mid { text-anchor: middle }
.end { text-anchor: end }
.code { font-family: monospace }
.head { font-weight: bold }
rect { fill: #fff; stroke: #000; stroke-width: 0.25 }
.header { fill: #eee }
line { stroke: #bbb; stroke-width: 0.15 }
"""


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.svg": the document}."""
    schema = layout.schema
    sheet = _Sheet()
    sheet.text(MARGIN, f"{schema.name}, version {schema.version}", "title")
    sheet.down(6)
    for line in (
        *wrap(schema.note, 110),
        f"Identity {layout.identity.hex()}",
        "Bits are sent from left to right, most significant first; a value is sent as its code c.",
        f"Times count from {instant(schema.epoch)}. {check_words(layout)}",
    ):
        sheet.text(MARGIN, line)
        sheet.down(LEAD)
    for each in layout.messages:
        _message(sheet, layout, each)
    _species(sheet, layout)
    return {f"{schema.name}.svg": sheet.document(f"Frames of {schema.name}")}


class _Sheet:
    """Elements from the top down; `y` is the baseline of the next line of text."""

    def __init__(self) -> None:
        self.y = MARGIN + 4
        self.elements: list[str] = []

    def down(self, by: float) -> None:
        self.y += by

    def text(self, x: float, words: str, kind: str = "") -> None:
        of = f' class="{kind}"' if kind else ""
        self.elements.append(f'<text x="{x:.2f}" y="{self.y:.2f}"{of}>{escape(words)}</text>')

    def box(self, x: float, width: float, words: str, kind: str) -> None:
        top = self.y - 4
        of = f' class="{kind}"' if kind else ""
        self.elements.append(
            f'<rect x="{x:.2f}" y="{top:.2f}" width="{width:.2f}" height="{BOX:.2f}"{of}/>'
        )
        if words:
            middle = x + width / 2
            self.elements.append(
                f'<text x="{middle:.2f}" y="{top + BOX / 2 + 1:.2f}" class="mid">'
                f"{escape(words)}</text>"
            )

    def rule(self) -> None:
        y = self.y - 3.3
        self.elements.append(
            f'<line x1="{MARGIN}" y1="{y:.2f}" x2="{WIDTH - MARGIN}" y2="{y:.2f}"/>'
        )

    def document(self, title: str) -> str:
        height = self.y + MARGIN
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}mm" height="{height:.1f}mm" '
            f'viewBox="0 0 {WIDTH} {height:.1f}" role="img">'
        )
        white = f'<rect width="{WIDTH}" height="{height:.1f}" stroke="none" style="stroke:none"/>'
        parts_ = [head, f"<title>{escape(title)}</title>", f"<style>{STYLE}</style>", white]
        return "\n".join([*parts_, *self.elements, "</svg>"]) + "\n"


def _message(sheet: _Sheet, layout: Layout, each: MessageLayout) -> None:
    least, most = each.least_frame_bytes, each.most_frame_bytes
    size = f"{least} bytes" if least == most else f"{least} to {most} bytes"
    sheet.down(6)
    sheet.text(MARGIN, f"{each.name}: message code {each.message.code}, {size}", "message")
    sheet.down(LEAD + 1)
    for line in wrap(sentence(each.message.note), 110):
        sheet.text(MARGIN, line)
        sheet.down(LEAD)
    drawn = parts(layout, each)
    for number, part in enumerate(drawn):
        _part(sheet, part, layout.header_bits if number == 0 else 0)
    sheet.down(LEAD)
    _table(sheet, [row for part in drawn for row in part.rows])


def _part(sheet: _Sheet, part: Part, header_bits: int) -> None:
    if part.title:
        sheet.down(1.5)
        sheet.text(MARGIN, part.title, "when")
        sheet.down(1)
    sheet.down(3)
    passed = 0
    for number, line in enumerate(lines(part)):
        if number == 0:
            for bit in range(LINE_BITS if part.title == "" else sum(box.bits for box in line)):
                sheet.text(MARGIN + (bit + 0.5) * BIT, str(bit), "bit")
            sheet.down(5)
        for box in line:
            kind = "header" if passed < header_bits else ""
            sheet.box(MARGIN + box.at * BIT, box.bits * BIT, box.text, kind)
            passed += box.bits
        sheet.down(BOX)
    sheet.down(-1)


def _table(sheet: _Sheet, rows: list[Row]) -> None:
    for x, words, kind in (
        (BITS, "bits", "head end"),
        (NAME, "value", "head"),
        (READS, "reads as", "head"),
    ):
        sheet.text(MARGIN + x, words, kind)
    sheet.down(LEAD)
    for row in rows:
        sheet.rule()
        sheet.text(MARGIN + MARK, row.mark)
        sheet.text(MARGIN + BITS, str(row.bits), "end")
        columns = (
            (NAME + 3 * row.depth, wrap(row.name, NAME_ROOM - 2 * row.depth), "code"),
            (READS, wrap(row.reads_as, READS_ROOM), ""),
            (NOTE, wrap(row.note, NOTE_ROOM), ""),
        )
        for line in range(max(len(cell) for _, cell, _ in columns)):
            for x, cell, kind in columns:
                if line < len(cell):
                    sheet.text(MARGIN + x, cell[line], kind)
            sheet.down(LEAD)


def _species(sheet: _Sheet, layout: Layout) -> None:
    rows = layout.schema.species.rows
    if not rows:
        return
    sheet.down(6)
    sheet.text(MARGIN, "Species codes", "message")
    sheet.down(LEAD + 2)
    for line in _columns([f"{row.code}  {row.label}" for row in rows]):
        for at, cell in enumerate(line):
            sheet.text(MARGIN + at * (WIDTH - 2 * MARGIN) / 4, cell)
        sheet.down(LEAD)


def _columns(cells: list[str]) -> Iterator[list[str]]:
    """Four columns, read downwards."""
    tall = -(-len(cells) // 4)
    for at in range(tall):
        yield cells[at::tall]
