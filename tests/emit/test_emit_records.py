"""Emitted Python and JavaScript, which speak records as JSON, against the compiled Python codec."""

import json
import subprocess
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from random import Random
from typing import Any

import pytest
from drawn_models import with_models
from every_kind import EVERY, VALUES, schema_of
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from record_languages import NODE, FrozenPython, JavaScript, Language, python_of
from strategies import schemas, values_for

from packcodec.codec import to_json
from packcodec.emit import emit
from packcodec.errors import CarrierError, DecodeError, EncodeError, LayoutError, Reason
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Field, Integer, ListOf, Scaled, Schema

# Every example starts an interpreter: none is made smaller once one has failed.
GENERATE = (Phase.explicit, Phase.generate)

Make = Callable[[Any], Language]

LANGUAGES = [
    pytest.param(FrozenPython, id="python"),
    pytest.param(
        JavaScript,
        id="javascript",
        marks=pytest.mark.skipif(NODE is None, reason="no Node (node) here"),
    ),
]
TARGETS = {FrozenPython: "python", JavaScript: "javascript"}


def carried(schema: Schema, make: Make) -> bool:
    try:
        emit(compile_layout(schema), TARGETS[make])  # type: ignore[index]
    except LayoutError:
        return False
    return True


def expected(codec: Codec, frame: bytes, said: dict[str, Any]) -> Any:
    """What Python makes of a frame: the record as JSON data, or its reason (None: the carrier)."""
    try:
        return codec.decode(frame, **said).to_json()
    except DecodeError as error:
        return {"reason": int(error.reason)}
    except CarrierError:
        return {"reason": None}


def agree(ours: Any, theirs: Any) -> bool:
    """Equal; a payload with two faults may be refused for either (spec, "Errors")."""
    if "reason" in ours and "reason" in theirs:
        faults = {Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH, Reason.NOT_CANONICAL}
        given = {ours["reason"], theirs["reason"]}
        return len(given) == 1 or given <= faults
    return bool(ours == theirs)


