"""Payloads read by a decoder written from the specification: the same codes."""

from dataclasses import replace

import pytest
from every_kind import EVERY, VALUES, schema_of
from hypothesis import given, settings
from hypothesis import strategies as st
from model_tables import with_models
from modelled_spec_decoder import Refused, SpecDecoder
from strategies import schemas, values_for

from packcodec.codec.modelled import ModelledPayload
from packcodec.errors import DecodeError
from packcodec.layout import compile_layout
from packcodec.schema.model import Integer, Schema

MODELLED = st.builds(
    lambda schema, seed: with_models(schema, seed) if seed else schema,
    schemas(coding="modelled", check="auto"),
    st.integers(0, 1 << 32),
)


def payload_of(schema: Schema) -> ModelledPayload:
    layout = compile_layout(schema)
    return ModelledPayload(layout, layout.messages[0])


def text_of(payload: bytes) -> str:
    return "".join(f"{byte:08b}" for byte in payload)


@settings(max_examples=40)
@given(schema=MODELLED, data=st.data())
def test_both_decoders_read_the_same_codes(schema: Schema, data: st.DataObject) -> None:
    modelled = payload_of(schema)
    message = modelled.message.message
    values = data.draw(values_for(schema, message))
    text = text_of(modelled.pack_values(values))
    if not text.startswith("111111"):
        assert SpecDecoder(schema, message).decode(text) == modelled.tree(values)


@settings(max_examples=40)
@given(schema=MODELLED, data=st.data())
def test_what_the_other_refuses_ours_refuses(schema: Schema, data: st.DataObject) -> None:
    modelled = payload_of(schema)
    payload = data.draw(st.binary(max_size=30))
    if text_of(payload).startswith("111111"):
        return
    try:
        codes = SpecDecoder(schema, modelled.message.message).decode(text_of(payload))
    except Refused:
        with pytest.raises(DecodeError):
            modelled.unpack(payload)
        return
    try:
        values = modelled.unpack_values(payload)
    except DecodeError:
        return  # read, but not the payload that an encoder makes of it
    assert modelled.tree(values) == codes


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_every_kind_is_read_the_same(schema: Schema, values: dict[str, object], seed: int) -> None:
    schema = with_models(replace(schema, coding="modelled"), seed)
    modelled = payload_of(schema)
    text = text_of(modelled.pack_values(values))
    if not text.startswith("111111"):
        codes = SpecDecoder(schema, modelled.message.message).decode(text)
        assert codes == modelled.tree(values)


@pytest.mark.parametrize("total", [0, 700, 1023, None])
def test_a_running_total_is_as_likely_anywhere(total: int | None) -> None:
    fields = Integer("n", 0, 3), Integer("sum", 0, 1023, optional=True, total_of="n")
    schema = replace(schema_of(*fields), coding="modelled")
    modelled = payload_of(schema)
    values = {"n": 0, "sum": total}
    codes = SpecDecoder(schema, modelled.message.message).decode(
        text_of(modelled.pack_values(values))
    )
    assert codes == modelled.tree(values)
    if total is not None:
        _, bits = modelled.pack_bits(*modelled.ordered(values))
        assert bits <= 14
