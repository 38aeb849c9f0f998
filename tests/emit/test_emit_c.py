"""Emitted C against the compiled Python codec: compiled strictly, run with sanitizers."""

import json
import shutil
import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from c_program import COMPILER, SANITIZERS, WARNINGS, ask, build, carried, write
from drawn_models import with_models
from every_kind import EVERY, VALUES, schema_of
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from strategies import schemas, values_for
from whole_values import flat

from packcodec.edge.files import load
from packcodec.emit import emit
from packcodec.errors import DecodeError, LayoutError
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema import read_schema
from packcodec.schema.model import (
    Boolean,
    Field,
    Flags,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    Time,
)

DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data" / "schema.toml"

needs_compiler = pytest.mark.skipif(COMPILER is None, reason="no C compiler (gcc or clang)")


def expected(codec: Codec, frame: bytes, station: int, message: Message) -> str:
    """What the program is to answer to a frame."""
    schema = codec.schema
    try:
        record = codec.decode(frame, station=station, message=message.name)
    except DecodeError as error:
        return str(int(error.reason))
    found = next(each for each in schema.messages if each.name == record.message)
    values = flat(schema, found.fields, record.values)
    numbers = [found.code, record.station, record.sequence or 0, *values]
    return " ".join(["0", *map(str, numbers)])


def lines_for(codec: Codec, data: st.DataObject, examples: int) -> tuple[list[str], list[str]]:
    """Questions to the program and the answers it must give: records, frames and damage."""
    schema = codec.schema
    asked, answers = [], []
    for message in schema.messages:
        for _ in range(examples):
            values = data.draw(values_for(schema, message))
            station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
            sequence = data.draw(st.integers(0, (1 << 32) - 1))
            frame = codec.encode(
                {"message": message.name, "values": values}, station=station, sequence=sequence
            )
            numbers = flat(schema, message.fields, values)
            asked.append(" ".join(map(str, [f"e {message.code}", station, sequence, *numbers])))
            answers.append(f"0 {frame.hex()}")
            for variant in (frame, *damaged(codec, frame, station, message, data)):
                asked.append(f"d {message.code} {station} {variant.hex()}")
                answers.append(expected(codec, variant, station, message))
    return asked, answers


