"""Arithmetic in GF(256), the field of x^8 + x^4 + x^3 + x^2 + 1 (0x11D), as RFC 8681 uses it.

Addition is exclusive-or. A whole symbol is multiplied by translating its bytes through the table
of its factor, which runs in the interpreter's own C.
"""

from functools import cache

POLYNOMIAL = 0x11D


@cache
def times(factor: int) -> bytes:
    """The table of one factor (0 to 255): `symbol.translate(times(factor))` is their product."""
    return bytes(multiply(factor, other) for other in range(256))


def multiply(one: int, other: int) -> int:
    """The product of two elements (0 to 255), by shift and exclusive-or: a station needs no more.

    >>> multiply(2, 128) == 0x1D
    True
    """
    product = 0
    while other:
        if other & 1:
            product ^= one
        one <<= 1
        if one & 0x100:
            one ^= POLYNOMIAL
        other >>= 1
    return product


@cache
def inverse(element: int) -> int:
    """The element whose product with `element` (1 to 255) is 1."""
    return times(element).index(1)
