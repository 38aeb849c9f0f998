"""Any decoder against the test vectors of spec/: what to ask it, and whether its answers are right.

A decoder is asked one frame a line: its bytes in hexadecimal ("-" for none), then what the carrier
says as words: received=2027-04-01T06:30:00Z, station=3, message=sighting, sequence=7; and of the
station that a sealed frame names the key in hexadecimal and the counter expected next, where they
are known: key=000102…, expected=70000. It answers each line with one line of JSON: the record, or
{"reason": number} (spec/wire-format.md, "Errors").
"""

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from packcodec.errors import PackcodecError


@dataclass(frozen=True, slots=True)
class Question:
    """One vector: the line that asks it, and the answer it must get."""

    about: str
    line: str
    right: Any

    def is_right(self, answer: Any) -> bool:
        """Whether a decoder's answer, as JSON data, is the right one; 5 and 5.0 are the same."""
        if "reason" in self.right:
            return isinstance(answer, dict) and answer.get("reason") == self.right["reason"]
        return _same(answer, self.right)


@dataclass(frozen=True, slots=True)
class Miss:
    """A wrong answer: the text that was said, empty where there was none."""

    question: Question
    said: str


def questions(text: str, place: str) -> tuple[Question, ...]:
    """The questions of one vector file. Raises PackcodecError naming `place` if it is none."""
    try:
        vectors = json.loads(text)
        return (*_valid(vectors["valid"]), *_invalid(vectors["invalid"]))
    except (ValueError, KeyError, TypeError, AttributeError) as error:
        raise PackcodecError(
            f"is no file of test vectors ({type(error).__name__}: {error})",
            place=place,
            remedy='spec/wire-format.md, "Test vectors", says what one holds',
        ) from None


def judge(asked: Sequence[Question], answers: Sequence[str]) -> list[Miss]:
    """The misses among a decoder's lines; a line that never came is one."""
    said = [*answers, *[""] * (len(asked) - len(answers))]
    return [
        Miss(question, line)
        for question, line in zip(asked, said[: len(asked)], strict=True)
        if not question.is_right(_read(line))
    ]


def _valid(vectors: list[dict[str, Any]]) -> Iterator[Question]:
    for each in vectors:
        yield Question(each["about"], _line(each), each["read"])


def _invalid(vectors: list[dict[str, Any]]) -> Iterator[Question]:
    for each in vectors:
        yield Question(each["about"], _line(each), {"reason": each["reason"]})


def _line(vector: dict[str, Any]) -> str:
    told = {name: vector[name] for name in ("received", "key", "expected") if name in vector}
    told |= vector.get("carried", {})
    return " ".join([vector["frame"] or "-", *(f"{name}={said}" for name, said in told.items())])


def _read(line: str) -> Any:
    try:
        return json.loads(line)
    except ValueError:
        return None


def _same(answer: Any, right: Any) -> bool:
    """Equal as JSON data, where true is not 1."""
    if isinstance(right, dict):
        return (
            isinstance(answer, dict)
            and answer.keys() == right.keys()
            and all(_same(answer[name], right[name]) for name in right)
        )
    if isinstance(right, list):
        return (
            isinstance(answer, list)
            and len(answer) == len(right)
            and all(map(_same, answer, right))
        )
    return isinstance(answer, bool) == isinstance(right, bool) and bool(answer == right)
