"""A payload by the walk over its codes, step by step: what the generated functions are held to.

It is slow and close to spec/modelled-coding.md. Whatever is decoded is encoded again, so that each
record has one payload and any other is refused.
"""

from packcodec.codec.modelled.coder import Decoder, Encoder, meaningless
from packcodec.codec.modelled.ending import PLAIN, Course, string
from packcodec.codec.modelled.tree import Tree, bits_of, tree_of
from packcodec.codec.modelled.walk import Walk
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Group


def pack_codes(walk: Walk, body: Group, tree: Tree, header_bits: int) -> tuple[int, int]:
    """The payload that follows a header, as (integer, number of bits)."""
    encoder = Encoder()
    walk.code(encoder, tree)
    x, bits = bits_of(body, tree)
    most_octets = -(-(header_bits + PLAIN_BITS + bits) // 8)
    found = string(Course(encoder.runs), walk.flags, header_bits, most_octets)
    return found or (PLAIN << bits | x, PLAIN_BITS + bits)


def unpack_codes(walk: Walk, body: Group, x: int, n: int, header_bits: int) -> Tree:
    """The codes in a payload and up to 7 zeros, `n` bits of `x`; raises DecodeError.

    The fixed payload that follows six ones must be a sound one.
    """
    left = n - PLAIN_BITS
    if left >= 0 and x >> left == PLAIN:
        tree = tree_of(body, x & ((1 << left) - 1), left)
    else:
        tree = walk.code(Decoder(x, n), None)
    y, m = pack_codes(walk, body, tree, header_bits)
    if m > n or n - m > 7 or y << (n - m) != x:
        raise meaningless()
    return tree
