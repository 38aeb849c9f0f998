"""Lists in modelled coding, in emitted Python and JavaScript.

Drawn schemas seldom lead there: species fall out of the latest and come back, lists go as sets and
not, tails end where nobody asks any more, and records are longer than any frame.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from fractions import Fraction
from random import Random
from typing import Any

import pytest
from every_kind import schema_of
from model_tables import with_models
from record_languages import NODE, FrozenPython, JavaScript, Language
from strategies import species_table

from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout
from packcodec.schema.model import Boolean, Duration, Field, Integer, ListOf, SpeciesCode, Time
from packcodec.schema.models import Models, PlaceTable

CODES = 40
AT = Time("at", 60, 172800)
SINCE = Duration("after", Fraction(60), Fraction(61380), since="previous")
OF_SPECIES = (
    SpeciesCode("species"),
    Integer("individuals", 1, 12),
    Boolean("near", optional=True),
    SpeciesCode("beside", optional=True),
)
SCHEMAS: dict[str, tuple[Field, ...]] = {
    "a tail": (AT, ListOf("seen", (SINCE, *OF_SPECIES), 0, 255)),
    "a tail of a few": (AT, ListOf("seen", (SINCE, *OF_SPECIES), 3, 12)),
    "sets": (AT, ListOf("visits", (Integer("n", 0, 9), ListOf("seen", OF_SPECIES, 0, 9)), 0, 9)),
    "counted": (AT, ListOf("visits", (ListOf("seen", (SINCE, *OF_SPECIES), 0, 9),), 0, 9)),
    "two species": (ListOf("seen", (SpeciesCode("one"), SpeciesCode("two")), 0, 60),),
}
in_each_language = pytest.mark.parametrize(
    "make",
    [
        pytest.param(FrozenPython, id="python"),
        pytest.param(
            JavaScript,
            id="javascript",
            marks=pytest.mark.skipif(NODE is None, reason="no Node (node) here"),
        ),
    ],
)
FAULTS = {Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH, Reason.NONZERO_PAD, Reason.NOT_CANONICAL}


def codec_of(name: str, seed: int | None) -> Codec:
    schema = schema_of(*SCHEMAS[name], check="auto")
    schema = replace(schema, coding="modelled", species=species_table(CODES - 3, CODES))
    return Codec(compile_layout(schema if seed is None else with_models(schema, seed)))


def value(field: Field, few: list[int], random: Random) -> Any:
    if field.optional and random.random() < 0.5:
        return None
    match field:
        case Time(step_s=step_s, span_s=span_s):
            return {"offset_s": random.randrange(0, span_s, step_s), "span_s": span_s}
        case Duration():
            return 60 * random.choice((0, 0, 1, 10, 1023, random.randrange(1024)))
        case SpeciesCode():
            return f"label {random.choice(few)}"
        case Integer(low=low, high=high):
            return random.choice((low, low, low + 1, high))
        case Boolean():
            return random.random() < 0.5
        case ListOf(least=least, most=most, fields=fields):
            wanted = min(random.choice((least, least + 1, 5, 20, 60)), most)
            rows = [values(fields, few, random) for _ in range(max(least, wanted))]
            if least == 0 and random.random() < 0.5:
                # As a set, if the list may be one.
                by_species = {row["species"]: row for row in rows if "species" in row}
                rows = [by_species[each] for each in sorted(by_species, key=number_of)] or rows
            return rows
    raise AssertionError(field)


def number_of(label: str) -> int:
    return int(label.removeprefix("label "))


def values(fields: tuple[Field, ...], few: list[int], random: Random) -> dict[str, Any]:
    return {field.name: value(field, few, random) for field in fields}


def with_faults(codec: Codec, frame: bytes, random: Random) -> Iterator[bytes]:
    """The frame, and others under a check that holds: bits changed, a byte more, a byte less."""
    octets = codec.layout.check.octets
    body = frame[:-octets]
    place = random.randrange(codec.layout.header_bits, 8 * len(body))
    changed = int.from_bytes(body, "big") ^ 1 << place - codec.layout.header_bits
    yield frame
    for each in (changed.to_bytes(len(body), "big"), body + b"\0", body[:-1]):
        check = codec.check(each, codec.layout.messages[0].message.code, 3)
        yield each + check.to_bytes(octets, "big")


@in_each_language
@pytest.mark.parametrize("seed", [None, 1, 2])
@pytest.mark.parametrize("name", SCHEMAS)
def test_lists_of_many_species_go_alike(
    make: Callable[[Layout], Language], name: str, seed: int | None
) -> None:
    codec, random = codec_of(name, seed), Random(seed or 0)
    records, framed, answers = [], [], []
    frames: list[tuple[bytes, Mapping[str, Any]]] = []
    for sequence in range(6):
        few = random.sample(range(CODES - 3), random.choice((1, 4, 6, 20)))
        told = values(codec.schema.messages[0].fields, few, random)
        records.append({"message": "m", "station": 3, "sequence": sequence, "values": told})
        frame = codec.encode(records[-1])
        framed.append(frame.hex())
        for each in with_faults(codec, frame, random):
            frames.append((each, {"station": 3}))
            try:
                answers.append(codec.decode(each, station=3).to_json())
            except DecodeError as error:
                answers.append({"reason": int(error.reason)})
    language = make(codec.layout)
    assert language.encode(records) == framed
    for (frame, _), ours, theirs in zip(frames, answers, language.decode(frames), strict=True):
        if "reason" in ours:
            # A payload with two faults may be refused for either.
            reasons = {ours["reason"], theirs["reason"]}
            assert len(reasons) == 1 or reasons <= FAULTS, frame.hex()
        else:
            assert theirs == ours, frame.hex()


@in_each_language
def test_a_record_longer_than_any_frame_is_refused(make: Callable[[Layout], Language]) -> None:
    codec, random = codec_of("a tail", None), Random(0)
    row = values((SINCE, *OF_SPECIES), list(range(CODES - 3)), random)
    language = make(codec.layout)

    def of(elements: int) -> dict[str, Any]:
        told = {"at": {"offset_s": 0, "span_s": 172800}, "seen": elements * [row]}
        return {"message": "m", "station": 3, "sequence": 0, "values": told}

    fits = [each for each in range(256) if frame_of(codec, of(each))]
    assert 0 < max(fits) < 255
    longest = codec.encode(of(max(fits)))
    assert language.encode([of(max(fits)), of(max(fits) + 1)]) == [longest.hex(), None]
    assert "bytes: say fewer list elements" in language.problem


@in_each_language
def test_a_size_at_whose_end_nobody_would_ask_is_passed_over(
    make: Callable[[Layout], Language],
) -> None:
    """Zeros cost about a bit each, and eight more where it is asked whether there is one more.

    So what a few bytes would hold takes more, and at the end of more nobody would ask.
    """
    rows = ListOf("rows", (Integer("n", 0, 255),), 0, 60)
    likely_zero = PlaceTable("message.m.rows[].n", (bytes([170] + [128] * 17),))
    no_more = PlaceTable("message.m.rows more", (bytes([255, 0]),) * ROOM_ROWS, ("room",))
    models = Models((), (no_more, likely_zero))
    schema = replace(schema_of(rows, check="auto"), coding="modelled", models=models)
    codec = Codec(compile_layout(schema))
    octets = codec.layout.check.octets
    records, framed, plain = [], [], 0
    for sequence in range(16):
        values = {"rows": sequence * [{"n": 0}]}
        records.append({"message": "m", "station": 3, "sequence": sequence, "values": values})
        frame = codec.encode(records[-1])
        framed.append(frame.hex())
        bits = "".join(f"{octet:08b}" for octet in frame[:-octets])
        plain += bits.startswith(PLAIN_BITS * "1", codec.layout.header_bits)
    assert plain > 0
    language = make(codec.layout)
    assert language.encode(records) == framed
    read = language.decode([(bytes.fromhex(frame), {"station": 3}) for frame in framed])
    assert [each["values"] for each in read] == [each["values"] for each in records]


def frame_of(codec: Codec, record: dict[str, Any]) -> bytes | None:
    try:
        return codec.encode(record)
    except EncodeError:
        return None
