"""Which sequence is newer, by the examples of RFC 1982, section 5.

Source: R. Elz, R. Bush, "Serial Number Arithmetic", RFC 1982; the examples as restated in the test
suites of public implementations, the RFC's own text not read.
"""

import pytest

from packcodec.frame import newer


@pytest.mark.parametrize(("greater", "less"), [(1, 0), (2, 1), (3, 2), (0, 3)])
def test_two_bits(greater: int, less: int) -> None:
    assert newer(greater, less, 2) is True
    assert newer(less, greater, 2) is False


@pytest.mark.parametrize(("one", "other"), [(0, 2), (2, 0), (1, 3), (3, 1)])
def test_two_bits_half_the_circle_apart_have_no_order(one: int, other: int) -> None:
    assert newer(one, other, 2) is None


@pytest.mark.parametrize(
    ("greater", "less"),
    [
        *((1, 0), (44, 0), (100, 0), (100, 44), (200, 100)),
        *((255, 200), (0, 255), (100, 255), (0, 200), (44, 200)),
    ],
)
def test_eight_bits(greater: int, less: int) -> None:
    assert newer(greater, less, 8) is True
    assert newer(less, greater, 8) is False