def variants(codec: Codec, frame: bytes, station: int, code: int, random: Random) -> list[bytes]:
    """The frame, and frames with faults, half of them under a check that holds."""
    octets, frame_widths = codec.layout.check.octets, codec.schema.frame
    body = frame[:-octets]
    found = [frame, frame[:-1], frame + b"\0", random.randbytes(random.randrange(30))]
    for _ in range(6):
        changed = bytearray(body)
        for _ in range(random.choice([1, 1, 3])):
            if changed:
                place = random.randrange(8 * len(changed))
                changed[place // 8] ^= 128 >> place % 8
        found.append(bytes(changed) + frame[-octets:])
        for cut in (bytes(changed), bytes(changed[:-1]), bytes(changed) + b"\0"):
            if 8 * len(cut) < codec.layout.header_bits:
                continue
            header = int.from_bytes(cut, "big") >> (8 * len(cut) - codec.layout.header_bits)
            header >>= frame_widths.sequence_bits
            who = header & ((1 << frame_widths.station_bits) - 1)
            check = codec.check(cut, code, who if frame_widths.station_bits else station)
            found.append(cut + check.to_bytes(octets, "big"))
    return found


@pytest.mark.parametrize("make", LANGUAGES)
@settings(max_examples=settings.default.max_examples // 4, phases=GENERATE)
@given(data=st.data())
def test_any_schema_is_encoded_decoded_and_refused_alike(make: Make, data: st.DataObject) -> None:
    schema = data.draw(schemas(check="auto").filter(lambda schema: carried(schema, make)))
    compare(schema, make, data)


@pytest.mark.parametrize("make", LANGUAGES)
@settings(max_examples=settings.default.max_examples // 4, phases=GENERATE)
@given(data=st.data(), seed=st.one_of(st.none(), st.integers(0, 1 << 30)))
def test_any_modelled_schema_is_encoded_decoded_and_refused_alike(
    make: Make, data: st.DataObject, seed: int | None
) -> None:
    """By the default tables, and by drawn ones with every context that a place may have."""
    drawn = schemas(coding="modelled", check="auto")
    schema = data.draw(drawn.filter(lambda schema: carried(schema, make)))
    compare(schema if seed is None else with_models(schema, seed), make, data)


def compare(schema: Schema, make: Make, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    language = make(codec.layout)
    random = Random(data.draw(st.integers(0, 1 << 30)))
    records, frames, answers = [], [], []
    for message in schema.messages:
        for wanted in range(3):
            values = data.draw(values_for(schema, message, wrap_spans=3, beyond_clamps=True))
            station = random.randrange(1 << (schema.frame.station_bits or 32))
            record = {
                "message": message.name,
                "station": station,
                "sequence": random.randrange(1 << 32),
                "values": to_json(values),
            }
            frame = codec.encode(record)
            records.append((record, frame.hex()))
            received = schema.epoch + timedelta(seconds=random.randrange(1 << 31))
            for variant in variants(codec, frame, station, message.code, random):
                said = {"station": station, "message": message.name}
                told: dict[str, Any] = dict(said)
                if wanted:
                    said["received"], told["received"] = received, received.isoformat()
                frames.append((variant, told))
                answers.append(expected(codec, variant, said))
    assert language.encode([record for record, _ in records]) == [frame for _, frame in records]
    for (frame, told), ours, theirs in zip(frames, answers, language.decode(frames), strict=True):
        assert agree(ours, theirs), (frame.hex(), told, ours, theirs)


QUANTITIES: tuple[Field, ...] = tuple(
    field for schema in EVERY[:2] for field in schema.messages[0].fields[:2]
)
ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-300, 300),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=3),
    st.sampled_from(
        [
            "label 1",
            "#0",
            "#39",
            "#40",
            "#-1",
            "#01",
            "solar",
            "restarted",
            "2027-04-01T00:00:00Z",
            "2027-04-01T02:59:59.999999+02:00",
            "2027-04-01T00:00:00",
            {"at_least": 40},
            {"at_least": 39},
            {"at_most": -3},
            {"at_most": -2},
            {"at_most": -2.5},
            {"at_least": 3.0},
            {"at_least": 60},
            {"at_least": "high"},
            {"offset_s": 3659, "span_s": 86400},
            {"offset_s": 86400, "span_s": 86400},
            {"offset_s": 0, "span_s": 60},
            [],
            ["moved", "restarted"],
            ["moved", "moved"],
            ["dug_up"],
            {},
        ]
    ),
)


def is_fraction(field: Field, value: Any) -> bool:
    """JSON knows one kind of number: 5.0 is an integer to a language that has no other."""
    return isinstance(field, Integer) and isinstance(value, float)


@pytest.mark.parametrize("make", LANGUAGES)
@pytest.mark.parametrize("at", [0, 1])
@settings(max_examples=settings.default.max_examples // 8, phases=GENERATE)
@given(odd=st.lists(ODD, min_size=20, max_size=20), beyond=st.booleans())
def test_what_cannot_be_sent_is_refused_alike(
    make: Make, at: int, odd: list[Any], beyond: bool
) -> None:
    schema = EVERY[at]
    codec, fields = Codec(compile_layout(schema)), schema.messages[0].fields
    records, answers = [], []
    for value in odd:
        for field in fields:
            if is_fraction(field, value):
                continue
            values = {**to_json(VALUES[0]), field.name: value}
            if beyond:
                values["no_field"] = value
            records.append({"message": "m", "station": 1, "sequence": 2, "values": values})
            try:
                answers.append(codec.encode(records[-1]).hex())
            except EncodeError:
                answers.append(None)
    theirs = make(codec.layout).encode(records)
    for record, ours, other in zip(records, answers, theirs, strict=True):
        assert ours == other, record["values"]


@pytest.mark.parametrize("make", LANGUAGES)
@settings(max_examples=settings.default.max_examples // 4, phases=GENERATE)
@given(data=st.data())
def test_a_quantity_is_brought_to_its_nearest_step_exactly(make: Make, data: st.DataObject) -> None:
    """Doubles on, just above and just below the boundary between two steps."""
    schema = data.draw(
        schemas(most_messages=1, most_fields=4)
        .filter(lambda schema: carried(schema, make))
        .filter(lambda schema: isinstance(schema.messages[0].fields[0], Scaled))
    )
    field = schema.messages[0].fields[0]
    assert isinstance(field, Scaled)
    schema = schema_of(field)
    codec = Codec(compile_layout(schema))
    records, answers = [], []
    last = int((field.high - field.low) / field.step)
    for _ in range(10):
        code = data.draw(st.one_of(st.integers(-1, last + 1), st.sampled_from([0, last])))
        near = float(field.low + (code + data.draw(st.sampled_from([0, 0.5, -0.5]))) * field.step)
        for value in (near, near * (1 + 2**-52), near * (1 - 2**-53), -near):
            records.append(
                {"message": "m", "station": 1, "sequence": 2, "values": {field.name: value}}
            )
            try:
                answers.append(codec.encode(records[-1]).hex())
            except EncodeError:
                answers.append(None)
    assert make(codec.layout).encode(records) == answers


@pytest.mark.parametrize("make", LANGUAGES)
@pytest.mark.parametrize("at", range(len(EVERY)))
def test_every_kind_of_field(make: Make, at: int) -> None:
    schema = EVERY[at]
    if not carried(schema, make):
        pytest.skip("the schema has an integer of more than 2^53 values")
    codec = Codec(compile_layout(schema))
    record = {"message": "m", "station": 3, "sequence": 700, "values": to_json(VALUES[at])}
    frame = codec.encode(record)
    language = make(codec.layout)
    assert language.encode([record]) == [frame.hex()]
    assert language.decode([(frame, {})]) == [codec.decode(frame).to_json()]


@pytest.mark.parametrize(
    "field",
    [
        Integer("after", 0, 1 << 53),
        Integer("after", -(1 << 53), 0),
        Scaled("after", 0, (1 << 47) * 50, 50),  # type: ignore[arg-type]
    ],
)
def test_what_doubles_do_not_hold_exactly_is_refused_by_name(field: Field) -> None:
    layout = compile_layout(schema_of(ListOf("rows", (field,), 0, 1)))
    with pytest.raises(LayoutError, match="coarser step") as refused:
        emit(layout, "javascript")
    assert refused.value.place == "message.m.rows[].after"


@pytest.mark.skipif(NODE is None, reason="no Node (node) here")
def test_javascript_is_a_module_too(tmp_path: Path) -> None:
    codec = Codec(compile_layout(EVERY[0]))
    (tmp_path / "codec.js").write_text(emit(codec.layout, "javascript")["every_kind.js"])
    record = {"message": "m", "station": 3, "sequence": 700, "values": to_json(VALUES[0])}
    script = f"console.log(require('./codec.js').encodeDownlink({{data: {json.dumps(record)}}}))"
    done = subprocess.run(
        [str(NODE), "-e", script], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    assert str(codec.encode(record)[0]) in done.stdout


@pytest.mark.parametrize("version", ["3.8", "3.11"])
def test_frozen_python_runs_alone_as_a_program(version: str, tmp_path: Path) -> None:
    python = python_of(version)
    if python is None:
        pytest.skip(f"no Python {version} here")
    codec = Codec(compile_layout(EVERY[0]))
    (tmp_path / "codec.py").write_text(emit(codec.layout, "python")["every_kind_codec.py"])
    record = {"message": "m", "station": 3, "sequence": 700, "values": to_json(VALUES[0])}
    frame = codec.encode(record)
    received = "2027-05-01T00:00:00Z"
    done = subprocess.run(
        [python, "-I", tmp_path / "codec.py"],
        input=f"{frame.hex()}\n{frame.hex()} received={received}\n{frame.hex()}00\n\n",
        capture_output=True,
        text=True,
        check=True,
    )
    first, second, third, fourth = map(json.loads, done.stdout.splitlines())
    assert first == codec.decode(frame).to_json()
    assert second["values"]["at"] == "2027-05-01T06:30:00Z"
    assert third["reason"] == Reason.FAILED_CHECK
    assert fourth["reason"] == Reason.WRONG_LENGTH
