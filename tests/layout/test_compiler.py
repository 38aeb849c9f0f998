"""Widths, sizes and refusals of the layout compiler."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st
from plain_schema import message_of, schema_of
from strategies import schemas

from packcodec.errors import LayoutError
from packcodec.layout import CHECKS, LARGEST_FRAME_BYTES, compile_layout
from packcodec.layout.model import Group, Repeat, Run, When
from packcodec.layout.table import bit_table
from packcodec.radio import Serial, known_links
from packcodec.schema.model import Boolean, Integer, ListOf, Scaled, Schema, Time
from packcodec.schema.reader import CHECKS as NAMES_IN_SCHEMAS


@pytest.mark.parametrize(
    ("low", "high", "bits"),
    [
        (0, 0, 0),
        (7, 7, 0),
        (0, 1, 1),
        (0, 4, 3),
        (-2, 2, 3),
        (0, 255, 8),
        (0, 256, 9),
        (-10, 10, 5),
        (-40, 85, 7),
        (0, 2**64 - 1, 64),
    ],
)
def test_an_integer_takes_the_bits_its_range_needs(low: int, high: int, bits: int) -> None:
    body = message_of(Integer("n", low, high)).body
    assert (body.least_bits, body.most_bits) == (bits, bits)


def test_sizes_of_optional_fields_and_lists() -> None:
    """Presence 1, count 0..4 in 3, elements of 5 bits: by hand."""
    fields = (
        Boolean("dark", optional=True),
        ListOf("rows", (Integer("n", 0, 31),), 0, 4),
        Scaled("level", Fraction(0), Fraction("0.8"), Fraction("0.1")),
    )
    laid_out = message_of(*fields)
    assert (laid_out.body.least_bits, laid_out.body.most_bits) == (1 + 3 + 4, 1 + 1 + 3 + 20 + 4)
    # 24 bits of header, 3 bytes of check.
    assert laid_out.least_frame_bytes == (24 + 8) // 8 + 3
    assert laid_out.most_frame_bytes == -(-(24 + 29) // 8) + 3


@given(schemas(check="auto"))
def test_bit_tables_and_groups_say_the_same_sizes(schema: Schema) -> None:
    for message in compile_layout(schema).messages:
        assert (message.body.least_bits, message.body.most_bits) == extremes(message.body)
        rows = [row for row in bit_table(message.body) if row.first_bit is not None]
        at = 0
        for row in rows:
            assert row.first_bit == at
            at += row.width


def extremes(group: Group) -> tuple[int, int]:
    """Least and most bits, by walking down to single places."""
    least = most = 0
    for step in group.steps:
        match step:
            case Run():
                width = sum((place.codes - 1).bit_length() for place in step.places)
                least, most = least + width, most + width
            case When():
                inner = Group((), step.steps, 0, 0)
                most += extremes(inner)[1]
            case Repeat():
                low, high = extremes(step.element)
                least += step.field.least * low
                most += step.field.most * high
    return least, most


def test_a_frame_larger_than_any_link_is_refused() -> None:
    rows = ListOf("rows", (Integer("n", 0, 2**16 - 1),), 0, 255)
    with pytest.raises(LayoutError) as refused:
        message_of(rows, check="crc32")
    assert refused.value.place in ("message.report", "frame.check")
    assert "most" in str(refused.value) or "shorten" in str(refused.value)


def test_the_largest_frame_is_that_of_the_largest_radio_link() -> None:
    links = known_links().values()
    limits = [link.payload_most for link in links if not isinstance(link.modulation, Serial)]
    assert max(limits) == LARGEST_FRAME_BYTES


@pytest.mark.parametrize(
    ("check", "elements", "fits"),
    [
        # Header 24 bits, count, 8 bits an element, padded to a byte: against reaches of
        # 135, 241 and 2024 bits.
        ("crc16-short", 12, True),  # 128
        ("crc16-short", 13, False),  # 136
        ("crc16", 26, True),  # 240
        ("crc16", 27, False),  # 248
        ("crc24", 249, True),  # 2024
        ("crc24", 250, False),  # 2032
    ],
)
def test_a_check_is_refused_past_its_reach(check: str, elements: int, fits: bool) -> None:
    rows = ListOf("rows", (Integer("n", 0, 255),), 0, elements)
    if fits:
        assert message_of(rows, check=check).body.most_bits >= 8 * elements
        return
    with pytest.raises(LayoutError) as refused:
        message_of(rows, check=check)
    assert refused.value.place == "frame.check"
    assert check in str(refused.value)
    assert "use check = " in str(refused.value)


@given(st.integers(1, 255))
def test_left_to_itself_the_compiler_takes_a_check_that_reaches(elements: int) -> None:
    rows = ListOf("rows", (Integer("n", 0, 255),), 0, elements)
    layout = compile_layout(schema_of(rows, check="auto"))
    data_bits = 8 * (layout.messages[0].most_frame_bytes - layout.check.octets)
    assert data_bits <= layout.check.reach_bits
    assert layout.check.distance >= 6
    assert layout.check.name == ("crc24" if data_bits <= CHECKS["crc24"].reach_bits else "crc32")


def test_schemas_may_name_every_check_and_no_other() -> None:
    assert set(NAMES_IN_SCHEMAS) == {"auto", *CHECKS}


def test_time_takes_the_bits_of_its_span() -> None:
    assert message_of(Time("at", 60, 86400 * 2)).body.most_bits == 12
