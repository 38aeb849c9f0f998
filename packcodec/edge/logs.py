"""Logs from files: detections, effort and health as CSV, records as JSON Lines.

One row a line. A row that cannot be read is skipped, and its place and reason are kept; a file in
which no row can be read, or without a column it needs, is refused.
"""

import csv
import json
import math
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime, time, timedelta
from difflib import get_close_matches
from typing import Any, Generic, TextIO, TypeVar

from packcodec.codec.record import Record
from packcodec.errors import LogError
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import HEALTH, VOCABULARY
from packcodec.schema.model import (
    Boolean,
    Duration,
    Field,
    Flags,
    Integer,
    Scaled,
    Schema,
    SpeciesCode,
)

Row = TypeVar("Row")

# RFC 3339, section 5.6: date and time in full, with an offset; a blank may stand for the T.
_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_LONGEST_SHOWN = 60

CLOCKS: Mapping[str, bool] = {"trusted": True, "": True, "unset": False}


@dataclass(slots=True)
class Rows(Generic[Row]):
    """The rows of a log, and what was refused: each with file, line, reason and remedy."""

    rows: list[Row] = field(default_factory=list)
    refused: list[LogError] = field(default_factory=list)


@contextmanager
def opened(path: str) -> Iterator[TextIO]:
    """The text of a file, or of standard input for "-"; a byte order mark is passed over.

    Raises LogError naming the file if it cannot be read or is not UTF-8.
    """
    place = named(path)
    try:
        if path == "-":
            sys.stdin.reconfigure(encoding="utf-8-sig", newline="")  # type: ignore[union-attr]
            yield sys.stdin
        else:
            with open(path, encoding="utf-8-sig", newline="") as file:
                yield file
    except FileNotFoundError:
        raise LogError("the file is not there", place=place) from None
    except UnicodeDecodeError:
        raise LogError("is not UTF-8 text", place=place, remedy="save it as UTF-8") from None
    except OSError as error:
        raise LogError(f"cannot be read: {error.strerror}", place=place) from None


def named(path: str) -> str:
    """How errors name a file."""
    return "standard input" if path == "-" else path


def read_detections(
    lines: Iterable[str], schema: Schema, place: str, columns: Mapping[str, str] | None = None
) -> Rows[Detection]:
    """A detection log: time (RFC 3339), station (name or number), label, confidence (0 to 1), and
    optionally individuals (1 where empty) and image. `columns` gives the name that one of these
    has in the file. Raises LogError.
    """

    def row(cell: Callable[[str], str]) -> Detection:
        return Detection(
            station=_station(cell("station"), schema),
            at=_instant(cell("time"), "time"),
            label=_filled(cell("label"), "label"),
            confidence=_confidence(cell("confidence")),
            individuals=_individuals(cell("individuals")),
            image=cell("image"),
        )

    needed, other = ("time", "station", "label", "confidence"), ("individuals", "image")
    return _read(lines, place, needed, other, columns or {}, row)


def read_watches(lines: Iterable[str], schema: Schema, place: str) -> Rows[Stretch]:
    """An effort log: station, start, end, and optionally clock (trusted, or unset). Kept in the
    order written, which alone says when an unset clock ran. Raises LogError.
    """

    def row(cell: Callable[[str], str]) -> Stretch:
        start, end = _instant(cell("start"), "start"), _instant(cell("end"), "end")
        if end <= start:
            raise _Unreadable("end", "is not after the start", "swap or drop them")
        return Stretch(_station(cell("station"), schema), start, end, _clock(cell("clock")))

    return _read(lines, place, ("station", "start", "end"), ("clock",), None, row)


def read_health(lines: Iterable[str], schema: Schema, place: str) -> Rows[Health]:
    """A health log: time, station, optionally clock, and a column for every field of the schema's
    `health` message that is not optional. An empty cell is a value not known. Raises LogError.
    """
    message = next((each for each in schema.messages if each.name == HEALTH), None)
    fields = message.fields if message else ()
    told = {each.name: each for each in fields if each.name not in VOCABULARY[HEALTH]}

    def row(cell: Callable[[str], str]) -> Health:
        values = {name: _value(cell(name), each) for name, each in told.items()}
        return Health(
            station=_station(cell("station"), schema),
            at=_instant(cell("time"), "time"),
            values=values,
            clock_trusted=_clock(cell("clock")),
        )

    needed = ("time", "station", *(name for name, each in told.items() if not each.optional))
    other = ("clock", *(name for name in told if name not in needed))
    return _read(lines, place, needed, other, None, row)


