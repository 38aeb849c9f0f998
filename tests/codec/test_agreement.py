"""The compiled codec and the reference codec are one: same bytes, same values, same refusals."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st
from strategies import schemas, values_for

from packcodec.codec import PayloadCodec, reference, to_json
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.layout import compile_layout
from packcodec.schema.model import Message, Schema


def codec_for(schema: Schema) -> tuple[Message, PayloadCodec]:
    laid_out = compile_layout(schema).messages[0]
    return laid_out.message, PayloadCodec(compile_layout(schema), laid_out)


@given(schema=schemas(check="auto"), data=st.data())
def test_both_pack_and_unpack_the_same(schema: Schema, data: st.DataObject) -> None:
    message, codec = codec_for(schema)
    values = data.draw(values_for(schema, message, wrap_spans=3, beyond_clamps=True))
    payload = reference.encode(schema, message, values)
    assert codec.pack_values(values) == payload
    read = reference.decode(schema, message, payload)
    assert codec.unpack_values(payload) == read
    # What comes out goes in again, as objects and as JSON, to the same bytes.
    assert codec.pack_values(read) == payload
    assert codec.pack_values(to_json(read)) == payload
    bits, n = codec.pack_bits(*codec.ordered(values))
    assert format(bits, f"0{n}b") == (reference.encode_bits(schema, message, values) or "0")
    assert codec.message.body.least_bits <= n <= codec.message.body.most_bits


@given(schema=schemas(check="auto"), data=st.data())
def test_both_read_any_bytes_the_same(schema: Schema, data: st.DataObject) -> None:
    message, codec = codec_for(schema)
    most = (codec.message.body.most_bits + 7) // 8
    payload = data.draw(
        st.one_of(st.binary(max_size=most + 2), st.binary(min_size=most, max_size=most))
    )
    expected = refusal_of(lambda: reference.decode(schema, message, payload))
    refused = refusal_of(lambda: codec.unpack(payload))
    if expected is None:
        assert refused is None
        read = codec.unpack_values(payload)
        assert read == reference.decode(schema, message, payload)
        assert codec.pack_values(read) == payload
    elif refused != expected:
        # A payload with two faults may be refused for either (spec, "Errors").
        assert {refused, expected} == {Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH}


def refusal_of(decode: Callable[[], object]) -> Reason | None:
    try:
        decode()
    except DecodeError as error:
        return error.reason
    return None


ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-300, 300),
    st.floats(),
    st.text(max_size=3),
    st.sampled_from(["label 1", "#0", "#1", "#999", "#-1", "#01", "2027-04-01T00:00:00Z", ""]),
    st.just({"at_least": 1}),
    st.lists(st.sampled_from(["flag_0", "label 1", 1]), max_size=2),
)


@given(schema=schemas(check="auto"), data=st.data())
def test_both_refuse_the_same_values(schema: Schema, data: st.DataObject) -> None:
    """One value replaced by anything at all: the same bytes, or an error of ours from both."""
    message, codec = codec_for(schema)
    values = data.draw(values_for(schema, message))
    name = data.draw(st.sampled_from(sorted(values)))
    odd = data.draw(ODD)
    if odd == {"at_least": 1}:
        return  # a JSON form, which only the settler reads
    values[name] = odd
    try:
        payload = reference.encode(schema, message, values)
    except EncodeError:
        with pytest.raises(EncodeError) as refused:
            codec.pack_values(values)
        assert name in refused.value.place
    else:
        assert codec.pack_values(values) == payload
