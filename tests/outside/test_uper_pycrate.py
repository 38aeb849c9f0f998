"""Our fixed coding is unaligned PER of the emitted ASN.1 module, says pycrate.

Source: ITU-T X.691 (unaligned variant), as pycrate 0.8 implements it. X.691 itself was not read.

The one difference, asserted below: X.691 sends a type that needs no bits as one zero byte, for a
whole encoding is at least a byte long. Our payload stands in a frame and is then empty.
"""

import contextlib
import io
from pathlib import Path
from typing import Any

import pytest
from asn1_values import asn1_values
from every_kind import EVERY, VALUES
from hypothesis import given, settings
from hypothesis import strategies as st
from pycrate_asn1c.asnproc import GLOBAL, PycrateGenerator, compile_text, generate_modules
from strategies import schemas, values_for

from packcodec.codec import PayloadCodec
from packcodec.emit import emit
from packcodec.emit.asn1 import type_name
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Schema


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("pycrate")


def bit_string(bits: str) -> tuple[int, int]:
    return int(bits, 2), len(bits)


def oracle_type(layout: Layout, message: MessageLayout, folder: Path) -> Any:
    """pycrate's runtime object of a message: compiled to Python text, which is then run."""
    (module,) = emit(layout, "asn1").values()
    target = folder / "module.py"
    GLOBAL.clear()
    with contextlib.redirect_stdout(io.StringIO()):
        compile_text(module)
        generate_modules(PycrateGenerator, str(target))
    scope: dict[str, Any] = {}
    exec(target.read_text(encoding="utf-8"), scope)
    return scope[python_name(layout.schema.name)].__dict__[python_name(message.name)]


def python_name(name: str) -> str:
    return type_name(name).replace("-", "_")


def agree(layout: Layout, message: MessageLayout, values: dict[str, Any], folder: Path) -> None:
    oracle = oracle_type(layout, message, folder)
    codec = PayloadCodec(layout, message)
    fields = message.message.fields
    theirs = asn1_values(layout.schema, fields, values, bit_string)
    payload = codec.pack_values(values)
    oracle.set_val(theirs)
    assert oracle.to_uper() == (payload or b"\x00")
    oracle.from_uper(payload or b"\x00")
    assert oracle.get_val() == theirs
    read = codec.unpack_values(payload)
    assert asn1_values(layout.schema, fields, read, bit_string) == theirs


@settings(max_examples=40)
@given(schema=schemas(), data=st.data())
def test_drawn_records(folder: Path, schema: Schema, data: st.DataObject) -> None:
    layout = compile_layout(schema)
    message = data.draw(st.sampled_from(layout.messages))
    values = data.draw(values_for(schema, message.message, wrap_spans=2))
    agree(layout, message, values, folder)


@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_fixed_records(folder: Path, schema: Schema, values: dict[str, Any]) -> None:
    layout = compile_layout(schema)
    agree(layout, layout.messages[0], values, folder)


def test_a_record_without_bits_is_one_zero_byte_for_x691_and_nothing_for_us(folder: Path) -> None:
    layout = compile_layout(EVERY[-1])
    message = layout.messages[0]
    assert message.body.most_bits == 0
    oracle = oracle_type(layout, message, folder)
    oracle.set_val(asn1_values(layout.schema, message.message.fields, VALUES[-1], bit_string))
    assert oracle.to_uper() == b"\x00"
    assert PayloadCodec(layout, message).pack_values(VALUES[-1]) == b""