def daily_stretches(detections: Iterable[Detection], schema: Schema, hours: str) -> list[Stretch]:
    """Stretches "HH:MM-HH:MM" in UTC, one a day from a station's first detection to its last.

    One that ends at or before its start runs over midnight. Times before the schema's epoch are
    an unset clock's, and say nothing of days. Raises LogError.
    """
    found = re.fullmatch(r"([01]\d|2[0-3]):([0-5]\d)-(?:([01]\d|2[0-3]):([0-5]\d)|24:00)", hours)
    if not found:
        raise LogError(
            f"{hours!r} is not a stretch of the day", place="--watched", remedy="write 04:30-20:15"
        )
    first_h, first_min, last_h, last_min = (int(part or 0) for part in found.groups())
    start, end = time(first_h, first_min), time(last_h, last_min)
    over_midnight = timedelta(days=end <= start)
    days: dict[int, set[Any]] = {}
    for each in detections:
        if each.at >= schema.epoch:
            days.setdefault(each.station, set()).add(each.at.date())
    stretches = []
    for station, seen in sorted(days.items()):
        for ahead in range((max(seen) - min(seen)).days + 1):
            day = min(seen) + timedelta(days=ahead)
            begin = datetime.combine(day, start, UTC)
            stretches.append(
                Stretch(station, begin, datetime.combine(day, end, UTC) + over_midnight)
            )
    return stretches


def record_line(record: Record) -> str:
    """A record as one line of JSON, without its line break."""
    return json.dumps(record.to_json(), ensure_ascii=False)


def read_records(lines: Iterable[str], place: str) -> Iterator[tuple[str, Record]]:
    """JSON Lines → each record with its place, "file:line". Blank lines are passed over.

    Values stay in their JSON form, which encoding takes. Raises LogError naming file and line.
    """
    shape = 'a record is {"message": …, "station": …, "sequence": …, "values": {…}}'
    for number, line in enumerate(lines, start=1):
        where = f"{place}:{number}"
        if not line.strip():
            continue
        try:
            data = json.loads(line)
        except (ValueError, RecursionError) as error:
            problem = f"is not JSON: {error}"
            raise LogError(problem, place=where, remedy="write one record a line") from None
        if not isinstance(data, dict) or not isinstance(data.get("values"), dict):
            raise LogError("is not a record", place=where, remedy=shape)
        message, station, sequence = (data.get(key) for key in ("message", "station", "sequence"))
        whole = all(each is None or type(each) is int for each in (station, sequence))
        if not isinstance(message, str) or not whole:
            raise LogError("is not a record", place=where, remedy=shape)
        yield where, Record(message, data["values"], station, sequence)


class _Unreadable(Exception):
    """Why a row is refused: the column, what is wrong and what would be right."""

    def __init__(self, column: str, problem: str, remedy: str) -> None:
        super().__init__(column, problem, remedy)
        self.column, self.problem, self.remedy = column, problem, remedy


def _read(
    lines: Iterable[str],
    place: str,
    needed: Iterable[str],
    other: Iterable[str],
    columns: Mapping[str, str] | None,
    row: Callable[[Callable[[str], str]], Row],
) -> Rows[Row]:
    found: Rows[Row] = Rows()
    where_is: dict[str, int] | None = None
    width = 0
    for number, line in enumerate(lines, start=1):
        if not line.strip():
            continue
        try:
            cells = _cells(line)
            if where_is is None:
                width = len(cells)
                where_is = _header(cells, f"{place}:{number} header", needed, other, columns)
                continue
            if len(cells) != width:
                raise _Unreadable(
                    "",
                    f"has {len(cells)} cells where the header has {width}",
                    'put a cell with a comma in "…"',
                )
            found.rows.append(row(_cell_of(cells, where_is)))
        except _Unreadable as error:
            where = f"{place}:{number} {error.column}".rstrip()
            found.refused.append(LogError(error.problem, place=where, remedy=error.remedy))
    if where_is is None:
        raise LogError(
            "the file is empty" if not found.refused else str(found.refused[0]),
            place=place,
            remedy=f"start it with the header {','.join((*needed, *other))}",
        )
    if found.refused and not found.rows:
        raise found.refused[0]
    return found


def _cells(line: str) -> list[str]:
    try:
        # A line at a time, so that a quote left open costs its own line and no other.
        (cells,) = csv.reader([line], strict=True, skipinitialspace=True)
    except (csv.Error, ValueError) as error:
        raise _Unreadable(
            "", f"is not CSV: {error}", 'double the quotes in a cell in "…"'
        ) from None
    return [cell.strip() for cell in cells]


