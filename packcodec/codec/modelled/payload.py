"""The payload of a message in modelled coding.

It has the face of `packcodec.codec.compiled.PayloadCodec`. Two functions do the work, generated
from the walk over the message: one turns a record into the steps of an encoder, the other a string
into a record. Each record has one payload: a decoder finds the string that an encoder would make of
the steps it took, and refuses any other.

Where the fixed payload would be shorter in bytes, it is sent as it is after six ones, which no
range-coded payload starts with. So a modelled payload is never more than one byte longer.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from operator import index
from typing import Any

from packcodec.codec.compiled import COLLECTIONS, LISTS, MISFITS, Misfit, PayloadCodec
from packcodec.codec.modelled.coder import Step, cut_short, meaningless
from packcodec.codec.modelled.defaults import default_species
from packcodec.codec.modelled.ending import PLAIN, Course, State, heard, spent_after, string
from packcodec.codec.modelled.tree import Tree, bits_of, tree_of
from packcodec.codec.modelled.walk import Walk
from packcodec.codec.places import Source
from packcodec.codec.record import Values
from packcodec.codec.settle import settle_fields
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import ListOf
from packcodec.schema.models import Models

Runs = list[list[Step]]


class ModelledPayload:
    """Pack and unpack the payload of one message; see `PayloadCodec` for the methods.

    A payload in a frame starts where the header ends, and its room ends with the frame's last
    byte: `pack_bits` and `unpack_bits` reckon with the header of this layout, `pack` and `unpack`
    with none. Raises LayoutError for models that do not suit the message.
    """

    send: Callable[..., tuple[Runs, int]]
    read: Callable[[bytes, int], tuple[tuple[Any, ...], Runs, dict[int, State], State, int]]

    def __init__(self, layout: Layout, message: MessageLayout) -> None:
        self.message = message
        self.schema = layout.schema
        self.header_bits = layout.header_bits
        self.fixed = PayloadCodec(layout, message)
        models = layout.schema.models or Models(default_species(layout.schema), ())
        self.walk = Walk(message.message, layout.schema, models)

    def __getattr__(self, name: str) -> Any:
        """The generated functions, each made when it is first asked for."""
        if name not in ("send", "read"):
            raise AttributeError(f"ModelledPayload has no {name!r}")
        setattr(self, name, self._generated(name))
        return getattr(self, name)

    def _generated(self, name: str) -> Any:
        fields, path = self.message.body.fields, f"message.{self.message.name}"

        def settle(values: Sequence[object]) -> list[Any]:
            return settle_fields(fields, values, self.schema, path)

        source = Source(self.schema)
        if name == "send":
            from packcodec.codec.modelled.sending import send_source as write
        else:
            from packcodec.codec.modelled.reading import read_source as write
        write(self.walk, source)
        # As parameters the constants are local names, which cost a little less.
        local = "".join(f", {each}={each}" for each in source.constants)
        head = source.lines[0].removesuffix("):")
        source.lines[0] = f"{head}, *{local}):" if local else f"{head}):"
        scope: dict[str, Any] = {
            **source.constants,
            "settle": settle,
            "index": index,
            "Misfit": Misfit,
            "MISFITS": MISFITS,
            "COLLECTIONS": COLLECTIONS,
            "LISTS": LISTS,
            "from_bytes": int.from_bytes,
            "bisect": bisect_right,
            "cut_short": cut_short,
            "meaningless": meaningless,
        }
        exec(compile("\n".join(source.lines), f"<{name} {path}>", "exec"), scope)
        return scope[name]

    def ordered(self, values: Mapping[str, Any]) -> tuple[Any, ...]:
        """A dict of values as a tuple in field order; raises EncodeError for a wrong name."""
        return self.fixed.ordered(values)

    def pack(self, *values: Any) -> bytes:
        """The payload alone, zero-padded to a byte; raises EncodeError."""
        x, n = self._pack(values, 0)
        return (x << (-n & 7)).to_bytes((n + 7) >> 3, "big")

    def pack_bits(self, *values: Any) -> tuple[int, int]:
        """The payload that follows a header, as (integer, bits); raises EncodeError."""
        return self._pack(values, self.header_bits)

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

    def named(self, values: tuple[Any, ...]) -> Values:
        """Values in field order as a dict."""
        return self.fixed.named(values)

    def tree(self, values: Mapping[str, Any]) -> Tree:
        """The codes of a dict of values; raises EncodeError."""
        return tree_of(self.message.body, *self.fixed.pack_bits(*self.ordered(values)))

    def sizes(self, tree: Tree) -> tuple[int, int]:
        """Of a payload alone: the bits of fixed coding, and the bytes of this one."""
        from packcodec.codec.modelled.reference import pack_codes

        _, bits = bits_of(self.message.body, tree)
        _, n = pack_codes(self.walk, self.message.body, tree, 0)
        return bits, (n + 7) // 8

    def fitting(self, values: Mapping[str, Any], octets: int) -> int:
        """About how many elements of the last list fit header and payload of so many bytes.

        All of them in a message whose size does not depend on the room. Raises EncodeError.
        """
        listed = self.message.message.fields[-1]
        assert isinstance(listed, ListOf)
        if not self.walk.has_tail:
            return len(values[listed.name])
        runs, _ = self.send(*self.ordered(values))
        room_bits = 8 * octets - self.header_bits
        return listed.least - 1 + bisect_right(spent_after(runs), room_bits)

    def _pack(self, values: Sequence[Any], header_bits: int) -> tuple[int, int]:
        runs, bits = self.send(*values)
        found = self._string(Course(runs), bits, header_bits)
        if found is None:
            x, bits = self.fixed.pack_bits(*values)
            return PLAIN << bits | x, PLAIN_BITS + bits
        return found

    def _read(self, x: int, n: int, header_bits: int) -> tuple[Any, ...]:
        left = n - PLAIN_BITS
        if left >= 0 and x >> left == PLAIN:
            values = self.fixed.unpack_bits(x & ((1 << left) - 1), left)
            runs, bits = self.send(*values)
            if self._string(Course(runs), bits, header_bits) is not None:
                raise meaningless()
            return values
        octets = (n + 7) // 8
        x <<= 8 * octets - n
        values, runs, states, end, bits = self.read(x.to_bytes(octets, "big"), n)
        found = self._string(heard(runs, states, end, x, octets, n), bits, header_bits)
        if found is None or not 0 <= n - found[1] <= 7 or found[0] << 8 * octets - found[1] != x:
            raise meaningless()
        return values

    def _string(self, course: Course, bits: int, header_bits: int) -> tuple[int, int] | None:
        """The string of these steps; None where it takes more bytes than `bits` plain ones."""
        most_octets = -(-(header_bits + PLAIN_BITS + bits) // 8)
        return string(course, self.walk.flags, header_bits, most_octets)
