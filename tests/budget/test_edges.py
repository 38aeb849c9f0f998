"""Block edges, field costs and trims: each against the same change made to the schema itself."""

from dataclasses import replace
from pathlib import Path

import pytest

import packcodec.edge
from packcodec.budget.edges import Edges, block_edges
from packcodec.edge.files import load
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import Layout
from packcodec.radio.links import find_link
from packcodec.schema.model import Field, FrameWidths, Integer, Message, Repair

DEMO = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"
SCHEMA = load(DEMO).layout.schema
LINKS = ("lora-eu-868.1", "lora-eu-868.1:sf=12", "lora-eu-868.1:sf=7", "lorawan-eu868-dr3")


def numbers(*widths: int) -> tuple[Field, ...]:
    return tuple(Integer(f"f{n}", 0, 2**width - 1) for n, width in enumerate(widths))


def layout_of(fields: tuple[Field, ...], frame: FrameWidths = SCHEMA.frame) -> Layout:
    return compile_layout(replace(SCHEMA, frame=frame, messages=(Message("m", 0, fields),)))


def edges_of(layout: Layout, link: str) -> Edges:
    found = block_edges(layout, layout.messages[0], find_link(link))
    assert found is not None
    return found


def airtime_us(layout: Layout, link: str) -> int:
    return find_link(link).airtime(layout.messages[0].most_frame_bytes).airtime_us


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("bits", range(30, 80, 3))
def test_free_bits_cost_nothing_and_one_more_does(bits: int, link: str) -> None:
    found = edges_of(layout_of(numbers(30, bits - 30)), link)
    with_free = layout_of(numbers(30, bits - 30, found.free_bits))
    with_more = layout_of(numbers(30, bits - 30, found.free_bits + 1))
    assert airtime_us(with_free, link) == found.airtime_us
    assert airtime_us(with_more, link) > found.airtime_us


@pytest.mark.parametrize("link", LINKS)
@pytest.mark.parametrize("bits", range(60, 120, 3))
def test_excess_bits_save_a_step_and_one_fewer_does_not(bits: int, link: str) -> None:
    found = edges_of(layout_of(numbers(60, bits - 60)), link)
    assert found.excess_bits is not None
    left = bits - found.excess_bits
    shorter = layout_of(numbers(min(left, 60), max(left - 60, 0)))
    assert airtime_us(shorter, link) == found.airtime_us - found.step_us
    kept = layout_of(numbers(min(left + 1, 60), max(left + 1 - 60, 0)))
    assert airtime_us(kept, link) == found.airtime_us


@pytest.mark.parametrize("link", LINKS)
def test_a_fields_cost_is_what_a_schema_without_it_saves(link: str) -> None:
    fields = numbers(3, 17, 40, 8)
    whole = layout_of(fields)
    found = edges_of(whole, link)
    assert {cost.path for cost in found.fields} == {field.name for field in fields}
    for cost in found.fields:
        without = layout_of(tuple(field for field in fields if field.name != cost.path))
        assert cost.saved_us == airtime_us(whole, link) - airtime_us(without, link)


@pytest.mark.parametrize("link", LINKS)
def test_a_trim_made_to_the_schema_saves_the_step(link: str) -> None:
    fields = {field.name: field for field in numbers(3, 17, 80, 8, 30)}
    found = edges_of(layout_of(tuple(fields.values())), link)
    assert found.trims
    for trim in found.trims:
        if trim.path not in fields:
            continue
        width = fields[trim.path].high.bit_length() - trim.bits  # type: ignore[union-attr]
        trimmed = {**fields, trim.path: Integer(trim.path, 0, 2**width - 1)}
        saved_us = found.airtime_us - airtime_us(layout_of(tuple(trimmed.values())), link)
        assert saved_us == trim.saved_us == found.step_us > 0


def test_the_cheapest_trim_comes_first() -> None:
    layout = load(DEMO).layout
    for message in layout.messages:
        found = block_edges(layout, message, find_link("lora-eu-868.1"))
        assert found is not None
        assert [trim.bits for trim in found.trims] == sorted(trim.bits for trim in found.trims)


@pytest.mark.parametrize("link", LINKS)
def test_no_trim_leaves_too_little(link: str) -> None:
    """A species needs a code for every row of its table; any other value keeps half its bits."""
    layout = load(DEMO).layout
    for message in layout.messages:
        found = block_edges(layout, message, find_link(link))
        assert found is not None
        widths = {cost.path: cost.width for cost in found.fields}
        narrowed = [trim for trim in found.trims if " instead of " in trim.change]
        assert all(2 * trim.bits <= widths[trim.path] for trim in narrowed)
        assert not any("species" in trim.path for trim in found.trims)
        assert not any(trim.path.endswith(("?", "×")) for trim in found.trims)


def test_only_what_may_be_missing_is_left_out() -> None:
    left_out = set()
    for bits in range(10, 40):
        fields = (Integer("a", 0, 2**bits - 1), Integer("b", 0, 2**16 - 1, optional=True))
        trims = edges_of(layout_of(fields), "lora-eu-868.1").trims
        left_out |= {trim.path for trim in trims if trim.change.startswith("leave out")}
    assert left_out == {"b"}


def test_a_row_fewer_is_a_trim_of_the_list() -> None:
    layout = load(DEMO).layout
    link = find_link("lora-eu-868.1")
    summary = next(message for message in layout.messages if message.name == "summary")
    whole = block_edges(layout, summary, link)
    assert whole is not None
    rows = next(trim for trim in whole.trims if trim.path == "rows")
    fewer = block_edges(layout, summary, link, rows=11)
    assert fewer is not None
    assert rows.change == "1 row fewer"
    assert fewer.airtime_us <= whole.airtime_us - rows.saved_us
    assert next(f for f in fewer.fields if f.path == "rows[].species").times == 11


@pytest.mark.parametrize("bits", [20, 30, 58])
def test_what_the_link_says_itself_need_not_be_sent(bits: int) -> None:
    found = edges_of(layout_of(numbers(bits)), "lorawan-eu868-dr3")
    (carried,) = (trim for trim in found.trims if trim.bits == 0)
    names = carried.path.split()
    assert names == ["station", "message", "sequence"]
    narrow = replace(SCHEMA.frame, **{f"{name}_bits": 0 for name in names})
    shorter = layout_of(numbers(bits), narrow)
    assert airtime_us(shorter, "lorawan-eu868-dr3") <= found.airtime_us - carried.saved_us
    assert carried.saved_us == found.step_us > 0


def test_a_raw_link_says_nothing_of_itself() -> None:
    found = edges_of(layout_of(numbers(20)), "lora-eu-868.1")
    assert all(trim.bits > 0 for trim in found.trims)


def test_a_frame_that_does_not_fit_has_no_edges() -> None:
    layout = load(DEMO).layout
    summary = next(message for message in layout.messages if message.name == "summary")
    assert block_edges(layout, summary, find_link("lorawan-us915-dr0")) is None


def test_a_repair_symbol_is_one_of_the_costs() -> None:
    schema = replace(
        SCHEMA, repair=Repair(("m",), symbol_bytes=12), messages=(Message("m", 0, numbers(40)),)
    )
    layout = compile_layout(schema)
    found = edges_of(layout, "lora-eu-868.1")
    symbol = next(cost for cost in found.fields if cost.path == "repair symbol")
    assert layout.repair is not None
    assert symbol.bits == layout.repair.bits
    without = compile_layout(replace(schema, repair=None))
    saved_us = airtime_us(layout, "lora-eu-868.1") - airtime_us(without, "lora-eu-868.1")
    assert symbol.saved_us == saved_us
