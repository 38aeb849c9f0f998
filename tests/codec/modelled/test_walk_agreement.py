"""The generated functions do what the walk does: the same bits, records and refusals."""

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from drawn_batches import drawn_batch
from every_kind import EVERY, VALUES
from hypothesis import given
from hypothesis import strategies as st
from model_tables import with_models
from strategies import schemas, values_for

from packcodec.codec.modelled import ModelledPayload
from packcodec.codec.modelled.ending import PLAIN
from packcodec.codec.modelled.reference import pack_codes, unpack_codes
from packcodec.codec.modelled.tree import Tree
from packcodec.errors import DecodeError, Reason
from packcodec.layout import compile_layout
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.schema.model import Schema

MODELLED = st.builds(
    lambda schema, seed: with_models(schema, seed) if seed else schema,
    schemas(coding="modelled", check="auto"),
    st.integers(0, 1 << 32),
)


def payload_of(schema: Schema) -> ModelledPayload:
    layout = compile_layout(schema)
    return ModelledPayload(layout, layout.messages[0])


def agree_on_values(payload: ModelledPayload, values: dict[str, Any]) -> tuple[int, int]:
    tree = payload.tree(values)
    walked = pack_codes(payload.walk, payload.message.body, tree, payload.header_bits)
    assert payload.pack_bits(*payload.ordered(values)) == walked
    return walked


def agree_on_bits(payload: ModelledPayload, x: int, n: int) -> bool:
    """Whether the bits are a record; a plain payload is the fixed codec's to judge."""
    if is_plain(x, n):
        return False
    body, header_bits = payload.message.body, payload.header_bits
    walked = outcome(lambda: unpack_codes(payload.walk, body, x, n, header_bits))
    read = outcome(lambda: payload.tree(payload.named(payload.unpack_bits(x, n))))
    assert read == walked
    return isinstance(walked, list)


def outcome(read: Callable[[], Tree]) -> Tree | tuple[Reason, str]:
    try:
        return read()
    except DecodeError as error:
        return error.reason, error.problem


def is_plain(x: int, n: int) -> bool:
    return n >= PLAIN_BITS and x >> (n - PLAIN_BITS) == PLAIN


@given(schema=MODELLED, data=st.data())
def test_a_record_gives_the_same_bits(schema: Schema, data: st.DataObject) -> None:
    payload = payload_of(schema)
    values = data.draw(values_for(schema, payload.message.message))
    x, n = agree_on_values(payload, values)
    padded = -(payload.header_bits + n) % 8
    assert is_plain(x, n) or agree_on_bits(payload, x << padded, n + padded)


@given(schema=MODELLED, data=st.data())
def test_any_bits_give_the_same_record_or_error(schema: Schema, data: st.DataObject) -> None:
    payload = payload_of(schema)
    n = data.draw(st.integers(0, 300))
    agree_on_bits(payload, data.draw(st.integers(0, (1 << n) - 1)), n)


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_every_kind_in_every_place(schema: Schema, values: dict[str, Any], seed: int) -> None:
    agree_on_values(payload_of(with_models(replace(schema, coding="modelled"), seed)), values)


@given(seed=st.integers(0, 1 << 32), data=st.data())
def test_batches_too(seed: int, data: st.DataObject) -> None:
    schema, values = drawn_batch(seed)
    payload = payload_of(schema)
    x, n = agree_on_values(payload, values)
    padded = -(payload.header_bits + n) % 8
    if agree_on_bits(payload, x << padded, n + padded):
        changed = data.draw(st.integers(0, n + padded - 1) if n + padded else st.just(0))
        agree_on_bits(payload, x << padded ^ 1 << changed, n + padded)
    drawn = data.draw(st.binary(max_size=60))
    agree_on_bits(payload, int.from_bytes(drawn), 8 * len(drawn))
