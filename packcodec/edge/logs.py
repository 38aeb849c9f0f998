"""Logs from files: detections, effort and health as CSV.

One row a line. A row that cannot be read is skipped, and its place and reason are kept; a file in
which no row can be read, or without a column it needs, is refused.
"""

import csv
import re
import sys
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from difflib import get_close_matches
from typing import Generic, TextIO, TypeVar

from packcodec.edge.cells import (
    Unreadable,
    clock_of,
    confidence_of,
    filled,
    individuals_of,
    instant_of,
    shown,
    station_of,
    value_of,
)
from packcodec.edge.files import CHECK_NAME, NAME_READABLE
from packcodec.errors import LogError
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.vocabulary import HEALTH, VOCABULARY
from packcodec.schema.model import Schema
from packcodec.schema.remedy import counted

Row = TypeVar("Row")

# Longer than any season between two visits of a person, who would know.
LONGEST_WATCHED = timedelta(days=366)
# More than the cells of a row need, less than the csv module agrees to read.
LONGEST_LINE = 65_536


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
        raise LogError("the file is not there", place=place, remedy=CHECK_NAME) from None
    except UnicodeDecodeError:
        raise LogError("is not UTF-8 text", place=place, remedy="save it as UTF-8") from None
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        raise LogError(problem, place=place, remedy=NAME_READABLE) from None


def named(path: str) -> str:
    """How errors name a file."""
    return {"-": "standard input", "": "a file without a name"}.get(path, path)


def read_detections(
    lines: Iterable[str], schema: Schema, place: str, columns: Mapping[str, str] | None = None
) -> Rows[Detection]:
    """A detection log: time (RFC 3339), station (name or number), label, confidence (0 to 1), and
    optionally individuals (1 where empty) and image. `columns` gives the name that one of these
    has in the file. Raises LogError.
    """

    def row(cell: Callable[[str], str]) -> Detection:
        return Detection(
            station=station_of(cell("station"), schema),
            at=instant_of(cell("time"), "time"),
            label=filled(cell("label"), "label"),
            confidence=confidence_of(cell("confidence")),
            individuals=individuals_of(cell("individuals")),
            image=cell("image"),
        )

    needed, other = ("time", "station", "label", "confidence"), ("individuals", "image")
    return _read(lines, place, needed, other, columns or {}, row)


def read_watches(lines: Iterable[str], schema: Schema, place: str) -> Rows[Stretch]:
    """An effort log: station, start, end, and optionally clock (trusted, or unset). Kept in the
    order written, which alone says when an unset clock ran. Raises LogError.
    """

    def row(cell: Callable[[str], str]) -> Stretch:
        start, end = instant_of(cell("start"), "start"), instant_of(cell("end"), "end")
        if end <= start:
            raise Unreadable("end", "is not after the start", "swap or drop them")
        if end - start > LONGEST_WATCHED:
            raise Unreadable(
                "end",
                f"is {(end - start).days} days after the start",
                f"a stretch has at most {LONGEST_WATCHED.days}: was a clock wrong?",
            )
        return Stretch(station_of(cell("station"), schema), start, end, clock_of(cell("clock")))

    return _read(lines, place, ("station", "start", "end"), ("clock",), None, row)


def read_health(lines: Iterable[str], schema: Schema, place: str) -> Rows[Health]:
    """A health log: time, station, optionally clock, and a column for every field of the schema's
    `health` message that is not optional. An empty cell is a value not known. Raises LogError.
    """
    message = next((each for each in schema.messages if each.name == HEALTH), None)
    fields = message.fields if message else ()
    told = {each.name: each for each in fields if each.name not in VOCABULARY[HEALTH]}

    def row(cell: Callable[[str], str]) -> Health:
        values = {name: value_of(cell(name), each) for name, each in told.items()}
        return Health(
            station=station_of(cell("station"), schema),
            at=instant_of(cell("time"), "time"),
            values=values,
            clock_trusted=clock_of(cell("clock")),
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
    if start == end and not hours.endswith("24:00"):
        raise LogError(
            f"{hours!r} is no time at all", place="--watched", remedy="all day is 00:00-24:00"
        )
    over_midnight = timedelta(days=end <= start)
    days: dict[int, set[date]] = {}
    for each in detections:
        if each.at >= schema.epoch:
            days.setdefault(each.station, set()).add(each.at.date())
    stretches = []
    for station, seen in sorted(days.items()):
        first, last = min(seen), max(seen)
        if last - first > LONGEST_WATCHED:
            raise LogError(
                f"station {station} saw something on {first} and on {last}",
                place="--watched",
                remedy="a clock was wrong, or nobody knows that it watched all that time: "
                "use --watch",
            )
        for ahead in range((last - first).days + 1):
            day = first + timedelta(days=ahead)
            until = datetime.combine(day, end, UTC) + over_midnight
            stretches.append(Stretch(station, datetime.combine(day, start, UTC), until))
    return stretches


def station_number(text: str, schema: Schema, place: str) -> int:
    """The number of a station given by name or number; raises LogError."""
    try:
        return station_of(text, schema)
    except Unreadable as error:
        raise LogError(error.problem, place=place, remedy=error.remedy) from None


def _read(
    lines: Iterable[str],
    place: str,
    needed: Iterable[str],
    other: Iterable[str],
    columns: Mapping[str, str] | None,
    row: Callable[[Callable[[str], str]], Row],
) -> Rows[Row]:
    numbered = ((n, line) for n, line in enumerate(lines, start=1) if line.strip())
    first = next(numbered, None)
    if first is None:
        remedy = f"start it with the header {','.join((*needed, *other))}"
        raise LogError("the file is empty", place=place, remedy=remedy)
    where = f"{place}:{first[0]} header"
    try:
        header = _cells(first[1])
    except Unreadable as error:
        raise LogError(error.problem, place=where, remedy=error.remedy) from None
    where_is = _header(header, where, needed, other, columns)
    found: Rows[Row] = Rows()
    for number, line in numbered:
        try:
            cells = _cells(line)
            if len(cells) != len(header):
                counts = f"has {counted(len(cells), 'cell')} where the header has {len(header)}"
                raise Unreadable("", counts, 'put a cell with a comma in "…"')
            found.rows.append(row(_cell_of(cells, where_is)))
        except Unreadable as error:
            where = f"{place}:{number} {error.column}".rstrip()
            found.refused.append(LogError(error.problem, place=where, remedy=error.remedy))
    if found.refused and not found.rows:
        raise found.refused[0]
    return found


def _cells(line: str) -> list[str]:
    if len(line) > LONGEST_LINE:
        problem = f"is a line of {len(line)} letters"
        raise Unreadable("", problem, f"a row has at most {LONGEST_LINE}; is this a log in CSV?")
    try:
        # A line at a time, so that a quote left open costs its own line and no other.
        (cells,) = csv.reader([line], strict=True, skipinitialspace=True)
    except (csv.Error, ValueError) as error:
        raise Unreadable("", f"is not CSV: {error}", 'double the quotes in a cell in "…"') from None
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
    if len(cells) == 1 and (found := re.search(r"[;\t]", cells[0])):
        problem = f"columns are separated by {found.group()!r}"
        raise LogError(problem, place=place, remedy="use commas")
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
                f"the nearest is {near[0]!r}" if near else f"there is {shown(', '.join(cells))}"
            )
            if columns is not None:
                remedy += f"; if it is there by another name, say --column {column}=NAME"
            raise LogError(f"the column {name!r} is missing", place=place, remedy=remedy)
    return where_is
