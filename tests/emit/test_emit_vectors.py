"""Every target that can carry them against the vectors of spec/, which a second codec made."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from c_program import COMPILER, ask
from devices import InC, InMicroPython
from micropython_program import INTERPRETER
from record_languages import NODE, FrozenPython, JavaScript, Language, ecmascript_5_fault
from vector_entry import again, codec_of, layout_of, passes_on, station_named

from packcodec.errors import LayoutError
from packcodec.layout.model import Layout

FILES = sorted((Path(__file__).parents[2] / "spec" / "vectors").rglob("*.json"))
Make = Callable[[Layout], Language]

LANGUAGES = [
    pytest.param(FrozenPython, id="python"),
    pytest.param(
        JavaScript,
        id="javascript",
        marks=pytest.mark.skipif(NODE is None, reason="no Node (node) here"),
    ),
]


# What a target cannot hold, and the words in which it must refuse the schema of that file.
REFUSED = {
    (InC, "integers"): "message.m.whole: .* which no 64-bit integer holds",
    (JavaScript, "integers"): r"message.m.whole: needs whole numbers past 2\^53",
}


def made(make: Any, file: Path, vectors: dict[str, Any], *folder: Path) -> Any:
    """The target for a file's schema; None where it must refuse it, and does."""
    layout = layout_of(vectors)
    words = REFUSED.get((make, file.stem))
    if words is None:
        return make(layout, *folder)
    with pytest.raises(LayoutError, match=words):
        make(layout, *folder)
    return None


def beside_frame(layout: Layout, vector: dict[str, Any]) -> dict[str, Any]:
    said = dict(vector.get("carried", {}))
    if vector.get("received"):
        said["received"] = vector["received"]
    if layout.check.sealed:
        said["of"] = station_named(layout.schema, vector)
        said["key"] = vector.get("key")
        said["expected"] = vector.get("expected", 0)
    return said


def beside_record(vector: dict[str, Any]) -> dict[str, Any]:
    said = {name: vector[name] for name in ("key", "ring") if name in vector}
    return said | {"of": vector["said"]["station"]}


def run_of(valid: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Those that pass a ring, to be made once more, now in the order in which they pass it."""
    return [vector for vector in valid if "ring" in vector]


DEVICES = [
    pytest.param(InC, id="C", marks=pytest.mark.skipif(COMPILER is None, reason="no C compiler")),
    pytest.param(
        InMicroPython,
        id="MicroPython",
        marks=pytest.mark.skipif(INTERPRETER is None, reason="no micropython here"),
    ),
]


@pytest.mark.parametrize("make", DEVICES)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_vectors_on_a_device(
    file: Path, make: type[InC] | type[InMicroPython], tmp_path: Path
) -> None:
    """Every frame reads as it must, and what is read is encoded to the same frame.

    So it is where a ring has passed the frames before it.
    """
    vectors = json.loads(file.read_text(encoding="utf-8"))
    device = made(make, file, vectors, tmp_path)
    if device is None:
        return
    valid = [each for each in vectors["valid"] if not each.get("received")]
    invalid = [each for each in vectors["invalid"] if each["frame"]]
    asked = []
    for vector in valid + invalid:
        asked += device.before(vector)
        asked.append(device.decoding(vector["frame"], vector.get("carried", {})))
    for vector in valid:
        record = again(vector)
        asked += [*device.before(vector, record["sequence"] or 0), device.encoding(record)]
    rings = run_of(valid)
    for before, vector in zip([None, *rings], rings, strict=False):
        record = again(vector) | {"sequence": vector["said"]["sequence"]}
        lines = device.before(vector, record["sequence"])
        asked += [*(lines[:-1] if passes_on(before, vector) else lines), device.encoding(record)]
    answers = iter(ask(device.command, asked))
    for vector in valid:
        assert device.read(next(answers)) == device.told(vector["read"]), vector["about"]
    for vector in invalid:
        assert device.read(next(answers)) == vector["reason"], vector["about"]
    for vector in valid + rings:
        assert device.framed(next(answers)) == vector["frame"], vector["about"]


@pytest.mark.parametrize("make", LANGUAGES)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_vectors(file: Path, make: Make) -> None:
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout, language = layout_of(vectors), made(make, file, vectors)
    if language is None:
        return
    valid, invalid, refused = vectors["valid"], vectors["invalid"], vectors.get("refused", [])
    frames = [
        (bytes.fromhex(each["frame"]), beside_frame(layout, each)) for each in valid + invalid
    ]
    answers = language.decode(frames)
    for vector, answer in zip(valid, answers[: len(valid)], strict=True):
        assert answer == vector["read"], vector["about"]
    for vector, answer in zip(invalid, answers[len(valid) :], strict=True):
        assert answer["reason"] == vector["reason"], vector["about"]
    sent = language.encode(
        [each["said"] for each in valid], [beside_record(each) for each in valid]
    )
    for vector, frame in zip(valid, sent, strict=True):
        assert frame == right_frame(layout, language, vector), vector["about"]
    rings = run_of(valid)
    passed = [
        beside_record(vector) | ({"ring": None} if passes_on(before, vector) else {})
        for before, vector in zip([None, *rings], rings, strict=False)
    ]
    sent = language.encode([each["said"] for each in rings], passed)
    for vector, frame in zip(rings, sent, strict=True):
        assert frame == right_frame(layout, language, vector), vector["about"]
    for vector in refused:
        record = {
            "message": vector["message"],
            "station": 1,
            "sequence": 0,
            "values": vector["values"],
        }
        assert language.encode([record]) == [None], vector["about"]
        assert vector["field"] in language.problem


def right_frame(layout: Layout, language: Language, vector: dict[str, Any]) -> str:
    """The vector's; without a ring, whose symbol covers nothing, where the language has none."""
    if isinstance(language, JavaScript) and "ring" in vector:
        return codec_of(layout, vector).encode(vector["said"]).hex()
    return str(vector["frame"])


def test_there_are_vectors() -> None:
    assert len(FILES) >= 15


@pytest.mark.skipif(NODE is None, reason="no Node (node) here")
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_javascript_is_ecmascript_5(file: Path) -> None:
    vectors = json.loads(file.read_text(encoding="utf-8"))
    language = made(JavaScript, file, vectors)
    if language is None:
        return
    text = language.text
    fault = ecmascript_5_fault(text)
    if fault is None:
        pytest.skip("no acorn here (npm install -g acorn)")
    assert fault == ""
    assert ecmascript_5_fault(text + "const late = 1;")
