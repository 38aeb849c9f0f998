"""Sealed frames and repair symbols in emitted C, beside those of this package."""

from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from c_program import COMPILER, SANITIZERS, ask, build, carried
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from strategies import schemas, values_for
from whole_values import flat

from packcodec.errors import DecodeError
from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout
from packcodec.schema import read_schema

SEAL_PAGE = (Path(__file__).parents[2] / "spec" / "seal.md").read_text(encoding="utf-8")
SEALS = ("ccm4", "ccm8", "sign4", "sign8")
NO_KEY = "101"
SECRET = bytes(range(16))

needs_compiler = pytest.mark.skipif(COMPILER is None, reason="no C compiler (gcc or clang)")


@needs_compiler
@pytest.mark.parametrize("coding", ["fixed", "modelled", "repaired"])
@pytest.mark.parametrize("seal", SEALS)
def test_sealed_frames_open_and_stay_shut_alike(seal: str, coding: str, tmp_path: Path) -> None:
    toml = SEAL_PAGE.split("```toml\n")[1].split("```")[0].replace("ccm4", seal)
    if coding == "repaired":
        toml += '[repair]\nmessages = ["health"]\n'
    else:
        toml = toml.replace("[frame]", f'coding = "{coding}"\n[frame]')
    layout = compile_layout(read_schema(toml, ""))
    codec, random = Codec(layout, {3: Key(SECRET)}), Random(seal)
    ring = Ring(layout.repair, 3) if layout.repair else None
    asked, answers, counter = [f"k {SECRET.hex()}"], [], 0
    for _ in range(100):
        far = random.choice((random.randrange(1 << 32), (1 << 32) - 1))
        counter = counter + 1 if random.random() < 0.7 and counter < (1 << 32) - 1 else far
        values = {
            "battery_mv": random.randrange(2800, 4301),
            "temperature_c": random.randrange(-40, 61),
        }
        record = {"message": "health", "values": values}
        frame = codec.encode(record, station=3, sequence=counter, ring=ring)
        asked.append(f"e 2 3 {counter} {values['battery_mv']} {values['temperature_c']}")
        answers.append(f"0 {frame.hex()}")
        expected = min(max(counter + random.randrange(-1000, 1000), 0), (1 << 32) - 1)
        changed = bytearray(frame)
        changed[random.randrange(len(frame))] ^= 1 << random.randrange(8)
        for each in (frame, bytes(changed), frame[:-1], random.randbytes(len(frame))):
            asked += [f"x {expected}", f"d 2 3 {each.hex()}"]
            answers.append(opened(codec, each, expected))
    asked += ["k -", "e 2 9 0 2800 0"]
    answers.append(NO_KEY)
    assert ask(build(layout, tmp_path, "-O1", *SANITIZERS), asked) == answers


def opened(codec: Codec, frame: bytes, expected: int) -> str:
    try:
        found = codec.open(frame, expected={3: expected})
    except DecodeError as error:
        return str(int(error.reason))
    record = found.record
    values = " ".join(map(str, record.values.values()))
    return f"0 2 {record.station} {record.sequence} {values} {found.counter}"


@needs_compiler
@settings(
    max_examples=settings.default.max_examples // 8,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@given(data=st.data())
def test_frames_that_carry_repair_symbols(data: st.DataObject) -> None:
    schema = data.draw(schemas(check="auto", repaired=True, most_fields=3))
    assume(schema.repair is not None and carried(schema))
    codec = Codec(compile_layout(schema))
    assert codec.layout.repair is not None
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    ring = Ring(codec.layout.repair, station)
    random = Random(data.draw(st.integers(0, 1 << 30)))
    sequence = data.draw(st.integers(0, (1 << 32) - 400))
    drawn = [(each, data.draw(values_for(schema, each))) for each in schema.messages * 2]
    asked, answers = [], []
    for _ in range(60):
        message, values = random.choice(drawn)
        record = {"message": message.name, "values": values}
        frame = codec.encode(record, station=station, sequence=sequence, ring=ring)
        numbers = list(map(str, flat(schema, message.fields, values)))
        asked.append(" ".join([f"e {message.code} {station} {sequence}", *numbers]))
        answers.append(f"0 {frame.hex()}")
        if schema.frame.sequence_bits:
            for each in (frame, frame[:-1]):
                asked.append(f"d {message.code} {station} {each.hex()}")
                answers.append(read(codec, each, station, message.name))
        sequence += random.choice((1,) * 20 + (7,))
    with TemporaryDirectory() as folder:
        assert ask(build(codec.layout, Path(folder), "-O1", *SANITIZERS), asked) == answers


def read(codec: Codec, frame: bytes, station: int, message: str) -> str:
    schema = codec.schema
    try:
        record = codec.decode(frame, station=station, message=message)
    except DecodeError as error:
        return str(int(error.reason))
    found = next(each for each in schema.messages if each.name == record.message)
    values = map(str, flat(schema, found.fields, record.values))
    return " ".join([f"0 {found.code} {record.station} {record.sequence}", *values])
