"""Every target that can carry them against the vectors of spec/, which a second codec made."""

import json
from ast import literal_eval
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from c_program import COMPILER, SANITIZERS, ask, build
from micropython_program import INTERPRETER, write
from record_languages import NODE, FrozenPython, JavaScript, Language, ecmascript_5_fault
from whole_values import as_json, flat, nested, unflattened

from packcodec.emit import emit
from packcodec.errors import LayoutError
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema import read_schema
from packcodec.schema.model import Message

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


class Device:
    """A target that holds whole numbers, asked in vectors' terms."""

    def __init__(self, layout: Layout, folder: Path) -> None:
        self.layout = layout
        self.schema = layout.schema
        self.messages = {each.name: each for each in self.schema.messages}
        self.command = self.start(folder)

    def start(self, folder: Path) -> list[str]:
        raise NotImplementedError

    def record(self, message: Message, station: int, sequence: int, row: list[Any]) -> Any:
        return {
            "message": message.name,
            "station": station,
            "sequence": sequence if self.schema.frame.sequence_bits else None,
            "values": as_json(self.schema, message.fields, row),
        }


class InC(Device):
    def start(self, folder: Path) -> list[str]:
        return [str(build(self.layout, folder, "-O1", *SANITIZERS))]

    def decoding(self, frame: str, carried: dict[str, Any]) -> str:
        message = self.messages[carried.get("message", self.schema.messages[0].name)]
        return f"d {message.code} {carried.get('station', 0)} {frame}"

    def read(self, answer: str) -> Any:
        reason, *numbers = map(int, answer.split())
        if reason:
            return reason
        code, station, sequence, *values = numbers
        message = next(each for each in self.schema.messages if each.code == code)
        return self.record(message, station, sequence, unflattened(message.fields, iter(values)))

    def encoding(self, record: dict[str, Any]) -> str:
        message = self.messages[record["message"]]
        values = flat(self.schema, message.fields, record["values"])
        head = ["e", message.code, record["station"], record["sequence"] or 0]
        return " ".join(map(str, [*head, *values]))

    def framed(self, answer: str) -> str:
        return answer.removeprefix("0 ")


class InMicroPython(Device):
    def start(self, folder: Path) -> list[str]:
        return [str(INTERPRETER), *write(self.layout, folder)]

    def decoding(self, frame: str, carried: dict[str, Any]) -> str:
        said = ""
        if "message" in carried and len(self.schema.messages) > 1:
            said += f"{self.messages[carried['message']].code}, "
        if "station" in carried:
            said += f"{carried['station']}, "
        return f"d {frame} {said}"

    def read(self, answer: str) -> Any:
        told = literal_eval(answer)
        if isinstance(told, int):
            return told
        code, station, sequence, row = told
        message = next(each for each in self.schema.messages if each.code == code)
        return self.record(message, station, sequence, row)

    def encoding(self, record: dict[str, Any]) -> str:
        message = self.messages[record["message"]]
        row = nested(self.schema, message.fields, record["values"])
        return f"e {message.name} {record['station']} {record['sequence'] or 0} {row}"

    def framed(self, answer: str) -> str:
        return answer


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
