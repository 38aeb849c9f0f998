"""Any schema on any link: a plan or one of our errors, and figures that agree with themselves."""

from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st
from strategies import schemas

from packcodec.budget.edges import block_edges
from packcodec.budget.plan import plan_budget
from packcodec.budget.remedies import remedies
from packcodec.budget.traffic import DAY_S, Expected, Random, Rate, Regular
from packcodec.layout.compiler import compile_layout
from packcodec.layout.model import Layout
from packcodec.radio.link import Link
from packcodec.radio.links import find_link, known_links

rates: st.SearchStrategy[Rate] = st.one_of(
    st.builds(Regular, st.integers(60, 2 * DAY_S)),
    st.builds(
        Random,
        st.fractions(0, 200, max_denominator=10),
        st.one_of(st.none(), st.integers(1, 30)),
    ),
)
links = st.sampled_from(sorted(known_links())).map(find_link)


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    coding = draw(st.sampled_from(["fixed", "modelled"]))
    return compile_layout(
        draw(schemas(coding=coding, largest_payload_bits=400, repaired=coding == "fixed"))
    )


@settings(max_examples=60)
@given(st.data(), layouts(), links, st.integers(1, DAY_S))
def test_a_plan_agrees_with_itself(
    data: st.DataObject, layout: Layout, link: Link, watch_s: int
) -> None:
    traffic = Expected({each.name: data.draw(rates) for each in layout.messages}, watch_s)
    budget = plan_budget(layout, link, traffic)
    room = budget.room.frame_bytes
    for message in budget.messages:
        if message.sent_bytes is None:
            assert room is None or message.least_bytes > room
            continue
        assert room is not None
        assert message.sent_bytes <= min(message.greatest_bytes, room)
        assert message.airtime_us_per_day == int(
            message.frames_per_day * link.airtime(message.sent_bytes).airtime_us
        )
    assert budget.airtime_us_per_day == sum(m.airtime_us_per_day for m in budget.messages)
    assert budget.fits == all(verdict.fits is not False for verdict in budget.verdicts)
    over = [use for verdict in budget.verdicts for use in verdict.uses if use.share > 1]
    assert not over or not budget.fits
    for use in (use for verdict in budget.verdicts for use in verdict.uses):
        assert Fraction(use.used_us, use.allowed_us) == use.share
    for remedy in remedies(budget):
        assert remedy.budget.fits


@settings(max_examples=60)
@given(layouts(), links)
def test_edges_agree_with_the_layout(layout: Layout, link: Link) -> None:
    for message in layout.messages:
        edges = block_edges(layout, message, link)
        if layout.schema.coding == "modelled" or message.most_frame_bytes > link.payload_most:
            assert edges is None
            continue
        assert edges is not None
        assert edges.frame_bytes == message.most_frame_bytes
        assert edges.airtime_us == link.airtime(message.most_frame_bytes).airtime_us
        bits = sum(field.bits for field in edges.fields)
        carried = layout.header_bits + bits
        assert -(-carried // 8) + layout.check.octets == edges.frame_bytes
