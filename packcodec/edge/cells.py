"""Cells of a log → values, each refusal with its column and what would be right."""

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime
from difflib import get_close_matches

from packcodec.schema.model import Boolean, Duration, Field, Flags, Integer, Scaled, Schema
from packcodec.schema.words import kind_of, range_of

# RFC 3339, section 5.6: date and time in full, with an offset; a blank may stand for the T.
_RFC_3339 = re.compile(r"\d{4}-\d\d-\d\d[Tt ]\d\d:\d\d:\d\d(\.\d+)?([Zz]|[+-]\d\d:\d\d)", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d+(\.\d*)?|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d{1,18}", re.ASCII)
_LONGEST_SHOWN = 60

# So that an interval around any instant lies within the calendar, which ends at 1 and 9999.
YEARS = range(2, 9999)

_CLOCKS: Mapping[str, bool] = {"trusted": True, "": True, "unset": False}
_BOOLEANS: Mapping[str, bool] = {"true": True, "1": True, "false": False, "0": False}


class Unreadable(Exception):
    """Why a row is refused: the column, what is wrong and what would be right."""

    def __init__(self, column: str, problem: str, remedy: str) -> None:
        super().__init__(column, problem, remedy)
        self.column, self.problem, self.remedy = column, problem, remedy


def shown(cell: str) -> str:
    """A cell in quotes for an error, cut where it is long."""
    return repr(cell if len(cell) <= _LONGEST_SHOWN else cell[: _LONGEST_SHOWN - 1] + "…")


def filled(cell: str, column: str) -> str:
    """The cell itself. Raises Unreadable where it is empty."""
    if not cell:
        raise Unreadable(column, "is empty", f"every row needs its {column}")
    return cell


def instant_of(cell: str, column: str) -> datetime:
    """A time with an offset, in UTC. Raises Unreadable for any other, and outside YEARS."""
    remedy = "write it as RFC 3339 does, with an offset: 2027-04-01T06:30:00Z"
    if not _RFC_3339.fullmatch(cell):
        raise Unreadable(column, f"{shown(cell)} is no time with an offset", remedy)
    try:
        instant = datetime.fromisoformat(cell.upper()).astimezone(UTC)
    except (ValueError, OverflowError):
        raise Unreadable(column, f"there is no {shown(cell)}", remedy) from None
    if instant.year not in YEARS:
        raise Unreadable(column, f"the year of {shown(cell)} is out of range", "was a clock wrong?")
    return instant


def station_of(cell: str, schema: Schema) -> int:
    """A station's number, by name or number. Raises Unreadable for none of the schema."""
    stations = dict(schema.stations)
    if cell in stations:
        return stations[cell]
    last = (1 << (schema.frame.station_bits or 32)) - 1
    if cell.isascii() and cell.isdecimal() and len(cell) < 11 and int(cell) <= last:
        return int(cell)
    near = get_close_matches(cell, stations, n=1)
    raise Unreadable(
        "station",
        f"{shown(cell)} is no station of {schema.name}",
        f"did you mean {near[0]!r}?"
        if near
        else f"use a number 0 to {last}, or a name under [stations]",
    )


def confidence_of(cell: str) -> float:
    """A confidence, 0 to 1. Raises Unreadable for anything else."""
    if _NUMBER.fullmatch(cell) and 0 <= float(cell) <= 1:
        return float(cell)
    raise Unreadable("confidence", f"{shown(cell)} is not from 0 to 1", "write it as 0.85")


def individuals_of(cell: str) -> int:
    """How many, 1 or more; an empty cell is one. Raises Unreadable for no count."""
    if not cell:
        return 1
    if _WHOLE.fullmatch(cell) and int(cell) >= 1:
        return int(cell)
    raise Unreadable("individuals", f"{shown(cell)} is no count", "use 1, 2, 3, …")


def clock_of(cell: str) -> bool:
    """Whether the clock was trusted, as it is where the cell is empty. Raises Unreadable."""
    if cell in _CLOCKS:
        return _CLOCKS[cell]
    raise Unreadable("clock", f"{shown(cell)} is no state of a clock", "use trusted or unset")


def value_of(cell: str, field: Field) -> object:
    """A cell as the field's kind takes it; None where empty. Encoding checks its range."""
    if not cell:
        return None
    match field:
        case Integer() if _WHOLE.fullmatch(cell):
            return int(cell)
        case Scaled() | Duration() if _NUMBER.fullmatch(cell) and math.isfinite(float(cell)):
            return float(cell)
        case Boolean() if cell.lower() in _BOOLEANS:
            return _BOOLEANS[cell.lower()]
        case Integer() | Scaled() | Duration() | Boolean():
            remedy = f"the schema takes {range_of(field)}"
            raise Unreadable(field.name, f"{shown(cell)} does not fit {kind_of(field)}", remedy)
        case Flags():
            return cell.split()
        case _:
            return cell
