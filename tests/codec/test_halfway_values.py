"""A float between two codes goes to the one that exact arithmetic says, however near the middle."""

from fractions import Fraction
from math import inf, nextafter

from every_kind import schema_of
from hypothesis import given
from hypothesis import strategies as st

from packcodec.codec import PayloadCodec, reference
from packcodec.layout import compile_layout
from packcodec.schema.model import Scaled

STEPS = st.builds(Fraction, st.integers(1, 5000), st.sampled_from([1, 3, 10, 64, 1000, 10**7]))
LOWS = st.builds(Fraction, st.integers(-(10**9), 10**9), st.sampled_from([1, 3, 8, 1000]))


@given(
    low=LOWS,
    step=STEPS,
    codes=st.one_of(st.integers(2, 40), st.integers(2, 1 << 40)),
    data=st.data(),
)
def test_every_float_goes_where_exact_arithmetic_says(
    low: Fraction, step: Fraction, codes: int, data: st.DataObject
) -> None:
    field = Scaled("level", low, low + step * (codes - 1), step, True, True)
    schema = schema_of(field)
    [message] = compile_layout(schema).messages
    codec = PayloadCodec(compile_layout(schema), message)
    code = data.draw(st.integers(-1, codes))
    value = float(low + step * (code + Fraction(1, 2)))
    for _ in range(data.draw(st.integers(0, 3))):
        value = nextafter(value, data.draw(st.sampled_from([-inf, inf])))
    exact = ((Fraction(value) - low) / step + Fraction(1, 2)).__floor__()
    x, _ = codec.pack_bits(value)
    assert x == min(max(exact, 0), codes - 1)
    assert codec.pack(value) == reference.encode(schema, message.message, {"level": value})
