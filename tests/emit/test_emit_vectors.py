"""Every target that can carry them against the vectors of spec/, which a second codec made."""

import json
import os
import subprocess
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from record_languages import NODE, FrozenPython, JavaScript, Language

from packcodec.emit import emit
from packcodec.errors import LayoutError
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema import read_schema

FILES = sorted((Path(__file__).parents[2] / "spec" / "vectors").glob("*.json"))
Make = Callable[[Layout], Language]

LANGUAGES = [
    pytest.param(FrozenPython, id="python"),
    pytest.param(
        JavaScript,
        id="javascript",
        marks=pytest.mark.skipif(NODE is None, reason="no Node (node) here"),
    ),
]


def opened(file: Path, make: Make) -> tuple[dict[str, Any], Language]:
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout = compile_layout(read_schema(vectors["schema"], vectors["species"]))
    try:
        return vectors, make(layout)
    except LayoutError as refused:
        pytest.skip(f"refused, as it must be: {refused}")


def said(vector: dict[str, Any]) -> dict[str, Any]:
    carried = dict(vector.get("carried", {}))
    if vector.get("received"):
        carried["received"] = vector["received"]
    return carried


@pytest.mark.parametrize("make", LANGUAGES)
@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_vectors(file: Path, make: Make) -> None:
    vectors, language = opened(file, make)
    valid, invalid, refused = vectors["valid"], vectors["invalid"], vectors["refused"]
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
    """Parsed by acorn (npm), which takes the edition at its word."""
    vectors = json.loads(file.read_text(encoding="utf-8"))
    layout = compile_layout(read_schema(vectors["schema"], vectors["species"]))
    try:
        ((_, text),) = emit(layout, "javascript").items()
    except LayoutError as refused:
        pytest.skip(f"refused, as it must be: {refused}")
    globally = subprocess.run(["npm", "root", "-g"], capture_output=True, text=True).stdout.strip()
    run = partial(
        subprocess.run, env={**os.environ, "NODE_PATH": globally}, capture_output=True, text=True
    )
    if run([str(NODE), "-e", "require('acorn')"]).returncode:
        pytest.skip("no acorn here (npm install -g acorn)")
    parse = "require('acorn').parse(require('fs').readFileSync(0, 'utf8'), {ecmaVersion: 5})"
    done = run([str(NODE), "-e", parse], input=text)
    assert done.returncode == 0, done.stderr
    modern = run([str(NODE), "-e", parse], input=text + "const late = 1;")
    assert modern.returncode != 0
