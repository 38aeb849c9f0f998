"""What the check catches, by damaging real frames of the demo's schema and decoding them."""

from collections.abc import Iterable
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from random import Random
from typing import Any

import pytest
from plain_values import plain_values

import packcodec
from packcodec.errors import DecodeError, Reason
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Schema

DEMO = Path(packcodec.__file__).parent / "edge" / "demo_data" / "schema.toml"
CODEC = packcodec.load(DEMO)


def frame_of(codec: Codec, message: str, optional: bool = True, rows: int = 1, **to: int) -> bytes:
    (fields,) = (one.fields for one in codec.schema.messages if one.name == message)
    values = plain_values(codec.schema, fields, optional=optional, rows=rows)
    said = {"station": 3, "sequence": 700, **to}
    return codec.encode({"message": message, "values": values}, **said)


def every_length(codec: Codec) -> list[bytes]:
    """A frame of each length that a message can have with all or none of its optional fields."""
    frames = {
        (message.name, len(frame)): frame
        for message in codec.schema.messages
        for optional in (False, True)
        for rows in range(16)
        for frame in [frame_of(codec, message.name, optional, rows)]
    }
    return list(frames.values())


FRAMES = every_length(CODEC)


def flipped(frame: bytes, bits: Iterable[int]) -> bytes:
    number = int.from_bytes(frame, "big")
    for bit in bits:
        number ^= 1 << bit
    return number.to_bytes(len(frame), "big")


def refusal_of(codec: Codec, frame: bytes, **carried: Any) -> Reason | None:
    try:
        codec.decode(frame, **carried)
    except DecodeError as error:
        return error.reason
    return None


def test_the_frames_are_the_demo_lengths() -> None:
    lengths = {len(frame) for frame in FRAMES}
    for message in CODEC.layout.messages:
        assert {message.least_frame_bytes, message.most_frame_bytes} <= lengths
    assert all(CODEC.decode(frame).station == 3 for frame in FRAMES)


@pytest.mark.parametrize("frame", FRAMES, ids=len)
def test_no_frame_with_one_or_two_flipped_bits_decodes(frame: bytes) -> None:
    places = range(8 * len(frame))
    for bits in (*((place,) for place in places), *combinations(places, 2)):
        reason = refusal_of(CODEC, flipped(frame, bits))
        assert reason in (Reason.FAILED_CHECK, Reason.UNKNOWN_TAG), bits


@pytest.mark.parametrize("frame", FRAMES, ids=len)
def test_no_frame_with_three_flipped_bits_decodes(frame: bytes) -> None:
    """A seeded sample; tests/layout/test_checks.py has the proof for up to five."""
    random, places = Random(len(frame)), range(8 * len(frame))
    for _ in range(3000):
        bits = random.sample(places, 3)
        assert refusal_of(CODEC, flipped(frame, bits)) is not None, bits


@pytest.mark.parametrize("frame", FRAMES, ids=len)
def test_no_frame_with_a_burst_as_long_as_the_check_decodes(frame: bytes) -> None:
    random, burst = Random(len(frame)), CODEC.layout.check.bits
    for start in range(8 * len(frame) - burst + 1):
        for _ in range(10):
            pattern = random.getrandbits(burst) | 1
            bits = [start + place for place in range(burst) if pattern >> place & 1]
            assert refusal_of(CODEC, flipped(frame, bits)) is not None, (start, pattern)


@pytest.mark.parametrize("frame", FRAMES, ids=len)
def test_no_frame_decodes_with_zero_bytes_added_or_cut(frame: bytes) -> None:
    check = CODEC.layout.check.octets
    for zeros in (bytes(n) for n in range(1, 9)):
        for damaged in (frame + zeros, zeros + frame, frame[:-check] + zeros + frame[-check:]):
            assert refusal_of(CODEC, damaged) is not None
    for cut in range(1, len(frame)):
        assert refusal_of(CODEC, frame[:-cut]) is not None
        assert refusal_of(CODEC, frame[cut:]) is not None


def test_zeros_alone_and_ones_alone_are_no_frame() -> None:
    for length in range(1, 60):
        assert refusal_of(CODEC, bytes(length)) is not None
        assert refusal_of(CODEC, b"\xff" * length) is not None


def schema_with(**widths: int) -> Schema:
    return replace(CODEC.schema, frame=replace(CODEC.schema.frame, **widths))


def test_a_frame_read_with_another_schema_fails_even_without_a_tag() -> None:
    schema = schema_with(tag_bits=0)
    codec = Codec(compile_layout(schema))
    frame = frame_of(codec, "sighting")
    later = Codec(compile_layout(replace(schema, version=2)))
    assert refusal_of(codec, frame) is None
    assert refusal_of(later, frame) is Reason.FAILED_CHECK


def test_a_frame_read_with_another_tag_says_so() -> None:
    later = Codec(compile_layout(replace(CODEC.schema, version=2)))
    assert later.layout.tag != CODEC.layout.tag
    assert refusal_of(later, FRAMES[0]) is Reason.UNKNOWN_TAG


def test_a_frame_read_for_another_station_fails_where_the_carrier_says_it() -> None:
    codec = Codec(compile_layout(schema_with(station_bits=0)))
    frame = frame_of(codec, "sighting", station=7)
    assert codec.decode(frame, station=7).station == 7
    for other in (0, 3, 6, 7 + (1 << 8), 7 + (1 << 31)):
        assert refusal_of(codec, frame, station=other) is Reason.FAILED_CHECK


def test_a_frame_read_as_another_message_fails_where_the_carrier_says_it() -> None:
    codec = Codec(compile_layout(schema_with(message_bits=0)))
    frame = frame_of(codec, "health")
    assert codec.decode(frame, message="health").message == "health"
    for other in ("sighting", "summary"):
        assert refusal_of(codec, frame, message=other) is Reason.FAILED_CHECK
