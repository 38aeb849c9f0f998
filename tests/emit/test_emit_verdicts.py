"""Arbitrary bytes: every emitted decoder has the verdict of this package's, in both codings.

Most strings have the right tag and check, so that the payload readers see arbitrary bytes too. A
quarter are a frame with one bit changed, half of these mended in the same way.
"""

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Any

import pytest
from c_program import COMPILER, ask
from devices import Device, InC, InMicroPython
from hypothesis import settings
from micropython_program import INTERPRETER
from record_languages import NODE, FrozenPython, JavaScript
from tool_loader import tool

from packcodec.edge.files import load
from packcodec.errors import DecodeError, Reason
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout

DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data" / "schema.toml"
COUNT = 10 * settings.default.max_examples
SIGHTING = {
    "message": "sighting",
    "station": 3,
    "values": {
        "at": "2027-04-01T01:30:00Z",
        "species": "bittern",
        "individuals": 2,
        "confidence": 0.85,
        "state": [],
    },
}
FAULTS = {Reason.OUT_OF_RANGE, Reason.WRONG_LENGTH, Reason.NOT_CANONICAL}
Judge = Callable[[Layout, Path, list[bytes]], list[Any]]


@lru_cache(maxsize=2)
def strings(coding: str) -> tuple[Codec, list[bytes], list[Any]]:
    """The codec, the strings and what it makes of them: a record as JSON, or a reason."""
    layout = load(DEMO).layout
    codec = Codec(compile_layout(replace(layout.schema, coding=coding)))
    mended, random = tool("arbitrary_bytes").mended, Random(COUNT)
    right = codec.encode(SIGHTING, sequence=1)
    longest = max(message.most_frame_bytes for message in codec.layout.messages)
    found, verdicts = [], []
    for number in range(COUNT):
        frame = random.randbytes(random.randrange(longest + 3))
        if number % 4 == 3:
            changed = int.from_bytes(right, "big") ^ 1 << random.randrange(24, 8 * len(right))
            frame = changed.to_bytes(len(right), "big")
        found.append(mended(codec, frame) if number % 4 and number % 8 != 7 else frame)
        try:
            verdicts.append(codec.decode(found[-1]).to_json())
        except DecodeError as error:
            verdicts.append(int(error.reason))
    return codec, found, verdicts


def by_device(make: type[Device]) -> Judge:
    def judge(layout: Layout, folder: Path, frames: list[bytes]) -> list[Any]:
        device = make(layout, folder)
        # A line cannot say a frame of no bytes.
        lines = [device.decoding(frame.hex(), {}) for frame in frames]
        return [device.read(answer) for answer in ask(device.command, lines)]

    return judge


def by_language(make: type[FrozenPython] | type[JavaScript]) -> Judge:
    def judge(layout: Layout, _: Path, frames: list[bytes]) -> list[Any]:
        answers = make(layout).decode([(frame, {}) for frame in frames])
        return [each.get("reason", each) for each in answers]

    return judge


def needs(tool_is_there: bool, what: str) -> pytest.MarkDecorator:
    return pytest.mark.skipif(not tool_is_there, reason=f"no {what} here")


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
@pytest.mark.parametrize(
    "judge",
    [
        pytest.param(by_device(InC), id="C", marks=needs(COMPILER is not None, "C compiler")),
        pytest.param(
            by_device(InMicroPython),
            id="MicroPython",
            marks=needs(INTERPRETER is not None, "micropython"),
        ),
        pytest.param(by_language(FrozenPython), id="python"),
        pytest.param(
            by_language(JavaScript), id="javascript", marks=needs(NODE is not None, "Node (node)")
        ),
    ],
)
def test_arbitrary_bytes_are_judged_alike(judge: Judge, coding: str, tmp_path: Path) -> None:
    codec, frames, verdicts = strings(coding)
    asked = [(frame, ours) for frame, ours in zip(frames, verdicts, strict=True) if frame]
    theirs = judge(codec.layout, tmp_path, [frame for frame, _ in asked])
    for (frame, ours), told in zip(asked, theirs, strict=True):
        assert told == ours or (told in FAULTS and ours in FAULTS), (frame.hex(), ours, told)


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_there_are_verdicts_of_every_kind(coding: str) -> None:
    _, _, verdicts = strings(coding)
    reasons = {each for each in verdicts if isinstance(each, int)}
    assert reasons >= {1, 2, 3, 6, 7 if coding == "modelled" else 4}
    assert any(isinstance(each, dict) for each in verdicts)
