"""Sequence arithmetic at every boundary, against counting written out."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.frame import infer_counter, newer
from packcodec.frame.sequence import COUNTERS

WIDTHS = [1, 2, 3, 7, 8, 10, 16, 24, 31, 32]
BOUNDARIES = sorted(
    {
        counter
        for bits in range(33)
        for near in (-2, -1, 0, 1, 2)
        if 0 <= (counter := (1 << bits) + near) < COUNTERS
    }
)


@pytest.mark.parametrize("bits", [1, 2, 3, 6])
def test_newer_is_fewer_steps_forward_than_back(bits: int) -> None:
    circle = 1 << bits
    for one in range(circle):
        for other in range(circle):
            forward = next(step for step in range(circle) if (other + step) % circle == one)
            back = (circle - forward) % circle
            wanted = None if forward == back and forward else 0 < forward < back
            assert newer(one, other, bits) is wanted


@pytest.mark.parametrize("bits", WIDTHS)
def test_the_next_is_newer_at_every_boundary(bits: int) -> None:
    circle = 1 << bits
    for counter in BOUNDARIES:
        assert newer((counter + 1) % circle, counter % circle, bits) is (True if bits > 1 else None)
        assert newer(counter % circle, (counter + 1) % circle, bits) is (
            False if bits > 1 else None
        )


def test_no_bits_know_no_order() -> None:
    assert newer(0, 0, 0) is False


def nearest_by_search(expected: int, sent: int, bits: int) -> int:
    """The whole counter nearest to `expected`; of two as near, the later."""
    circle = 1 << bits
    first = expected - expected % circle + sent
    candidates = [first + turn * circle for turn in (-2, -1, 0, 1, 2)]
    whole = [counter for counter in candidates if 0 <= counter < COUNTERS]
    return min(whole, key=lambda counter: (abs(counter - expected), -counter))


@pytest.mark.parametrize("bits", WIDTHS)
def test_inferred_at_every_boundary(bits: int) -> None:
    circle, half = 1 << bits, 1 << bits >> 1
    for expected in (*BOUNDARIES, COUNTERS):
        for away in {0, 1, half - 1, half, half + 1, circle - 1}:
            sent = (expected + away) % circle
            assert infer_counter(expected, sent, bits) == nearest_by_search(expected, sent, bits)


@given(st.integers(0, COUNTERS - 1), st.integers(1, 32), st.data())
def test_losses_up_to_half_the_circle_mislead_nobody(
    highest: int, bits: int, data: st.DataObject
) -> None:
    lost = data.draw(st.integers(0, max(0, (1 << bits >> 1) - 1)))
    counter = highest + 1 + lost
    if counter < COUNTERS:
        assert infer_counter(highest + 1, counter % (1 << bits), bits) == counter


@given(st.integers(0, COUNTERS - 1))
def test_no_bits_sent_is_as_expected(expected: int) -> None:
    assert infer_counter(expected, 0, 0) == expected


@given(st.integers(0, COUNTERS), st.integers(1, 32), st.data())
def test_a_counter_always_has_32_bits_and_ends_in_those_sent(
    expected: int, bits: int, data: st.DataObject
) -> None:
    sent = data.draw(st.integers(0, (1 << bits) - 1))
    counter = infer_counter(expected, sent, bits)
    assert 0 <= counter < COUNTERS
    assert counter % (1 << bits) == sent
