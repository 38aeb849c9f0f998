"""Frames and records as lines of text: what the commands pipe to one another.

A frame is one line: its bytes in hexadecimal, then, where known, a space and the time at which it
was received (RFC 3339). A record is one line of JSON.
"""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TextIO

from packcodec.errors import LogError


@dataclass(frozen=True, slots=True)
class FrameLine:
    """One frame as read; `received` is None where the line does not say."""

    place: str
    frame: bytes
    received: datetime | None


def read_frames(lines: TextIO) -> Iterator[FrameLine | LogError]:
    """Each non-empty line of `lines` as a frame, or as the error that it is."""
    for number, line in enumerate(lines, 1):
        words = line.split()
        if not words:
            continue
        place = f"{_name(lines)}:{number}"
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


def read_records(lines: TextIO) -> Iterator[tuple[str, dict[str, Any]] | LogError]:
    """Each non-empty line of `lines` as (place, JSON object), or as the error that it is."""
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        place = f"{_name(lines)}:{number}"
        try:
            record = json.loads(line)
        except ValueError as error:
            yield LogError(f"not JSON: {error}", place=place, remedy="one record a line")
            continue
        if not isinstance(record, dict):
            yield LogError(
                f"{_shown(line.strip())} is not a record",
                place=place,
                remedy='a record is {"message": …, "station": …, "sequence": …, "values": {…}}',
            )
            continue
        yield place, record


def _name(lines: TextIO) -> str:
    return str(getattr(lines, "name", "<stdin>"))


def _shown(text: str) -> str:
    return repr(text if len(text) <= 40 else f"{text[:39]}…")