def _cell_of(cells: list[str], where_is: Mapping[str, int]) -> Callable[[str], str]:
    return lambda column: cells[where_is[column]] if column in where_is else ""


def _header(
    cells: list[str],
    place: str,
    needed: Iterable[str],
    other: Iterable[str],
    columns: Mapping[str, str] | None,
) -> dict[str, int]:
    """Where each column of ours stands in the file."""
    where_is = {}
    renamed = columns or {}
    for column in (*needed, *other):
        name = renamed.get(column, column)
        if cells.count(name) > 1:
            raise LogError(f"the column {name!r} is there twice", place=place, remedy="remove one")
        if name in cells:
            where_is[column] = cells.index(name)
        elif column in needed or column in renamed:
            near = get_close_matches(name.lower(), cells, n=1, cutoff=0.4)
            remedy = (
                f"the nearest is {near[0]!r}" if near else f"there is {_shown(', '.join(cells))}"
            )
            if columns is not None:
                remedy += f"; if it is there by another name, say --column {column}=NAME"
            raise LogError(f"the column {name!r} is missing", place=place, remedy=remedy)
    return where_is


def _shown(cell: str) -> str:
    return repr(cell if len(cell) <= _LONGEST_SHOWN else cell[: _LONGEST_SHOWN - 1] + "…")


def _filled(cell: str, column: str) -> str:
    if not cell:
        raise _Unreadable(column, "is empty", f"every row needs its {column}")
    return cell


def _instant(cell: str, column: str) -> datetime:
    remedy = "write it as RFC 3339 does, with an offset: 2027-04-01T06:30:00Z"
    if not _RFC_3339.fullmatch(cell):
        raise _Unreadable(column, f"{_shown(cell)} is no time with an offset", remedy)
    try:
        return datetime.fromisoformat(cell.upper()).astimezone(UTC)
    except (ValueError, OverflowError):
        raise _Unreadable(column, f"there is no {_shown(cell)}", remedy) from None


def _station(cell: str, schema: Schema) -> int:
    stations = dict(schema.stations)
    if cell in stations:
        return stations[cell]
    last = (1 << (schema.frame.station_bits or 32)) - 1
    if cell.isascii() and cell.isdecimal() and len(cell) < 11 and int(cell) <= last:
        return int(cell)
    near = get_close_matches(cell, stations, n=1)
    raise _Unreadable(
        "station",
        f"{_shown(cell)} is no station of {schema.name}",
        f"did you mean {near[0]!r}?"
        if near
        else f"use a number 0 to {last}, or a name under [stations]",
    )


def station_number(text: str, schema: Schema, place: str) -> int:
    """The number of a station given by name or number; raises LogError."""
    try:
        return _station(text, schema)
    except _Unreadable as error:
        raise LogError(error.problem, place=place, remedy=error.remedy) from None


def _confidence(cell: str) -> float:
    if _NUMBER.fullmatch(cell) and 0 <= float(cell) <= 1:
        return float(cell)
    raise _Unreadable("confidence", f"{_shown(cell)} is not from 0 to 1", "write it as 0.85")


def _individuals(cell: str) -> int:
    if not cell:
        return 1
    if _WHOLE.fullmatch(cell) and int(cell) >= 1:
        return int(cell)
    raise _Unreadable("individuals", f"{_shown(cell)} is no count", "use 1, 2, 3, …")


def _clock(cell: str) -> bool:
    if cell in CLOCKS:
        return CLOCKS[cell]
    raise _Unreadable("clock", f"{_shown(cell)} is no state of a clock", "use trusted or unset")


def _value(cell: str, field: Field) -> object:
    """A cell as the field's kind takes it; None where empty. Encoding checks its range."""
    if not cell:
        return None
    match field:
        case Integer() if _WHOLE.fullmatch(cell):
            return int(cell)
        case Scaled() | Duration() if _NUMBER.fullmatch(cell) and math.isfinite(float(cell)):
            return float(cell)
        case Boolean() if cell.lower() in ("true", "false", "1", "0"):
            return cell.lower() in ("true", "1")
        case Integer() | Scaled() | Duration() | Boolean():
            kind = type(field).__name__.lower()
            raise _Unreadable(
                field.name, f"{_shown(cell)} is no value of kind {kind}", "correct it"
            )
        case Flags():
            return cell.split()
        case SpeciesCode():
            return cell
        case _:
            return cell
