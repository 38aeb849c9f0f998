"""Frames and records as lines of text: what the commands pipe to one another.

A frame is one line: its bytes in hexadecimal, then, where known, a space and the time at which it
was received (RFC 3339). A record is one line of JSON.
"""

import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TextIO

from packcodec.codec.record import Record
from packcodec.codec.settle import shown
from packcodec.errors import LogError

BYTE_ORDER_MARK = "\ufeff"
# More than any field takes, less than Python agrees to read.
LONGEST_INTEGER = 40

_HEX = re.compile(r"(?:[0-9a-fA-F]{2})+")
_SHAPE = 'a record is {"message": …, "station": …, "sequence": …, "values": {…}}'


@dataclass(frozen=True, slots=True)
class FrameLine:
    """One frame as read; `received` is None where the line does not say."""

    place: str
    frame: bytes
    received: datetime | None


def read_frames(lines: Iterable[str], name: str) -> Iterator[FrameLine | LogError]:
    """Each non-empty line of `lines` as a frame, or as the error that it is."""
    for number, line in enumerate(lines, 1):
        words = line.removeprefix(BYTE_ORDER_MARK).split()
        if not words:
            continue
        place = f"{name}:{number}"
        try:
            frame = bytes.fromhex(words[0])
        except ValueError:
            yield LogError(
                f"{_shown(words[0])} is not hexadecimal",
                place=place,
                remedy="a frame is an even number of digits 0-9 and a-f",
            )
            continue
        received = None
        if len(words) > 1:
            try:
                received = datetime.fromisoformat(words[1])
            except ValueError:
                received = None
            if all(map(_HEX.fullmatch, words)):
                yield LogError(
                    "there are spaces among the digits of a frame",
                    place=place,
                    remedy="write them without; only packcodec explain takes them so",
                )
                continue
            if received is None or received.utcoffset() is None or len(words) > 2:
                yield LogError(
                    f"{_shown(' '.join(words[1:]))} is not a reception time",
                    place=place,
                    remedy="after the frame may stand one time such as 2027-04-01T06:30:00Z",
                )
                continue
        yield FrameLine(place, frame, received)


def record_line(record: Record) -> str:
    """A record as one line of JSON, without its line break."""
    return json.dumps(record.to_json(), ensure_ascii=False)


def read_records(lines: Iterable[str], name: str) -> Iterator[tuple[str, Record] | LogError]:
    """Each line that is not blank as its place, "name:line", and record, or as the error it is.

    Values stay in their JSON form, which encoding takes.
    """
    for number, line in enumerate(lines, 1):
        text = line.removeprefix(BYTE_ORDER_MARK).strip()
        if not text:
            continue
        place = f"{name}:{number}"
        try:
            yield place, _record(_json(text))
        except _Wrong as error:
            where = f"{place} {error.member}".rstrip()
            yield LogError(error.problem, place=where, remedy=error.remedy)


class _Wrong(Exception):
    """Why a line is no record: the member (may be empty), what is wrong and a remedy."""

    def __init__(self, member: str, problem: str, remedy: str) -> None:
        super().__init__(member, problem, remedy)
        self.member, self.problem, self.remedy = member, problem, remedy


def _json(text: str) -> object:
    try:
        return json.loads(
            text, object_pairs_hook=_once, parse_int=_integer, parse_constant=_constant
        )
    except json.JSONDecodeError as error:
        problem = f"is not JSON: {error.msg} in column {error.colno}"
        raise _Wrong("", problem, "write one record a line") from None
    except RecursionError:
        problem = "brackets are nested too deep to read"
        raise _Wrong("", problem, "a record needs no more than six levels") from None


def _once(members: list[tuple[str, object]]) -> dict[str, object]:
    found = dict(members)
    if len(found) == len(members):
        return found
    names = [name for name, _ in members]
    twice = next(name for name in names if names.count(name) > 1)
    raise _Wrong(_shown(twice), "is there twice", "keep one of the two")


def _integer(text: str) -> int:
    if len(text) > LONGEST_INTEGER:
        remedy = "no field takes more than 20 digits"
        raise _Wrong("", f"there is a number of {len(text)} digits", remedy)
    return int(text)


def _constant(name: str) -> object:
    raise _Wrong("", f"{name} is no number in JSON", "write null where none is known")


def _record(data: object) -> Record:
    if not isinstance(data, dict):
        raise _Wrong("", f"is {shown(data)}, and no object", _SHAPE)
    message, values = data.get("message"), data.get("values")
    if not isinstance(message, str):
        raise _Wrong("message", _as_said(message), "it takes the name of a message")
    if not isinstance(values, dict):
        remedy = "it takes an object with a value for each field"
        raise _Wrong("values", _as_said(values), remedy)
    station, sequence = data.get("station"), data.get("sequence")
    if not (station is None or type(station) is int):
        remedy = "it takes a station's number, which the schema gives under [stations]"
        raise _Wrong("station", _as_said(station), remedy)
    if not (sequence is None or type(sequence) is int):
        raise _Wrong("sequence", _as_said(sequence), "it takes the number of the frame")
    return Record(message, values, station, sequence)


def _as_said(value: object) -> str:
    return "is missing" if value is None else f"is {shown(value)}"


def name_of(stream: TextIO) -> str:
    """What to call an opened file in errors."""
    return str(getattr(stream, "name", "<stdin>"))


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:39]}…")
