"""spec/wire-format.md tells the truth: its example, its tables of checks and of errors."""

import json
import re
from datetime import datetime

import pytest
from every_kind import schema_of
from tool_loader import ROOT

from packcodec.errors import Reason
from packcodec.frame import Codec, reference
from packcodec.frame.crc import crc_function
from packcodec.layout import CHECKS, LARGEST_FRAME_BYTES, canonical_form, compile_layout
from packcodec.schema import read_schema
from packcodec.schema.model import Integer, ListOf

PAGE = (ROOT / "spec" / "wire-format.md").read_text(encoding="utf-8")
EXAMPLE = PAGE[PAGE.index("## A worked frame") : PAGE.index("## Test vectors")]
LAYOUT = compile_layout(
    read_schema(
        *(re.search(f"```{kind}\n(.*?)```", EXAMPLE, re.DOTALL)[1] for kind in ("toml", "csv"))
    )
)


def block(kind: str) -> str:
    (text,) = re.findall(f"```{kind}\n(.*?)```", EXAMPLE, re.DOTALL)
    return text


def rows(heading: str) -> list[list[str]]:
    """The cells of the table rows in a section that begin with a number or a code."""
    section = PAGE[PAGE.index(f"\n## {heading}\n") :]
    section = section[: section.index("\n## ", 5)]
    lines = [line for line in section.splitlines() if re.match(r"\| (`crc|\d|`[01]+` )", line)]
    return [[cell.strip().strip("`") for cell in line.strip("|").split("|")] for line in lines]


def frame() -> bytes:
    return bytes.fromhex(block("frame"))


def test_the_canonical_form_and_the_identity() -> None:
    assert canonical_form(LAYOUT.schema) == block("canonical").replace("\n", "")
    assert LAYOUT.identity.hex() == block("identity").strip()


def test_the_parts_of_the_frame_are_its_bits() -> None:
    bits = "".join(row[0] for row in rows("A worked frame"))
    assert bits == "".join(format(byte, "08b") for byte in frame())


def test_the_frame_is_made_of_the_record_and_read_as_the_record() -> None:
    codec = Codec(LAYOUT)
    assert codec.encode(json.loads(block("said"))) == frame()
    (received,) = re.findall(r"Received at (\S+) it reads as", EXAMPLE)
    record = codec.decode(frame(), received=datetime.fromisoformat(received))
    assert record.to_json() == json.loads(block("read"))
    assert reference.decode(LAYOUT, frame()) == codec.decode(frame())


def test_the_data_under_the_check() -> None:
    data = bytes.fromhex(block("data"))
    octets = LAYOUT.check.octets
    assert data.endswith(frame()[:-octets])
    assert crc_function(LAYOUT.check)(data) == int.from_bytes(frame()[-octets:], "big")
    assert f"over these {len(data)} bytes" in EXAMPLE


def test_the_table_of_checks() -> None:
    told = [
        (name, int(bits), int(poly, 16), int(value, 16), int(errors.split()[0]), int(reach))
        for name, bits, poly, value, errors, reach in rows("The check")[: len(CHECKS)]
    ]
    assert told == [
        (
            *(check.name, check.bits, check.polynomial, crc_function(check)(b"123456789")),
            *(check.distance, check.reach_bits),
        )
        for check in CHECKS.values()
    ]


@pytest.mark.parametrize(
    ("elements", "data_bits", "name"), [(249, 2024, "crc24"), (250, 2032, "crc32")]
)
def test_auto_is_what_the_page_says(elements: int, data_bits: int, name: str) -> None:
    """23 bits of header and 8 of length before the elements, in whole bytes."""
    rows = ListOf("rows", (Integer("n", 0, 255),), 0, elements)
    layout = compile_layout(schema_of(rows, check="auto"))
    assert layout.check.name == name
    assert 8 * (layout.messages[0].most_frame_bytes - layout.check.octets) == data_bits
    assert "`crc24` if the longest frame of any message has at most 2024 bits" in PAGE


def test_the_table_of_errors() -> None:
    told = {int(number): name for number, name, _ in rows("Errors")}
    assert told == {int(reason): reason.name for reason in Reason}


def test_the_longest_frame() -> None:
    assert f"A frame has at most {LARGEST_FRAME_BYTES} bytes." in PAGE
    assert reference.LONGEST_BYTES == LARGEST_FRAME_BYTES


def test_links_within_the_page_lead_somewhere() -> None:
    headings = re.findall(r"^## (.+)$", PAGE, re.MULTILINE)
    anchors = {heading.lower().replace(" ", "-") for heading in headings}
    assert set(re.findall(r"\]\(#([a-z-]+)\)", PAGE)) <= anchors
