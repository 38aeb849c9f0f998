"""Frames and records as lines of text: what the commands pipe to one another.

A frame is one line: its bytes in hexadecimal, then, where known, a space and the time at which it
was received (RFC 3339). A record is one line of JSON.
"""

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TextIO

from packcodec.codec.record import Record
from packcodec.errors import LogError


@dataclass(frozen=True, slots=True)
class FrameLine:
    """One frame as read; `received` is None where the line does not say."""

    place: str
    frame: bytes
    received: datetime | None


def read_frames(lines: Iterable[str], name: str) -> Iterator[FrameLine | LogError]:
    """Each non-empty line of `lines` as a frame, or as the error that it is."""
    for number, line in enumerate(lines, 1):
        words = line.split()
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
        if not line.strip():
            continue
        place = f"{name}:{number}"
        try:
            yield place, _record(json.loads(line), place)
        except (ValueError, RecursionError) as error:
            yield LogError(f"is not JSON: {error}", place=place, remedy="write one record a line")
        except LogError as error:
            yield error


def _record(data: object, place: str) -> Record:
    if isinstance(data, dict) and isinstance(data.get("values"), dict):
        message, station, sequence = (data.get(key) for key in ("message", "station", "sequence"))
        whole = all(each is None or type(each) is int for each in (station, sequence))
        if isinstance(message, str) and whole:
            return Record(message, data["values"], station, sequence)
    raise LogError(
        "is not a record",
        place=place,
        remedy='a record is {"message": …, "station": …, "sequence": …, "values": {…}}',
    )


def name_of(stream: TextIO) -> str:
    """What to call an opened file in errors."""
    return str(getattr(stream, "name", "<stdin>"))


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:39]}…")
