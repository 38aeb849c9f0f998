"""How many flipped bits each check is sure to catch, found again by computer.

An error passes exactly when, as a polynomial, it is a multiple of the generator; so the remainders
s_i = x^i mod g of its bits cancel. As g has a constant term, an error may be shifted until its
last bit is bit 0 (s_0 = 1), and an error of w bits passes somewhere within n bits if and only if
w - 1 of s_1 … s_(n-1) add up to 1. Sums of two of them are listed once; then

    w = 2   1 is among the s_i           w = 4   1 + s_i is among the sums
    w = 3   1 is among the sums          w = 5   two of the sums differ by exactly 1
"""

import numpy as np
import numpy.typing as npt
import pytest

from packcodec.layout.checks import CHECKS, PREFERRED, Check
from packcodec.layout.compiler import LARGEST_FRAME_BYTES

Words = npt.NDArray[np.uint32]


def remainders(check: Check, bits: int) -> Words:
    """x^1 … x^(bits-1) modulo the generator."""
    found, top, mask = [], 1 << (check.bits - 1), (1 << check.bits) - 1
    remainder = 1
    for _ in range(bits - 1):
        carry = remainder & top
        remainder = (remainder << 1 & mask) ^ (check.polynomial if carry else 0)
        found.append(remainder)
    return np.array(found, dtype=np.uint32)


def fewest_unseen(check: Check, data_bits: int) -> int:
    """The fewest flipped bits, up to 5, that can pass in `data_bits` and the check; 6 for more."""
    one = np.uint32(1)
    single = remainders(check, data_bits + check.bits)
    if (single == one).any():
        return 2
    first, second = np.triu_indices(len(single), 1)
    sums = np.sort(single[first] ^ single[second])
    if _found(sums, np.array([one])):
        return 3
    if _found(sums, single ^ one):
        return 4
    # Numbers that differ in their last bit only are neighbours in sorted order.
    if ((sums[1:] ^ sums[:-1]) == one).any():
        return 5
    return 6


def _found(ordered: Words, wanted: Words) -> bool:
    places = np.minimum(np.searchsorted(ordered, wanted), len(ordered) - 1)
    return bool((ordered[places] == wanted).any())


@pytest.mark.parametrize("name", CHECKS)
def test_every_check_keeps_its_distance_to_its_reach(name: str) -> None:
    check = CHECKS[name]
    assert fewest_unseen(check, check.reach_bits) >= check.distance


@pytest.mark.parametrize(("name", "beyond"), [("crc16-short", 2), ("crc16", 2), ("crc24", 4)])
def test_one_bit_past_its_reach_it_is_lost(name: str, beyond: int) -> None:
    """crc32 is not here: it was looked at as far as any frame goes, and still held."""
    check = CHECKS[name]
    assert fewest_unseen(check, check.reach_bits + 1) == beyond


def test_crc16_can_miss_an_error_of_its_distance() -> None:
    check = CHECKS["crc16"]
    assert fewest_unseen(check, check.reach_bits) == check.distance


def test_some_check_reaches_the_largest_frame() -> None:
    check = CHECKS[PREFERRED[-1]]
    assert check.reach_bits >= 8 * (LARGEST_FRAME_BYTES - check.octets)


@pytest.mark.parametrize("name", CHECKS)
def test_every_generator_has_a_constant_term(name: str) -> None:
    """Without it the shift above, and with it the promise, would not hold."""
    assert CHECKS[name].polynomial & 1