def damaged(
    codec: Codec, frame: bytes, station: int, message: Message, data: st.DataObject
) -> list[bytes]:
    """Frames with faults, most of them under a check made good again."""
    random = Random(data.draw(st.integers(0, 1 << 30)))
    octets = codec.layout.check.octets
    body = frame[:-octets]
    others = [frame[:-1], frame + b"\0", random.randbytes(random.randrange(40))]
    for _ in range(4):
        changed = bytearray(body)
        for _ in range(random.choice([1, 1, 3])):
            place = random.randrange(8 * len(changed)) if changed else 0
            if changed:
                changed[place // 8] ^= 128 >> place % 8
        others.append(bytes(changed) + frame[-octets:])
        others.append(checked(codec, bytes(changed), station, message))
    others += [checked(codec, each, station, message) for each in (body[:-1], body + b"\0")]
    return others


def checked(codec: Codec, body: bytes, station: int, message: Message) -> bytes:
    """A frame of these bytes under a check that holds."""
    frame = codec.schema.frame
    if 8 * len(body) < codec.layout.header_bits:
        return body
    header = int.from_bytes(body, "big") >> (8 * len(body) - codec.layout.header_bits)
    header >>= frame.sequence_bits
    if frame.station_bits:
        station = header & ((1 << frame.station_bits) - 1)
    check = codec.check(body, message.code, station)
    return body + check.to_bytes(codec.layout.check.octets, "big")


@needs_compiler
# Every example is compiled: none is made smaller once one has failed.
@settings(
    max_examples=settings.default.max_examples // 8,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@given(schema=schemas(check="auto").filter(carried), data=st.data())
def test_any_schema_is_encoded_decoded_and_refused_alike(
    schema: Schema, data: st.DataObject
) -> None:
    compare(schema, data)


@needs_compiler
@settings(
    max_examples=settings.default.max_examples // 8,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@given(
    schema=schemas(coding="modelled", check="auto").filter(carried),
    data=st.data(),
    seed=st.one_of(st.none(), st.integers(0, 1 << 30)),
)
def test_any_modelled_schema_is_encoded_decoded_and_refused_alike(
    schema: Schema, data: st.DataObject, seed: int | None
) -> None:
    """By the default tables, and by drawn ones with every context that a place may have."""
    compare(schema if seed is None else with_models(schema, seed), data)


def compare(schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    asked, answers = lines_for(codec, data, examples=4)
    with TemporaryDirectory() as folder:
        program = build(codec.layout, Path(folder), "-O1", *SANITIZERS)
        theirs = ask(program, asked)
    for question, ours, answer in zip(asked, answers, theirs, strict=True):
        assert agree(ours, answer), (question, ours, answer)


def agree(ours: str, theirs: str) -> bool:
    """Equal; a payload with two faults may be refused for either (spec, "Errors")."""
    return ours == theirs or {ours, theirs} == {"1", "4"}


def narrowed(schema: Schema) -> Schema:
    """The same with integers of 64 bits at most."""
    (message,) = schema.messages
    fields = tuple(
        replace(field, low=0) if isinstance(field, Integer) and field.high >> 63 else field
        for field in message.fields
    )
    return replace(schema, messages=(replace(message, fields=fields),))


@needs_compiler
@pytest.mark.parametrize("at", range(len(EVERY)))
def test_every_kind_of_field(at: int, tmp_path: Path) -> None:
    schema, values = narrowed(EVERY[at]), VALUES[at]
    codec = Codec(compile_layout(schema))
    message = schema.messages[0]
    frame = codec.encode({"message": "m", "values": values}, station=3, sequence=70_000)
    numbers = " ".join(map(str, flat(schema, message.fields, values)))
    program = build(codec.layout, tmp_path, "-O1", *SANITIZERS)
    assert ask(program, [f"e 0 3 70000 {numbers}", f"d 0 3 {frame.hex()}"]) == [
        f"0 {frame.hex()}",
        expected(codec, frame, 3, message),
    ]


QUANTITIES = schema_of(
    Integer("clamped", -3, 40, True, True),
    Integer("plain", 1, 8),
    Scaled("level", Fraction(1, 4), Fraction(1), Fraction(1, 20), True, False),
    Scaled("even", Fraction(0), Fraction(100), Fraction(4)),
    Time("at", 60, 86400, "wrap"),
    Time("season", 3600, 15811200, "reject"),
    Flags("state", ("one", "two", "three")),
)
FITTING = (17, 4, 50, 8, 3600, 7200, 5)


@needs_compiler
@pytest.mark.parametrize(
    ("at", "given_", "sent"),
    [
        (0, -30_000, -3),
        (0, 30_000, 40),
        (1, 0, None),
        (1, 9, None),
        (2, -5, 25),
        (2, 27, 25),
        (2, 28, 30),
        (2, 102, 100),
        (2, 103, None),
        (3, 1, 0),
        (3, 2, 4),
        (3, 101, 100),
        (3, 102, None),
        (4, 86400 + 61, 60),
        (5, 15811199, 15807600),
        (5, 15811200, None),
        (6, 8, None),
    ],
)
def test_a_value_is_rounded_clamped_or_refused(
    at: int, given_: int, sent: int | None, quantities: Path
) -> None:
    numbers = list(FITTING)
    numbers[at] = given_
    (answer,) = ask(quantities, [f"e 0 1 2 {' '.join(map(str, numbers))}"])
    if sent is None:
        assert answer == "4"
        return
    (decoded,) = ask(quantities, [f"d 0 0 {answer.removeprefix('0 ')}"])
    assert int(decoded.split()[4 + at]) == sent


@pytest.fixture(scope="module")
def quantities(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("quantities")
    return build(compile_layout(QUANTITIES), folder, "-O1", *SANITIZERS)


@needs_compiler
def test_a_list_that_is_too_long_is_refused_whatever_the_build_trusts(tmp_path: Path) -> None:
    schema = schema_of(ListOf("rows", (Boolean("lid"),), 1, 3))
    layout = compile_layout(schema)
    trusting = "-DEVERY_KIND_TRUST_VALUES"
    program = build(layout, tmp_path, "-O1", trusting, "-fsanitize=undefined")
    # The program's own reading would run past the array: the count alone is given.
    assert ask(program, ["e 0 1 2 0"]) == ["4"]


STRICT = [
    pytest.param((name, *options), id=name)
    for name, *options in (
        ("gcc", "-O2"),
        ("clang", "-O2"),
        ("arm-none-eabi-gcc", "-mcpu=cortex-m0plus", "-mthumb", "-Os"),
    )
]


@pytest.mark.parametrize("compiler", STRICT)
@pytest.mark.parametrize("trusting", [(), ("-DSEDGEMERE_TRUST_VALUES",)])
def test_the_demo_compiles_without_a_warning(
    compiler: tuple[str, ...], trusting: tuple[str, ...], tmp_path: Path
) -> None:
    if shutil.which(compiler[0]) is None:
        pytest.skip(f"no {compiler[0]} here")
    source = write(load(DEMO).layout, tmp_path)
    subprocess.run(
        [*compiler, *WARNINGS, *trusting, "-c", source, "-o", tmp_path / "o"], check=True
    )


@pytest.mark.parametrize("compiler", STRICT)
def test_no_schema_of_the_vectors_gives_a_warning(
    compiler: tuple[str, ...], tmp_path: Path
) -> None:
    """Whether the build trusts values or not."""
    if shutil.which(compiler[0]) is None:
        pytest.skip(f"no {compiler[0]} here")
    files = sorted((Path(__file__).parents[2] / "spec" / "vectors").rglob("*.json"))
    assert len(files) > 15
    for file in files:
        vectors = json.loads(file.read_text(encoding="utf-8"))
        models = vectors.get("models", "")
        schema = read_schema(vectors["schema"], vectors["species"], models_toml=models)
        try:
            source = write(compile_layout(schema), tmp_path)
        except LayoutError:
            continue
        for trusting in ((), (f"-D{schema.name.upper()}_TRUST_VALUES",)):
            command = [compiler[0], *WARNINGS, *trusting, "-fsyntax-only", source]
            subprocess.run(command, check=True)


def test_the_header_is_valid_c_plus_plus(tmp_path: Path) -> None:
    compiler = next(filter(shutil.which, ("g++", "clang++")), None)
    if compiler is None:
        pytest.skip("no C++ compiler here")
    write(load(DEMO).layout, tmp_path)
    source = tmp_path / "user.cpp"
    source.write_text('#include "sedgemere.h"\nint main() { return SEDGEMERE_OK; }\n')
    options = ("-std=c++11", "-Wall", "-Wextra", "-Wpedantic", "-Werror", "-fsyntax-only")
    subprocess.run([compiler, *options, source], check=True)


def test_words_of_c_and_names_that_meet_get_underscores() -> None:
    schema = schema_of(
        Boolean("double", optional=True),
        Boolean("has_double"),
        ListOf("rows", (Integer("linux", 0, 1),), 0, 1),
        Integer("rows_count", 0, 1),
    )
    text = emit(compile_layout(schema), "c")["every_kind.h"]
    struct = text[text.index("struct every_kind_m {") :]
    members = [line.split(";")[0].split()[-1] for line in struct.splitlines()[1:9] if ";" in line]
    assert members == [
        "has_double_",
        "double_",
        "has_double",
        "rows_count_",
        "linux_",
        "rows[1]",
        "rows_count",
    ]


FINE = 10**6 + Fraction(1, 10**9)


@pytest.mark.parametrize(
    "field",
    [
        Integer("after", -1, (1 << 64) - 1),
        Scaled("after", Fraction(0), 10**6 * FINE, FINE),
    ],
)
def test_what_64_bits_cannot_hold_is_refused_by_name(field: Field) -> None:
    with pytest.raises(LayoutError, match=r"message\.m\.after: .*64-bit.*narrow") as refused:
        emit(compile_layout(schema_of(field)), "c")
    assert refused.value.place == "message.m.after"


def test_a_note_cannot_end_its_comment(tmp_path: Path) -> None:
    schema = schema_of(Boolean("lid", note="a */ int x; /* b ??/ c \\"))
    source = write(compile_layout(schema), tmp_path)
    if COMPILER is None:
        pytest.skip("no C compiler (gcc or clang)")
    subprocess.run([COMPILER, *WARNINGS, "-c", source, "-o", tmp_path / "o"], check=True)
