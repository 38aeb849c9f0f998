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

from packcodec.emit import emit
from packcodec.errors import LayoutError
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema import read_schema

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


def layout_of(vectors: dict[str, Any]) -> Layout:
    models = vectors.get("models", "")
    return compile_layout(read_schema(vectors["schema"], vectors["species"], models_toml=models))


def opened(file: Path, make: Make) -> tuple[dict[str, Any], Language]:
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout = layout_of(vectors)
    try:
        return vectors, make(layout)
    except LayoutError as refused:
        pytest.skip(f"refused, as it must be: {refused}")


def said(vector: dict[str, Any]) -> dict[str, Any]:
    carried = dict(vector.get("carried", {}))
    if vector.get("received"):
        carried["received"] = vector["received"]
    return carried


@pytest.mark.parametrize(
    "make",
    [
        pytest.param(
            InC, id="C", marks=pytest.mark.skipif(COMPILER is None, reason="no C compiler")
        ),
        pytest.param(
            InMicroPython,
            id="MicroPython",
            marks=pytest.mark.skipif(INTERPRETER is None, reason="no micropython here"),
        ),
    ],
)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_vectors_on_a_device(
    file: Path, make: type[InC] | type[InMicroPython], tmp_path: Path
) -> None:
    """Every frame reads as it must, and what is read is encoded to the same frame."""
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout = layout_of(vectors)
    try:
        device = make(layout, tmp_path)
    except LayoutError as refused:
        pytest.skip(f"refused, as it must be: {refused}")
    valid = [each for each in vectors["valid"] if not each.get("received")]
    invalid = [each for each in vectors["invalid"] if each["frame"]]
    asked = [device.decoding(each["frame"], each.get("carried", {})) for each in valid + invalid]
    asked += [device.encoding(each["read"]) for each in valid]
    answers = iter(ask(device.command, asked))
    for vector in valid:
        assert device.read(next(answers)) == vector["read"], vector["about"]
    for vector in invalid:
        assert device.read(next(answers)) == vector["reason"], vector["about"]
    for vector in valid:
        assert device.framed(next(answers)) == vector["frame"], vector["about"]


@pytest.mark.parametrize("make", LANGUAGES)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_vectors(file: Path, make: Make) -> None:
    vectors, language = opened(file, make)
    valid, invalid, refused = vectors["valid"], vectors["invalid"], vectors.get("refused", [])
    frames = [(bytes.fromhex(each["frame"]), said(each)) for each in valid + invalid]
    answers = language.decode(frames)
    for vector, answer in zip(valid, answers[: len(valid)], strict=True):
        assert answer == vector["read"], vector["about"]
    for vector, answer in zip(invalid, answers[len(valid) :], strict=True):
        assert answer["reason"] == vector["reason"], vector["about"]
    records = [each["said"] for each in valid]
    assert language.encode(records) == [each["frame"] for each in valid]
    for vector in refused:
        record = {
            "message": vector["message"],
            "station": 1,
            "sequence": 0,
            "values": vector["values"],
        }
        assert language.encode([record]) == [None], vector["about"]
        assert vector["field"] in language.problem


def test_there_are_vectors() -> None:
    assert len(FILES) >= 15


@pytest.mark.skipif(NODE is None, reason="no Node (node) here")
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_javascript_is_ecmascript_5(file: Path) -> None:
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout = layout_of(vectors)
    try:
        ((_, text),) = emit(layout, "javascript").items()
    except LayoutError as refused:
        pytest.skip(f"refused, as it must be: {refused}")
    fault = ecmascript_5_fault(text)
    if fault is None:
        pytest.skip("no acorn here (npm install -g acorn)")
    assert fault == ""
    assert ecmascript_5_fault(text + "const late = 1;")
