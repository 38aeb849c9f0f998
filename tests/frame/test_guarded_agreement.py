"""Sealed frames and repair symbols: codec, reference and stranger agree over drawn schemas."""

from dataclasses import replace
from functools import partial
from random import Random
from typing import Any

import pytest
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st
from schema_texts import csv_of, toml_of
from stranger import Refused
from stranger_guarded import GuardedStranger
from strategies import schemas, values_for
from vector_entry import beside, codec_of, told

from packcodec.errors import DecodeError
from packcodec.frame import Codec, infer_counter, reference, reference_repair
from packcodec.frame.repair import Ring, Solver
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout
from packcodec.layout.checks import SEALS
from packcodec.layout.model import Layout
from packcodec.schema import read_schema
from packcodec.schema.model import Schema

SECRET = bytes(range(16))
LAST = (1 << 32) - 1
few = settings(
    max_examples=settings.default.max_examples // 4, phases=(Phase.explicit, Phase.generate)
)


def sealed(schema: Schema, seal: str) -> Schema:
    """The schema under a seal, with a header of whole bytes where it needs one."""
    frame = schema.frame
    bits = frame.tag_bits + frame.message_bits + frame.station_bits + frame.sequence_bits
    tag_bits = frame.tag_bits + (-bits % 8 if SEALS[seal].hides else 0)
    assume(tag_bits <= 32)
    return as_read(
        replace(schema, frame=replace(frame, tag_bits=tag_bits, check="auto", seal=seal))
    )


def as_read(schema: Schema) -> Schema:
    """As a schema file gives it: repaired messages in the order of their codes, for one."""
    return read_schema(toml_of(schema), csv_of(schema.species))


@pytest.mark.parametrize("seal", SEALS)
@few
@given(data=st.data())
def test_sealed_frames_are_made_and_read_alike(seal: str, data: st.DataObject) -> None:
    schema = sealed(data.draw(schemas(check="auto", repaired=True, most_fields=3)), seal)
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    counter = data.draw(st.integers(0, LAST))
    key = Key(SECRET)
    codec = Codec(compile_layout(schema), {station: key})
    message = data.draw(st.sampled_from(schema.messages))
    values = data.draw(values_for(schema, message))
    record = {"message": message.name, "values": values}
    frame = codec.encode(record, station=station, sequence=counter)
    assert frame == reference.encode(
        codec.layout, message.name, values, station=station, counter=counter, key=key
    )
    stranger = GuardedStranger(toml_of(schema), csv_of(schema.species))
    random = Random(data.draw(st.integers(0, 1 << 30)))
    changed = bytearray(frame)
    changed[random.randrange(len(frame))] ^= 1 << random.randrange(8)
    carried = {"station": station, "message": message.name, "sequence": counter & 0xFFFF}
    expected = min(max(counter + random.randrange(-300, 300), 0), LAST)
    for each in (frame, bytes(changed), frame[:-1]):
        entry = {"frame": each.hex(), "key": SECRET.hex(), "expected": expected, "carried": carried}
        ours = refused_or(partial(opened, codec.layout, entry))
        asked = partial(reference.read, codec.layout, each, key=key, expected=expected, **carried)
        assert refused_or(lambda asked=asked: asked().to_json()) == ours
        assert refused_or(partial(stranger.read, entry)) == ours


def opened(layout: Layout, entry: dict[str, Any]) -> dict[str, Any]:
    """With the key for whatever station the frame names."""
    codec = codec_of(layout, entry)
    return told(codec.open(bytes.fromhex(entry["frame"]), **beside(layout.schema, entry)))


def refused_or(decode: Any) -> Any:
    """What it gives, or the number of the reason."""
    try:
        return decode()
    except DecodeError as error:
        return int(error.reason)
    except Refused as error:
        return error.args[0]


@few
@given(data=st.data())
def test_symbols_are_made_read_and_solved_alike(data: st.DataObject) -> None:
    schema = as_read(data.draw(schemas(check="auto", repaired=True, most_fields=3)))
    codec = Codec(compile_layout(schema))
    repair = codec.layout.repair
    assume(repair is not None)
    assert repair is not None
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    first = data.draw(st.integers(0, LAST - 40))
    drawn = [(each, data.draw(values_for(schema, each))) for each in schema.messages]
    stranger = GuardedStranger(toml_of(schema), csv_of(schema.species))
    random = Random(data.draw(st.integers(0, 1 << 30)))
    ring, solver = Ring(repair, station), Solver(repair, station)
    sources: list[bytes] = []
    heard: dict[int, bytes] = {}
    fields: dict[int, tuple[int, bytes]] = {}
    found: dict[int, bytes] = {}
    expected = first
    for counter in range(first, first + 24):
        message, values = random.choice(drawn)
        record = {"message": message.name, "values": values}
        frame = codec.encode(record, station=station, sequence=counter, ring=ring)
        assert frame == reference.encode(
            codec.layout,
            message.name,
            values,
            station=station,
            counter=counter,
            ring=sources[-repair.repair.span :],
        )
        carried = {"station": station, "message": message.name}
        read = codec.open(frame, **carried)
        said = reference.read(codec.layout, frame, **carried)
        assert told(read) == said.to_json()
        assert told(read) == stranger.read({"frame": frame.hex(), "carried": carried})
        payload = reference.reference.encode_bits(schema, message, values)
        sources.append(reference_repair.source(codec.layout, message.code, payload))
        assert read.source == sources[-1]
        if random.random() < 0.3:
            continue
        heard[counter] = read.source
        if said.repair is not None:
            fields[counter] = said.repair
        sequence = counter % (1 << repair.sent_bits)
        assert infer_counter(expected, sequence, repair.sent_bits) == counter
        expected = counter + 1
        for each in solver.heard(counter, read.source, read.repair):
            found[each.counter] = each.source
    assert found == reference_repair.won_back(repair, station, heard, fields)
    for counter, source in found.items():
        assert source == sources[counter - first]


@given(st.integers(0, LAST), st.integers(0, LAST), st.integers(0, 32))
def test_the_whole_counter_is_alike(expected: int, sent: int, bits: int) -> None:
    sent %= 1 << bits
    assert infer_counter(expected, sent, bits) == reference.whole_counter(sent, expected, bits)
