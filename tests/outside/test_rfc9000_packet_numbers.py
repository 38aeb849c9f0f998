"""The whole counter behind the bits sent, by the worked example of RFC 9000, appendix A.3.

Source: RFC 9000 (QUIC), appendix A.3; its example as quoted by public implementations.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.frame import infer_counter


def test_the_worked_example() -> None:
    assert infer_counter(0xA82F30EA + 1, 0x9B32, 16) == 0xA82F9B32


@pytest.mark.parametrize(
    ("largest", "sent", "bits", "whole"),
    [(0xAC5C01, 0x5C02, 16, 0xAC5C02), (0, 0, 8, 0), (0, 1, 8, 1), (0, 2, 32, 2)],
)
def test_numbers_of_public_test_suites(largest: int, sent: int, bits: int, whole: int) -> None:
    assert infer_counter(largest + 1, sent, bits) == whole


@given(st.integers(0, (1 << 32) - 1), st.sampled_from([8, 16, 24, 32]), st.data())
def test_the_rule_as_the_appendix_writes_it(expected: int, bits: int, data: st.DataObject) -> None:
    """Its pseudo-code from memory, with our 32-bit counter in place of its 62 bits."""
    sent = data.draw(st.integers(0, (1 << bits) - 1))
    window = 1 << bits
    half, mask = window // 2, window - 1
    candidate = (expected & ~mask) | sent
    if candidate <= expected - half and candidate < (1 << 32) - window:
        candidate += window
    elif candidate > expected + half and candidate >= window:
        candidate -= window
    assert infer_counter(expected, sent, bits) == candidate
