"""GF(256) against the galois package (M. Hostetter), polynomial 0x11D as in RFC 8681, section 8.1.

That RFC 8681 uses this polynomial is known from two implementations of it, not from its text.
"""

import pytest

from packcodec.frame.gf256 import POLYNOMIAL, inverse, multiply, times

galois = pytest.importorskip("galois", reason="the galois package is not installed")
numpy = pytest.importorskip("numpy")


def test_every_product_and_every_inverse() -> None:
    field = galois.GF(2**8, irreducible_poly=POLYNOMIAL)
    every = field.elements
    products = numpy.outer(every, every)
    for one in range(256):
        assert times(one) == bytes(int(product) for product in products[one])
        assert all(multiply(one, other) == products[one, other] for other in range(0, 256, 7))
    assert [inverse(one) for one in range(1, 256)] == [int(each) for each in every[1:] ** -1]


def test_the_polynomial_is_primitive() -> None:
    assert galois.Poly.Int(POLYNOMIAL).is_primitive()
