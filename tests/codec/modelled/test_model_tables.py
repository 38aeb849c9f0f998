"""Tables from bytes, and codes of any size as symbols of a small alphabet."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from packcodec.codec.modelled.coder import TOTAL
from packcodec.codec.modelled.tables import (
    Classes,
    cumulative,
    fold,
    frequencies,
    odds,
    unfold,
    weight,
)


@given(st.binary(min_size=1, max_size=140), st.sampled_from([1, 256]))
def test_frequencies_are_in_proportion(row: bytes, least: int) -> None:
    weights = [weight(byte) for byte in row]
    given_ = frequencies(weights, least)
    assert sum(given_) == TOTAL
    room = TOTAL - least * len(row)
    for each, share in zip(weights, given_, strict=True):
        exact = least + each * room / sum(weights)
        assert abs(share - exact) < 1
    assert cumulative(row, least)[1:] == tuple(sum(given_[: at + 1]) for at in range(len(row)))


def test_the_remainder_goes_to_the_largest_then_the_lowest() -> None:
    # 65536 - 3 = 3 * 21844 + 1: all remainders are alike, and the lowest symbol gets it.
    assert frequencies([1, 1, 1]) == (21846, 21845, 21845)
    # 65534 = 5 * 13106 + 4: remainders 4/5 and 1/5.
    assert frequencies([1, 4]) == (13108, 52428)


def test_a_byte_is_an_eighth_of_an_octave() -> None:
    assert [weight(byte) for byte in (0, 8, 16, 255)] == [256, 512, 1024, 470 << 31]
    for byte in range(256):
        assert abs(weight(byte) / 256 / 2 ** (byte / 8) - 1) < 0.002


@given(st.integers(-300, 300))
def test_odds_are_even_at_zero_and_doubled_by_eight(logit: int) -> None:
    _, no, total = odds(logit)
    assert total == TOTAL
    assert 0 < no < TOTAL
    held = min(max(logit, -120), 120)
    assert abs((TOTAL - no) / TOTAL - 1 / (1 + 2 ** (-held / 8))) < 0.001


@given(st.integers(1, 1 << 64), st.data())
def test_every_code_is_in_one_class_at_one_place(codes: int, data: st.DataObject) -> None:
    classes = Classes(codes)
    spans = classes.spans
    assert spans[0][0] == 0
    assert all(first + width == after for (first, width), (after, _) in pairwise(spans))
    assert spans[-1][0] + spans[-1][1] == codes
    code = data.draw(st.one_of(st.integers(0, codes - 1), st.integers(0, min(codes - 1, 40))))
    first, width = spans[classes.of(code)]
    assert first <= code < first + width
    assert len(classes) <= 136


@given(st.integers(1, 1 << 20), st.data())
def test_folding_is_one_to_one_and_near_is_small(codes: int, data: st.DataObject) -> None:
    centre = data.draw(st.integers(0, codes - 1))
    code = data.draw(st.integers(0, codes - 1))
    folded = fold(code, centre, codes)
    assert 0 <= folded < codes
    assert unfold(folded, centre, codes) == code
    assert abs(code - centre) <= folded <= 2 * abs(code - centre)


def test_folding_covers_small_ranges_whole() -> None:
    for codes in range(1, 12):
        for centre in range(codes):
            assert sorted(fold(code, centre, codes) for code in range(codes)) == list(range(codes))
