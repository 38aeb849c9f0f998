"""The payload of a message in modelled coding.

It has the face of `packcodec.codec.compiled.PayloadCodec`, and goes through it: values become the
codes of fixed coding, and a walk over the codes drives the range coder. Whatever is decoded is
encoded again, so that each record has one payload and any other is refused.

Where the fixed payload would be shorter in bytes, it is sent as it is after six ones, which no
range-coded payload starts with. So a modelled payload is never more than one byte longer.
"""

from collections.abc import Mapping
from typing import Any

from packcodec.codec.compiled import PayloadCodec
from packcodec.codec.modelled.coder import Decoder, Encoder, meaningless
from packcodec.codec.modelled.defaults import default_species
from packcodec.codec.modelled.ending import ROOMY_BITS as ROOMY_BITS
from packcodec.codec.modelled.ending import TAIL_BITS as TAIL_BITS
from packcodec.codec.modelled.ending import Course, string
from packcodec.codec.modelled.tree import Tree, bits_of, tree_of
from packcodec.codec.modelled.walk import Walk
from packcodec.codec.record import Values
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.models import Models

PLAIN = (1 << PLAIN_BITS) - 1


class ModelledPayload:
    """Pack and unpack the payload of one message; see `PayloadCodec` for the methods.

    A payload in a frame starts where the header ends, and its room ends with the frame's last
    byte: `pack_bits` and `unpack_bits` reckon with the header of this layout, `pack` and `unpack`
    with none. Raises LayoutError for models that do not suit the message.
    """

    def __init__(self, layout: Layout, message: MessageLayout) -> None:
        self.message = message
        self.schema = layout.schema
        self.header_bits = layout.header_bits
        self.fixed = PayloadCodec(layout, message)
        self.named = self.fixed.named
        models = layout.schema.models or Models(default_species(layout.schema), ())
        self.walk = Walk(message.message, layout.schema, models)

    def ordered(self, values: Mapping[str, Any]) -> tuple[Any, ...]:
        """A dict of values as a tuple in field order; raises EncodeError for a wrong name."""
        return self.fixed.ordered(values)

    def pack(self, *values: Any) -> bytes:
        """The payload alone, zero-padded to a byte; raises EncodeError."""
        x, n = self._payload(*self.fixed.pack_bits(*values), 0)
        return (x << (-n & 7)).to_bytes((n + 7) >> 3, "big")

    def pack_bits(self, *values: Any) -> tuple[int, int]:
        """The payload that follows a header, as (integer, bits); raises EncodeError."""
        return self._payload(*self.fixed.pack_bits(*values), self.header_bits)

    def unpack(self, data: bytes) -> tuple[Any, ...]:
        """Values in field order from a payload alone; raises DecodeError."""
        return self._read(int.from_bytes(data, "big"), 8 * len(data), 0)

    def unpack_bits(self, x: int, n: int) -> tuple[Any, ...]:
        """The same from the last n bits of a frame's header and payload; raises DecodeError."""
        return self._read(x & ((1 << n) - 1), n, self.header_bits)

    def pack_values(self, values: Mapping[str, Any]) -> bytes:
        """The payload of a dict of values; raises EncodeError."""
        return self.pack(*self.ordered(values))

    def unpack_values(self, data: bytes) -> Values:
        """A payload as a dict of values; raises DecodeError."""
        return self.named(self.unpack(data))

    def tree(self, values: Mapping[str, Any]) -> Tree:
        """The codes of a dict of values; raises EncodeError."""
        return tree_of(self.message.body, *self.fixed.pack_bits(*self.ordered(values)))

    def sizes(self, tree: Tree) -> tuple[int, int]:
        """Of a payload alone: the bits of fixed coding, and the bytes of this one."""
        x, bits = bits_of(self.message.body, tree)
        _, n = self._payload(x, bits, 0)
        return bits, (n + 7) // 8

    def _read(self, x: int, n: int, header_bits: int) -> tuple[Any, ...]:
        if n >= PLAIN_BITS and x >> (n - PLAIN_BITS) == PLAIN:
            left = n - PLAIN_BITS
            values = self.fixed.unpack_bits(x & ((1 << left) - 1), left)
        else:
            fixed = bits_of(self.message.body, self.walk.code(Decoder(x, n), None))
            values = self.fixed.unpack_bits(*fixed)
        y, m = self._payload(*self.fixed.pack_bits(*values), header_bits)
        if m > n or n - m > 7 or y << (n - m) != x:
            raise meaningless()
        return values

    def _payload(self, x: int, bits: int, header_bits: int) -> tuple[int, int]:
        """The payload for a fixed payload."""
        encoder = Encoder()
        self.walk.code(encoder, tree_of(self.message.body, x, bits))
        plain_bits = PLAIN_BITS + bits
        most_octets = -(-(header_bits + plain_bits) // 8)
        found = string(Course(encoder.runs), self.walk.flags, header_bits, most_octets)
        return found or (PLAIN << bits | x, plain_bits)
