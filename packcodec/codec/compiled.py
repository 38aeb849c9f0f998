"""The codec that runs: each message's steps turned once into plain Python functions.

`PayloadCodec` is one message. Its positional functions are the fast road (`pack(*values)` and
`unpack(data)`, values in field order); `pack_values` and `unpack_values` take and give dicts.
It is held equal to `packcodec.codec.reference` by tests/codec/test_agreement.py.
"""

from collections.abc import Callable, Mapping, Sequence
from operator import index
from typing import Any, NoReturn

from packcodec.codec import generate
from packcodec.codec.places import Source
from packcodec.codec.record import Values
from packcodec.codec.settle import ordered, settle_fields
from packcodec.errors import DecodeError, PackcodecError, Reason
from packcodec.layout.model import Layout, MessageLayout


class Misfit(Exception):
    """A value that the fast road does not take: the settler looks at it."""


MISFITS = (
    Misfit,
    TypeError,
    KeyError,
    AttributeError,
    ValueError,
    OverflowError,
)
LISTS = frozenset({list, tuple})
COLLECTIONS = LISTS | {set, frozenset}


class PayloadCodec:
    """Pack and unpack the payload of one message.

    pack(*values) -> bytes: the payload, zero-padded to a byte (ASN.1 UPER); raises EncodeError.
        True and False pass for 1 and 0 here; where values come by name they are refused.
    pack_bits(*values) -> (x, n): the payload as an integer of n bits; raises EncodeError.
    unpack(data) -> tuple: values in field order; raises DecodeError.
    unpack_bits(x, n) -> tuple: the same from the last n bits of x, 0 to 7 of them padding.
    """

    source: str
    pack: Callable[..., bytes]
    pack_bits: Callable[..., tuple[int, int]]
    unpack: Callable[[bytes], tuple[Any, ...]]
    unpack_bits: Callable[[int, int], tuple[Any, ...]]
    named: Callable[[tuple[Any, ...]], Values]
    ordered_fast: Callable[[Mapping[str, Any]], tuple[Any, ...]]

    def __init__(self, layout: Layout, message: MessageLayout) -> None:
        self.message = message
        self.schema = layout.schema

    def __getattr__(self, name: str) -> Any:
        """The functions, which are compiled when one of them is first asked for."""
        if name not in PayloadCodec.__annotations__:
            raise AttributeError(f"PayloadCodec has no {name!r}")
        self._compile()
        return getattr(self, name)

    def _compile(self) -> None:
        message, path = self.message, f"message.{self.message.name}"

        def settle(values: Sequence[object]) -> list[Any]:
            return settle_fields(message.body.fields, values, self.schema, path)

        source = Source(self.schema)
        generate.pack_source(message.body, source, "pack", as_bytes=True)
        generate.pack_source(message.body, source, "pack_bits", as_bytes=False)
        generate.unpack_source(message.body, source, "unpack", from_bytes=True)
        generate.unpack_source(message.body, source, "unpack_bits", from_bytes=False)
        generate.ordered_source(message.body, source, "ordered_fast")
        generate.named_source(message.body, source, "named")
        self.source = "\n".join(source.lines)
        scope: dict[str, Any] = {
            **source.constants,
            "settle": settle,
            "index": index,
            "from_bytes": int.from_bytes,
            "misfit": _misfit,
            "whole": _whole,
            "Misfit": Misfit,
            "MISFITS": MISFITS,
            "COLLECTIONS": COLLECTIONS,
            "LISTS": LISTS,
            "wrong_length": _wrong_length,
            "cut_short": _cut_short,
            "left_over": _left_over,
            "nonzero_pad": _nonzero_pad,
            "out_of_range": _out_of_range,
        }
        exec(compile(self.source, f"<{path}>", "exec"), scope)
        self.pack, self.pack_bits = scope["pack"], scope["pack_bits"]
        self.unpack, self.unpack_bits = scope["unpack"], scope["unpack_bits"]
        self.named, self.ordered_fast = scope["named"], scope["ordered_fast"]

    def ordered(self, values: Mapping[str, Any]) -> tuple[Any, ...]:
        """A dict of values as a tuple in field order.

        Raises EncodeError for a wrong name, and for a boolean where a number belongs.
        """
        try:
            return self.ordered_fast(values)
        except MISFITS:
            return ordered(self.message.body.fields, values, f"message.{self.message.name}")

    def pack_values(self, values: Mapping[str, Any]) -> bytes:
        """The payload of a dict of values; raises EncodeError."""
        return self.pack(*self.ordered(values))

    def unpack_values(self, data: bytes) -> Values:
        """A payload as a dict of values; raises DecodeError."""
        return self.named(self.unpack(data))


def _misfit() -> NoReturn:
    raise Misfit


def _whole(value: object) -> int:
    """A plain integer, not numpy's, which would overflow in silence."""
    if isinstance(value, bool):
        raise Misfit
    return index(value)  # type: ignore[arg-type]


def _wrong_length(wanted: int, given: int) -> PackcodecError:
    return DecodeError(Reason.WRONG_LENGTH, f"payload of {given} bytes", remedy=f"it has {wanted}")


def _cut_short(path: str, missing: int) -> PackcodecError:
    return DecodeError(
        Reason.WRONG_LENGTH, f"payload ends {missing} bits before this value does", place=path
    )


def _left_over(bits: int) -> PackcodecError:
    return DecodeError(Reason.WRONG_LENGTH, f"{bits} bits are left over after the last value")


def _nonzero_pad() -> PackcodecError:
    return DecodeError(Reason.NONZERO_PAD, "the bits after the last value are not zero")


def _out_of_range(path: str, code: int, codes: int) -> PackcodecError:
    return DecodeError(
        Reason.OUT_OF_RANGE,
        f"code {code} stands for nothing",
        place=path,
        remedy=f"codes run from 0 to {codes - 1}",
    )
