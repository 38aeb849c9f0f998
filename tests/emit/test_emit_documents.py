"""The documents: every bit of a frame is drawn once, and every value is in the table."""

import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from every_kind import EVERY, plain, schema_of
from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import schemas

from packcodec.edge.files import load
from packcodec.emit import emit
from packcodec.emit.diagram import lines, parts
from packcodec.layout import compile_layout
from packcodec.layout.table import bit_table
from packcodec.schema import read_schema
from packcodec.schema.model import Boolean, Schema

DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data" / "schema.toml"
ANY = st.one_of(
    schemas(check="auto"),
    schemas(check="auto", repaired=True),
    schemas(check="auto", coding="modelled"),
)
SVG = "{http://www.w3.org/2000/svg}"


@settings(max_examples=50)
@given(schema=ANY)
def test_every_value_is_drawn_once_in_its_bits(schema: Schema) -> None:
    layout = compile_layout(schema)
    for each in layout.messages:
        drawn = parts(layout, each)
        rows = [row for part in drawn for row in part.rows]
        assert len({row.mark for row in rows}) == len(rows)
        frame = schema.frame
        header = [frame.tag_bits, frame.message_bits, frame.station_bits, frame.sequence_bits]
        if layout.repair is not None and each.name in layout.repair.repair.messages:
            header += [layout.repair.held_bits, 8 * layout.repair.symbol_bytes]
        header += [6] if schema.coding == "modelled" else []
        widths = [row.width for row in bit_table(each.body)]
        assert [row.bits for row in rows] == [*filter(None, header), *widths, layout.check.bits]
        for part in drawn:
            boxes = [box for line in lines(part) for box in line]
            assert sum(box.bits for box in boxes) == sum(row.bits for row in part.rows)
            for line in lines(part):
                assert [box.at for box in line] == [
                    sum(before.bits for before in line[:at]) for at in range(len(line))
                ]
                assert sum(box.bits for box in line) <= 32
            assert all(len(box.text) <= 2 * box.bits - 1 for box in boxes)


@settings(max_examples=30)
@given(schema=ANY)
def test_the_svg_is_well_formed_and_the_diagram_square(schema: Schema) -> None:
    layout = compile_layout(schema)
    ((_, svg),) = emit(layout, "svg").items()
    assert ElementTree.fromstring(svg).tag == f"{SVG}svg"
    ((_, text),) = emit(layout, "markdown").items()
    for block in re.findall(r"```text\n(.*?)```", text, re.DOTALL):
        for above, line in zip(block.split("\n"), block.split("\n")[1:], strict=False):
            if line.startswith("|"):
                assert above.startswith("+-")
                assert len(above) >= len(line)
                assert all(above[at] == "+" for at, mark in enumerate(line) if mark == "|")


def test_a_header_is_drawn_as_the_rfcs_do() -> None:
    text = emit(compile_layout(schema_of(Boolean("lid"))), "markdown")["every_kind.md"]
    assert (
        " 0                   1                   2\n"
        " 0 1 2 3 4 5 6 7 8 9 0 1 2 3 4 5 6 7 8 9 0 1 2 3\n"
        "+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+-+\n"
        "|      tag      |2|station|      sequence     |5|\n"
    ) in text


@pytest.mark.parametrize("target", ["markdown", "svg"])
def test_the_documents_name_every_field_and_species(target: str) -> None:
    layout = load(DEMO).layout
    ((_, text),) = emit(layout, target).items()
    plain_text = text.replace("\\", "")
    for message in layout.schema.messages:
        assert message.name in plain_text
        for field in message.fields:
            assert field.name in plain_text
    for row in layout.schema.species.rows:
        assert row.label in plain_text


def test_a_code_is_told_by_its_formula() -> None:
    text = emit(compile_layout(schema_of(*plain(False))), "markdown")["every_kind.md"]
    told = {}
    for line in text.splitlines():
        cells = line.split(" | ")
        if len(cells) == 5:
            told[cells[2].strip("`")] = cells[3]
    assert told["count_of"] == "-3 + c m; c to 43; 0 means or less; 43 means or more"
    assert told["level"] == "-2 + c × 0.05 V; c to 100; 0 means or less; 100 means or more"
    assert told["watched"] == "c × 2.5 s; c to 24; 24 means or more"
    assert told["power"] == "0 battery, 1 solar, 2 mains"
    assert told["at"] == "2027-04-01 00:00:00Z + c × 60 s, modulo 86400 s; c to 1439"


def test_a_note_means_nothing_to_markdown_or_xml() -> None:
    layout = compile_layout(schema_of(Boolean("lid", note="<b> | *x* & `y`")))
    ((_, text),) = emit(layout, "markdown").items()
    assert "\\<b\\> \\| \\*x\\* & \\`y\\`" in text
    ((_, svg),) = emit(layout, "svg").items()
    told = [element.text for element in ElementTree.fromstring(svg).iter(f"{SVG}text")]
    assert "<b> | *x* & `y`" in told


def test_every_kind_is_documented() -> None:
    for schema in EVERY:
        for target in ("markdown", "svg"):
            assert emit(compile_layout(schema), target)


def test_sealed_frames_say_what_is_hidden() -> None:
    page = (DEMO.parents[3] / "spec" / "seal.md").read_text(encoding="utf-8")
    toml = page.split("```toml\n")[1].split("```")[0]
    for seal, hides in (("ccm8", "is encrypted"), ("sign4", "nothing is encrypted")):
        layout = compile_layout(read_schema(toml.replace("ccm4", seal), ""))
        ((_, text),) = emit(layout, "markdown").items()
        assert f"The seal is {seal}: " in text
        assert hides in text
        assert f"| {layout.check.bits} | `tag of seal` |" in text
