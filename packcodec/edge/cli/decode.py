"""`packcodec decode`: frames → records."""

import sys
from collections import Counter
from datetime import datetime
from typing import TextIO

import click

from packcodec.codec.record import Record
from packcodec.edge.cli.carrier import (
    asked_by_option,
    check_carried,
    message_option,
    station_option,
)
from packcodec.edge.cli.screen import warn, write_line
from packcodec.edge.cli.sealed import given_keys, keys_option
from packcodec.edge.files import load
from packcodec.edge.lines import FrameLine, name_of, read_frames
from packcodec.errors import DecodeError, LogError, Reason
from packcodec.frame.codec import Codec
from packcodec.schema.remedy import counted


class Moment(click.ParamType[datetime]):
    """A time with its offset from UTC, as RFC 3339 writes it."""

    name = "time"

    def convert(
        self, value: object, param: click.Parameter | None, ctx: click.Context | None
    ) -> datetime:
        try:
            when = datetime.fromisoformat(str(value))
        except ValueError:
            when = datetime.min
        if when.utcoffset() is None:
            self.fail(f"{value!r} is not a time such as 2027-04-01T06:30:00Z", param, ctx)
        return when


@click.command()
@click.argument("schemas", nargs=-1, required=True, type=click.Path(dir_okay=False))
@click.option(
    "--frames",
    type=click.File("r", encoding="utf-8", errors="replace"),
    default="-",
    help="A file of frames, one a line.",
)
@click.option("--received", type=Moment(), help="When frames without a time were received.")
@station_option
@message_option
@keys_option
def command(
    schemas: tuple[str, ...],
    frames: TextIO,
    received: datetime | None,
    station: int | None,
    message: str | None,
    keys: str | None,
) -> None:
    """Frames (standard input, hex, one a line) → records, JSON Lines.

    Several SCHEMAS may be given: a frame is read with the one it belongs to. What does not verify
    is reported with its reason on standard error, and the exit is 1; a line that is no frame at
    all makes it 2.
    """
    opened_by = given_keys(keys)
    codecs = [load(schema, opened_by) for schema in schemas]
    check_carried(codecs, station, message)
    # Sealed frames open by the whole counter, which goes on from one to the next.
    expected: dict[int, int] = {}
    refused: Counter[str] = Counter()
    for line in read_frames(frames, name_of(frames)):
        try:
            if isinstance(line, LogError):
                raise line
            with asked_by_option():
                record = _decode(codecs, line, received, station, message, expected)
        except DecodeError as error:
            refused[error.reason.name.lower().replace("_", " ")] += 1
            warn(f"packcodec: {line.place}: {error}")
        except LogError as error:
            refused["not a frame"] += 1
            warn(f"packcodec: {error}")
        else:
            write_line(record.to_json())
    if refused:
        said = ", ".join(f"{count} {reason}" for reason, count in sorted(refused.items()))
        warn(f"packcodec: {counted(refused.total(), 'line')} gave no record: {said}")
        sys.exit(2 if refused["not a frame"] else 1)


def _decode(
    codecs: list[Codec],
    line: FrameLine,
    received: datetime | None,
    station: int | None,
    message: str | None,
    expected: dict[int, int],
) -> Record:
    """The record by the first schema that verifies it; else the error that got furthest."""
    furthest: DecodeError | None = None
    for codec in codecs:
        try:
            opened = codec.open(
                line.frame,
                received=line.received or received,
                station=station,
                message=message,
                expected=expected,
            )
        except DecodeError as error:
            if furthest is None or furthest.reason == Reason.UNKNOWN_TAG:
                furthest = error
        else:
            number = opened.record.station
            if opened.counter is not None and number is not None:
                expected[number] = max(expected.get(number, 0), opened.counter + 1)
            return opened.record
    assert furthest is not None
    raise furthest
