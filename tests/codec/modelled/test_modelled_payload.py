"""Modelled payloads of any schema: round trip, one payload a record, any bytes refused or read."""

from contextlib import suppress
from dataclasses import replace

import pytest
from every_kind import EVERY, VALUES, schema_of
from hypothesis import given
from hypothesis import strategies as st
from model_tables import with_models
from strategies import schemas, species_table, values_for

from packcodec.codec import PayloadCodec, to_json
from packcodec.codec.modelled import ModelledPayload
from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.codec.modelled.defaults import default_species
from packcodec.errors import DecodeError, EncodeError, LayoutError, Reason
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Boolean, Enumeration, Field, Integer, ListOf, Schema, SpeciesCode
from packcodec.schema.models import Models, PlaceTable

# With the format's own tables, and with any others.
MODELLED = st.builds(
    lambda schema, seed: with_models(schema, seed) if seed else schema,
    schemas(coding="modelled", check="auto"),
    st.integers(0, 1 << 32),
)


def payload_of(schema: Schema) -> ModelledPayload:
    layout = compile_layout(schema)
    return ModelledPayload(layout, layout.messages[0])


@given(schema=MODELLED, data=st.data())
def test_what_goes_in_comes_out_as_from_fixed_coding(schema: Schema, data: st.DataObject) -> None:
    modelled = payload_of(schema)
    fixed = PayloadCodec(compile_layout(schema), modelled.message)
    values = data.draw(
        values_for(schema, modelled.message.message, wrap_spans=3, beyond_clamps=True)
    )
    payload = modelled.pack_values(values)
    plain = fixed.pack_values(values)
    read = modelled.unpack_values(payload)
    assert read == fixed.unpack_values(plain)
    assert modelled.pack_values(to_json(read)) == payload
    assert len(payload) <= len(plain) + 1


@given(schema=MODELLED, data=st.data())
def test_any_bytes_are_a_record_or_an_error(schema: Schema, data: st.DataObject) -> None:
    modelled = payload_of(schema)
    payload = data.draw(st.binary(max_size=40))
    try:
        values = modelled.unpack_values(payload)
    except DecodeError:
        return
    assert modelled.pack_values(values) == payload


@given(schema=MODELLED, data=st.data())
def test_frames_join_header_and_payload(schema: Schema, data: st.DataObject) -> None:
    layout = compile_layout(schema)
    codec = Codec(layout)
    laid_out = layout.messages[0]
    values = data.draw(values_for(schema, laid_out.message))
    said = {"message": laid_out.name, "values": values}
    frame = codec.encode(said, station=0, sequence=0)
    assert laid_out.least_frame_bytes <= len(frame) <= laid_out.most_frame_bytes
    record = codec.decode(frame, station=0, message=laid_out.name)
    assert codec.encode(record, station=0, sequence=0) == frame
    bits, n = codec.payloads[laid_out.name].pack_bits(
        *codec.payloads[laid_out.name].ordered(values)
    )
    assert len(frame) == (layout.header_bits + n + 7) // 8 + layout.check.octets
    assert bits < 1 << n or n == 0


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_every_kind_in_every_place(schema: Schema, values: dict[str, object], seed: int) -> None:
    modelled = payload_of(with_models(replace(schema, coding="modelled"), seed))
    read = modelled.unpack_values(modelled.pack_values(values))
    assert modelled.pack_values(read) == modelled.pack_values(values)
    assert read == modelled.fixed.unpack_values(modelled.fixed.pack_values(values))


@pytest.mark.parametrize("species", [(0, 40), (-1, 3)])
def test_models_of_another_species_table_are_refused(species: tuple[int, ...]) -> None:
    schema = replace(EVERY[0], coding="modelled", models=Models(species, ()))
    with pytest.raises(LayoutError, match="know a species") as refused:
        payload_of(schema)
    assert refused.value.place == "models species"


@given(schema=MODELLED, data=st.data())
def test_zero_bytes_at_the_end_are_another_payload(schema: Schema, data: st.DataObject) -> None:
    """A frame says how long it is, so a longer one is never the same record."""
    modelled = payload_of(schema)
    values = data.draw(values_for(schema, modelled.message.message))
    payload = modelled.pack_values(values)
    try:
        other = modelled.unpack_values(payload + b"\0")
    except DecodeError:
        return
    assert other != modelled.unpack_values(payload)


def test_a_species_that_was_new_is_not_new_once_more() -> None:
    listed = ListOf("rows", (SpeciesCode("species"),), 2, 2)
    drawn = replace(schema_of(listed, check="auto"), species=species_table(1, 9))
    path = "message.m.rows[].species"
    # An unknown one is so likely, and one had before so unlikely, that a byte could say it twice.
    new = PlaceTable(f"{path} new", (bytes([0, 255]),))
    recent = PlaceTable(f"{path} recent", (bytes([0, 0, 0, 0, 255]),))
    set_ = PlaceTable("message.m.rows set", (bytes([255, 0]),))
    models = Models(default_species(drawn), (set_, new, recent))
    modelled = payload_of(replace(drawn, coding="modelled", models=models))
    for payload in (bytes([each]) for each in range(256)):
        with suppress(DecodeError):
            assert modelled.pack_values(modelled.unpack_values(payload)) == payload


def alike(field: Field) -> ModelledPayload:
    """The payload of one field whose values are all alike."""
    drawn = replace(schema_of(field, check="auto"), coding="modelled")
    models = Models(default_species(drawn), (PlaceTable("message.m.n", ()),))
    return payload_of(replace(drawn, models=models))


def test_a_float_is_no_whole_number() -> None:
    with pytest.raises(EncodeError, match=r"n: is 3\.0; it takes a whole number"):
        alike(Integer("n", 0, 1000)).pack_values({"n": 3.0})


@pytest.mark.parametrize(
    ("field", "payload"),
    [
        # What the first range has over a whole multiple of 5; one more than 100,000.
        (Enumeration("n", tuple("abcde")), b"\xfb\xff\xff\xff"),
        (Integer("n", 0, 100_000), alike(Integer("n", 0, 100_001)).pack_values({"n": 100_001})),
    ],
)
def test_a_code_past_the_highest_is_refused(field: Field, payload: bytes) -> None:
    with pytest.raises(DecodeError) as refused:
        alike(field).unpack_values(payload)
    assert refused.value.reason == Reason.NOT_CANONICAL


@pytest.mark.parametrize("number", [2, 3])
def test_a_species_that_the_models_do_not_know_is_told_by_its_code(number: int) -> None:
    drawn = replace(schema_of(SpeciesCode("species")), species=species_table(number, number))
    modelled = payload_of(replace(drawn, coding="modelled", models=Models((0,), ())))
    for values in ({"species": f"label {code}"} for code in range(number)):
        assert modelled.unpack_values(modelled.pack_values(values)) == values


@pytest.mark.parametrize("rare", [11, 22])
def test_likely_rows_after_an_unlikely_one_are_read(rare: int) -> None:
    """More of them than a decoder's last states, in less than the room that is ample."""
    listed = ListOf("rows", (Boolean("b"),), 0, 40)
    more = PlaceTable("message.m.rows more", (bytes([100, 180]),) * ROOM_ROWS, ("room",))
    value = PlaceTable("message.m.rows[].b", (bytes([255, 0]),))
    drawn = schema_of(listed, check="auto", tag_bits=0)
    models = Models(default_species(drawn), (more, value))
    modelled = payload_of(replace(drawn, coding="modelled", models=models))
    values = {"rows": [{"b": at in (0, rare)} for at in range(40)]}
    assert modelled.unpack_values(modelled.pack_values(values)) == values
