"""Sealed frames and repair symbols in emitted Python, MicroPython and JavaScript."""

import re
import subprocess
import sys
from pathlib import Path
from random import Random
from types import ModuleType
from typing import Any

import pytest
from cryptography.hazmat.primitives.ciphers.aead import AESCCM
from hypothesis import Phase, assume, given, settings
from hypothesis import strategies as st
from micropython_program import INTERPRETER
from record_languages import NODE, JavaScript, ecmascript_5_fault
from strategies import schemas, values_for
from vector_entry import told
from whole_values import nested

from packcodec.codec import to_json
from packcodec.emit import emit
from packcodec.errors import CarrierError, DecodeError, LayoutError
from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema import read_schema

SEAL_PAGE = (Path(__file__).parents[2] / "spec" / "seal.md").read_text(encoding="utf-8")
SECRET = bytes(range(16))
ONE_RECORD = {"message": "health", "values": {"battery_mv": 3912, "temperature_c": -7}}


def module_of(layout: Layout, target: str = "python") -> Any:
    ((name, text),) = emit(layout, target).items()
    module: Any = ModuleType(name.removesuffix(".py"))
    exec(compile(text, name, "exec"), module.__dict__)
    return module


def expected(codec: Codec, frame: bytes, **said: Any) -> Any:
    try:
        return told(codec.open(frame, **said))
    except DecodeError as error:
        return int(error.reason)
    except CarrierError:
        return None


def answer(module: Any, frame: bytes, **said: Any) -> Any:
    try:
        return module.decode(frame, **said)
    except module.Refused as refused:
        return refused.reason
    except module.CarrierError:
        return None


def sealed(seal: str, coding: str = "fixed") -> tuple[Codec, dict[int, AESCCM]]:
    """The codec of the page's schema under a seal, and the ciphers emitted code takes."""
    toml = SEAL_PAGE.split("```toml\n")[1].split("```")[0].replace("ccm4", seal)
    toml = toml.replace("[frame]", f'coding = "{coding}"\n[frame]')
    layout = compile_layout(read_schema(toml, ""))
    return Codec(layout, {3: Key(SECRET)}), {3: AESCCM(SECRET, layout.check.octets)}


needs_node = pytest.mark.skipif(NODE is None, reason="no Node (node) here")

SEALS = ("ccm4", "ccm8", "sign4", "sign8")


@pytest.mark.parametrize("seal", SEALS)
def test_the_pages_sealed_frames(seal: str) -> None:
    codec, ciphers = sealed(seal)
    module = module_of(codec.layout)
    frame = module.encode(ONE_RECORD, station=3, sequence=70_000, ciphers=ciphers)
    assert f"| {seal} | {codec.layout.identity.hex()} | {frame.hex()} |" in SEAL_PAGE
    record = module.decode(frame, ciphers=ciphers, expected={3: 69_990})
    assert record["values"] == ONE_RECORD["values"]
    assert record["counter"] == 70_000


