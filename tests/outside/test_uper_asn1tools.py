"""Our fixed coding is unaligned PER of the emitted ASN.1 module, says asn1tools.

Source: ITU-T X.691 (unaligned variant), as asn1tools 0.169 implements it. X.691 itself was not
read; clause numbers in the code are from memory.

One detail is outside: X.691 sends a type that needs no bits as one zero byte, asn1tools sends
nothing, and so do we, for a payload stands in a frame and is never a whole transmission.
"""

from typing import Any

import asn1tools
import pytest
from asn1_values import asn1_values
from every_kind import EVERY, KINDS, VALUES, kinds_in
from hypothesis import given
from hypothesis import strategies as st
from strategies import schemas, values_for

from packcodec.codec import PayloadCodec
from packcodec.emit import emit
from packcodec.emit.asn1 import type_name
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Schema


def bit_string(bits: str) -> tuple[bytes, int]:
    padded = bits + "0" * (-len(bits) % 8)
    return int(padded, 2).to_bytes(len(padded) // 8, "big"), len(bits)


def agree(layout: Layout, message: MessageLayout, values: dict[str, Any]) -> None:
    (module,) = emit(layout, "asn1").values()
    oracle = asn1tools.compile_string(module, "uper")
    codec = PayloadCodec(layout, message)
    fields, name = message.message.fields, type_name(message.name)
    theirs = asn1_values(layout.schema, fields, values, bit_string)
    payload = codec.pack_values(values)
    assert oracle.encode(name, theirs, check_constraints=True) == payload
    assert oracle.decode(name, payload) == theirs
    read = codec.unpack_values(payload)
    assert asn1_values(layout.schema, fields, read, bit_string) == theirs


@given(schema=schemas(), data=st.data())
def test_drawn_records(schema: Schema, data: st.DataObject) -> None:
    layout = compile_layout(schema)
    message = data.draw(st.sampled_from(layout.messages))
    agree(layout, message, data.draw(values_for(schema, message.message, wrap_spans=2)))


@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_fixed_records(schema: Schema, values: dict[str, Any]) -> None:
    layout = compile_layout(schema)
    agree(layout, layout.messages[0], values)


def test_fixed_records_hold_every_kind() -> None:
    assert {kind for one in EVERY for kind in kinds_in(one.messages[0].fields)} == KINDS
