"""Sequence arithmetic: which of two is newer, and the whole counter behind the bits sent.

A station counts its frames with a 32-bit counter; a frame carries the last `bits` of it.
"""

COUNTER_BITS = 32
COUNTERS = 1 << COUNTER_BITS


def newer(one: int, other: int, bits: int) -> bool | None:
    """Whether sequence `one` comes after `other`, both of `bits` bits (RFC 1982, section 3.2).

    None when they are exactly half the circle apart: their order is not defined. False for equals.
    """
    ahead = (one - other) % (1 << bits)
    half = 1 << bits >> 1
    if ahead == half and ahead:
        return None
    return 0 < ahead < half


def infer_counter(expected: int, sent: int, bits: int) -> int:
    """The 32-bit counter nearest to `expected` whose last `bits` bits are `sent`.

    `expected` is one more than the highest counter verified so far; it takes up to half the
    circle of lost frames to mislead it. The rule of RFC 3711, section 3.3.1 (and RFC 9000, A.3):
    move the highest counter only after the frame has passed its check.
    """
    circle = 1 << bits
    candidate = (expected & ~(circle - 1)) | sent
    if candidate <= expected - circle / 2 and candidate + circle < COUNTERS:
        return candidate + circle
    if (candidate > expected + circle / 2 or candidate >= COUNTERS) and candidate >= circle:
        return candidate - circle
    return candidate