@pytest.mark.parametrize("seal", SEALS)
@settings(max_examples=settings.default.max_examples // 4)
@given(seed=st.integers(0, 1 << 30), counter=st.integers(0, (1 << 32) - 1), ahead=st.integers())
def test_sealed_frames_open_and_stay_shut_alike(
    seal: str, seed: int, counter: int, ahead: int
) -> None:
    codec, ciphers = sealed(seal)
    module, random = module_of(codec.layout), Random(seed)
    frame = codec.encode(ONE_RECORD, station=3, sequence=counter)
    assert module.encode(ONE_RECORD, station=3, sequence=counter, ciphers=ciphers) == frame
    heard = {3: min(max(counter + ahead % 2048 - 1024, 0), (1 << 32) - 1)}
    place = random.randrange(8 * len(frame))
    changed = bytearray(frame)
    changed[place // 8] ^= 128 >> place % 8
    for each in (frame, frame[:-1], bytes(changed), random.randbytes(len(frame))):
        ours = expected(codec, each, expected=heard)
        assert answer(module, each, ciphers=ciphers, expected=heard) == ours
    assert answer(module, frame, expected=heard) == 3
    stranger = {3: AESCCM(bytes(16), codec.layout.check.octets)}
    assert answer(module, frame, ciphers=stranger, expected=heard) == 3


def test_a_sealed_record_needs_a_key() -> None:
    codec, ciphers = sealed("ccm4")
    module = module_of(codec.layout)
    with pytest.raises(module.Refused, match="station: 4 has no key here"):
        module.encode(ONE_RECORD, station=4, sequence=0, ciphers=ciphers)


@settings(max_examples=settings.default.max_examples // 4)
@given(data=st.data())
def test_frames_that_carry_repair_symbols(data: st.DataObject) -> None:
    schema = data.draw(schemas(check="auto", repaired=True, most_fields=3))
    assume(schema.repair is not None)
    codec = Codec(compile_layout(schema))
    module = module_of(codec.layout)
    assert codec.layout.repair is not None
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    ours, theirs = Ring(codec.layout.repair, station), module.Ring(station)
    random = Random(data.draw(st.integers(0, 1 << 30)))
    sequence = data.draw(st.integers(0, (1 << 32) - 200))
    drawn = [(each, to_json(data.draw(values_for(schema, each)))) for each in schema.messages * 2]
    for _ in range(40):
        message, values = random.choice(drawn)
        record = {"message": message.name, "values": values}
        frame = codec.encode(record, station=station, sequence=sequence, ring=ours)
        again = module.encode(record, station=station, sequence=sequence, ring=theirs)
        assert again == frame
        said = {"station": station, "message": message.name}
        for each in (frame, frame[:-1]):
            assert answer(module, each, **said) == expected(codec, each, **said)
        if random.random() < 0.1:
            # A restart, with what was kept.
            theirs = module.Ring(station, theirs.sources, theirs.next)
        sequence += random.choice((1,) * 20 + (7,))
    bare = codec.encode(record, station=station, sequence=sequence)
    assert module.encode(record, station=station, sequence=sequence) == bare


@pytest.mark.parametrize("seal", ["ccm8", "sign4"])
def test_modelled_payloads_are_sealed_too(seal: str) -> None:
    codec, ciphers = sealed(seal, "modelled")
    frame = codec.encode(ONE_RECORD, station=3, sequence=9)
    python = module_of(codec.layout)
    assert python.encode(ONE_RECORD, station=3, sequence=9, ciphers=ciphers) == frame
    assert python.decode(frame, ciphers=ciphers)["values"] == ONE_RECORD["values"]
    micropython, out = module_of(codec.layout, "micropython"), bytearray(40)
    assert out[: micropython.frame_health(out, 3, 9, (3912, -7), ciphers[3])] == frame
    assert micropython.decode(frame, ciphers)[3:] == ([3912, -7], 9)


@needs_node
@pytest.mark.parametrize("seal", ["ccm8", "sign4"])
def test_modelled_payloads_are_sealed_in_javascript_too(seal: str) -> None:
    codec, _ = sealed(seal, "modelled")
    frame = codec.encode(ONE_RECORD, station=3, sequence=9)
    data = {**ONE_RECORD, "station": 3, "sequence": 9}
    made, read = in_node(codec.layout, [{"data": data}, {"bytes": list(frame)}])
    assert bytes(made["bytes"]) == frame
    assert read["data"] == {**data, "counter": 9}


# ---- MicroPython, in this interpreter and in its own


@pytest.mark.parametrize("seal", SEALS)
@settings(max_examples=settings.default.max_examples // 4)
@given(seed=st.integers(0, 1 << 30), counter=st.integers(0, (1 << 32) - 1), ahead=st.integers())
def test_sealed_frames_in_micropython(seal: str, seed: int, counter: int, ahead: int) -> None:
    codec, ciphers = sealed(seal)
    module, random = module_of(codec.layout, "micropython"), Random(seed)
    frame, out = codec.encode(ONE_RECORD, station=3, sequence=counter), bytearray(40)
    length = module.frame_health(out, 3, counter, (3912, -7), ciphers[3])
    assert out[:length] == frame
    heard = {3: min(max(counter + ahead % 2048 - 1024, 0), (1 << 32) - 1)}
    changed = bytearray(frame)
    changed[random.randrange(len(frame))] ^= 1 << random.randrange(8)
    for each in (frame, frame[:-1], bytes(changed), random.randbytes(len(frame))):
        ours = expected(codec, each, expected=heard)
        theirs: Any = None
        try:
            theirs = module.decode(each, ciphers, heard)
        except module.Refused as refused:
            theirs = refused.args[0]
        if isinstance(ours, dict):
            sent, values = counter % 1024, list(ours["values"].values())
            ours = (2, ours["station"], sent, values, ours["counter"])
        assert theirs == ours


@settings(max_examples=settings.default.max_examples // 4)
@given(data=st.data())
def test_repair_symbols_in_micropython(data: st.DataObject) -> None:
    schema = data.draw(schemas(check="auto", repaired=True, most_fields=3))
    assume(schema.repair is not None)
    codec = Codec(compile_layout(schema))
    module = module_of(codec.layout, "micropython")
    assert codec.layout.repair is not None
    frame_bits = schema.frame
    station = data.draw(st.integers(0, (1 << (frame_bits.station_bits or 32)) - 1))
    ours, theirs, out = Ring(codec.layout.repair, station), module.Ring(), bytearray(340)
    random = Random(data.draw(st.integers(0, 1 << 30)))
    sequence = data.draw(st.integers(0, (1 << 32) - 200))
    drawn = [(each, to_json(data.draw(values_for(schema, each)))) for each in schema.messages * 2]
    for _ in range(40):
        message, values = random.choice(drawn)
        record = {"message": message.name, "values": values}
        frame = codec.encode(record, station=station, sequence=sequence, ring=ours)
        row = nested(schema, message.fields, values)
        write = getattr(module, f"frame_{message.name}")
        assert out[: write(out, station, sequence, row, theirs)] == frame
        said = [message.code] if not frame_bits.message_bits and len(schema.messages) > 1 else []
        said += [] if frame_bits.station_bits else [station]
        opened = codec.open(frame, station=station, message=message.name)
        field = opened.repair and (opened.repair.held, opened.repair.symbol)
        assert module.decode(frame, *said)[4] == field
        sequence += random.choice((1,) * 20 + (7,))


_ON_BOTH = """
import sys
sys.path.insert(0, FOLDER)
import MODULE as m
class Cipher:
    def encrypt(self, nonce, data, associated):
        key = sum(nonce) + sum(associated)
        return bytes([octet ^ (key + at) & 255 for at, octet in enumerate(data)]) + b"tag!"
    def decrypt(self, nonce, data, associated):
        if data[-4:] != b"tag!":
            raise ValueError("tag")
        return self.encrypt(nonce, data[:-4], associated)[:-4]
ring, out = m.Ring(), bytearray(40)
for counter in range(70000, 70040):
    n = m.frame_health(out, 3, counter, (2800 + counter % 100, counter % 50), Cipher(), ring)
    print(list(out[:n]), m.decode(bytes(out[:n]), {3: Cipher()}, {3: counter}))
try:
    m.decode(bytes(n), {3: Cipher()})
except m.Refused as refused:
    print(refused.args)
"""


@pytest.mark.skipif(INTERPRETER is None, reason="no micropython here")
def test_micropython_seals_and_repairs_as_python_does(tmp_path: Path) -> None:
    """The module in two interpreters, with a cipher that is none."""
    toml = SEAL_PAGE.split("```toml\n")[1].split("```")[0]
    toml += '[repair]\nmessages = ["health"]\nwindow = 4\nstride = 2\nevery = 2\n'
    layout = compile_layout(read_schema(toml, ""))
    ((name, text),) = emit(layout, "micropython").items()
    (tmp_path / name).write_text(text, encoding="utf-8")
    source = _ON_BOTH.replace("FOLDER", repr(str(tmp_path))).replace("MODULE", name[:-3])
    (tmp_path / "both.py").write_text(source, encoding="utf-8")
    ran = [
        subprocess.run([command, "both.py"], cwd=tmp_path, capture_output=True, text=True)
        for command in (sys.executable, str(INTERPRETER))
    ]
    assert ran[0].returncode == 0, ran[0].stderr
    assert ran[1].stdout == ran[0].stdout, ran[1].stderr
    assert len(ran[0].stdout.splitlines()) == 41


# ---- JavaScript


def in_node(layout: Layout, inputs: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """What it answers with the page's key, and to inputs that are `shut` without any."""
    language = JavaScript(layout)
    return language.ask(
        [
            (
                "encodeDownlink" if "data" in each else "decodeUplink",
                each if each.get("shut") else each | language.cipher(SECRET.hex()),
            )
            for each in inputs
        ]
    )


def spoken(told: dict[str, Any]) -> Any:
    """The data of an answer, or the number of its fault."""
    if not told["errors"]:
        return told["data"]
    return int(re.match(r"[A-Z_]+ \((\d)\): ", told["errors"][0])[1])  # type: ignore[index]


@needs_node
@pytest.mark.parametrize("seal", SEALS)
def test_sealed_frames_in_javascript(seal: str) -> None:
    codec, _ = sealed(seal)
    random = Random(1)
    record = {**ONE_RECORD, "station": 3}
    inputs: list[dict[str, Any]] = []
    answers: list[Any] = []
    for counter in (0, 5, 70_000, (1 << 32) - 1, *(random.randrange(1 << 32) for _ in range(40))):
        frame = codec.encode(record, sequence=counter)
        inputs.append({"data": {**record, "sequence": counter}})
        answers.append(list(frame))
        changed = bytearray(frame)
        changed[random.randrange(len(frame))] ^= 1 << random.randrange(8)
        for ahead in (-700, -512, -511, 0, 1, 512, 513, 700):
            heard = min(max(counter + ahead, 0), (1 << 32) - 1)
            for each in (frame, bytes(changed), frame[:-1]):
                inputs.append({"bytes": list(each), "expected": {"3": heard}})
                answers.append(expected(codec, each, expected={3: heard}))
    for said, right in zip(in_node(codec.layout, inputs), answers, strict=True):
        assert said["bytes"] == right if "bytes" in said else spoken(said) == right


@needs_node
@pytest.mark.parametrize("seal", SEALS)
def test_what_javascript_says_of_a_sealed_frame_without_a_key(seal: str) -> None:
    codec, _ = sealed(seal)
    frame = codec.encode(ONE_RECORD, station=3, sequence=700)
    data = {**ONE_RECORD, "station": 3, "sequence": 700}
    shut = [{"bytes": list(frame), "shut": True}, {"data": data, "shut": True}]
    read, made = in_node(codec.layout, shut)
    header = {"message": "health", "station": 3, "sequence": 700}
    assert read["data"] == {**header, "sealed": frame.hex()}
    assert "input.open" in read["warnings"][0]
    assert "input.seal" in made["errors"][0]


@needs_node
@pytest.mark.parametrize("seal", SEALS)
def test_sealing_javascript_is_ecmascript_5(seal: str) -> None:
    ((_, text),) = emit(sealed(seal)[0].layout, "javascript").items()
    fault = ecmascript_5_fault(text)
    if fault is None:
        pytest.skip("no acorn here (npm install -g acorn)")
    assert fault == ""


@needs_node
@settings(max_examples=settings.default.max_examples // 10, phases=(Phase.explicit, Phase.generate))
@given(data=st.data())
def test_repair_symbols_in_javascript(data: st.DataObject) -> None:
    schema = data.draw(schemas(check="auto", repaired=True, most_fields=3))
    assume(schema.repair is not None)
    codec = Codec(compile_layout(schema))
    try:
        language = JavaScript(codec.layout)
    except LayoutError:
        assume(False)
    assert codec.layout.repair is not None
    station = data.draw(st.integers(0, (1 << (schema.frame.station_bits or 32)) - 1))
    ring = Ring(codec.layout.repair, station)
    records, bare, frames, answers = [], [], [], []
    for sequence in range(12):
        message = data.draw(st.sampled_from(schema.messages))
        values = to_json(data.draw(values_for(schema, message)))
        record = {"message": message.name, "station": station, "values": values}
        records.append({**record, "sequence": sequence})
        bare.append(codec.encode(record, sequence=sequence).hex())
        frame = codec.encode(record, sequence=sequence, ring=ring)
        for each in (frame, frame[:-1]):
            said = {"station": station, "message": message.name}
            frames.append((each, said))
            ours = expected(codec, each, **said)
            answers.append({"reason": ours} if isinstance(ours, int) else ours)
    assert language.encode(records) == bare
    for theirs, ours in zip(language.decode(frames), answers, strict=True):
        assert theirs.get("reason") == ours.get("reason")
        assert "reason" in ours or theirs == ours
