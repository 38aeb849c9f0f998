"""What only people know of a dataset, from text: where the stations stood, and who publishes.

Deployments are CSV with a header; a project is TOML. Every refusal names file, line and column, or
file and key.
"""

import csv
import io
import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, NoReturn, TypeVar, get_args

from packcodec.dataset.model import Contributor, Deployment, Project, Role, SamplingDesign
from packcodec.errors import LogError
from packcodec.schema.model import Schema
from packcodec.schema.remedy import nearest, one_of

Value = TypeVar("Value")

REQUIRED = ("station", "latitude", "longitude", "start", "end")
OPTIONAL = (
    *("id", "name", "location", "uncertainty_m", "height_m", "heading_deg", "tilt_deg"),
    *("detection_distance_m", "bait", "feature", "habitat", "comments"),
)
# Camtrap DP 1.0.2, deployments table, featureType.
FEATURES = (
    *("roadPaved", "roadDirt", "trailHiking", "trailGame", "roadUnderpass", "roadOverpass"),
    *("roadBridge", "culvert", "burrow", "nestSite", "carcass", "waterSource", "fruitingTree"),
)
# A data package's name (Data Package 1.0, from memory), and its languages (Camtrap DP 1.0.2).
SHAPES: Mapping[str, tuple[str, str]] = {
    "name": (r"[a-z0-9._-]+", "use small letters, digits, and - . _"),
    "language": (r"[a-z]{3}", "use the three letters of ISO 639-3, such as eng"),
}
_BOOLEANS = {"true": True, "false": False}


def read_deployments(text: str, schema: Schema, place: str) -> tuple[Deployment, ...]:
    """Where each station stood and when, in the order of the file; see REQUIRED and OPTIONAL.

    `station` is a name or number of the schema. An id that is not given is made of the station's
    number and the day: it tells nobody where that was. Raises LogError.
    """
    lines = _lines(text, place)
    _, header = next(lines, (1, []))
    for column in REQUIRED:
        if column not in header:
            raise LogError(
                f"the column {column!r} is missing",
                place=f"{place}:1",
                remedy=f"a deployment needs {one_of(REQUIRED)} in its header".replace(
                    " or ", " and "
                ),
            )
    for column in header:
        if header.count(column) > 1:
            raise LogError(
                f"the column {column!r} is there twice", place=f"{place}:1", remedy="remove one"
            )
        if column not in (*REQUIRED, *OPTIONAL):
            raise LogError(
                f"{column!r} is no column of a deployment",
                place=f"{place}:1",
                remedy=nearest(column, (*REQUIRED, *OPTIONAL)),
            )
    found: list[Deployment] = []
    for number, cells in lines:
        if not any(cells):
            continue
        row = _Row(place, number, header, cells)
        found.append(_deployment(row, schema))
        _check(row, found)
    if not found:
        raise LogError("no deployment is there", place=place, remedy="write one line a station")
    return tuple(found)


def _lines(text: str, place: str) -> Iterator[tuple[int, list[str]]]:
    lines = csv.reader(io.StringIO(text.removeprefix("\ufeff"), newline=""), skipinitialspace=True)
    try:
        for cells in lines:
            yield lines.line_num, [cell.strip() for cell in cells]
    except csv.Error as error:
        raise LogError(f"is not CSV: {error}", place=f"{place}:{lines.line_num}") from None


class _Row:
    """One line of the file, and how to refuse a cell of it."""

    def __init__(self, place: str, line: int, header: list[str], cells: list[str]) -> None:
        self.where = f"{place}:{line}"
        if len(cells) != len(header):
            raise LogError(
                f"has {len(cells)} cells where the header has {len(header)}",
                place=self.where,
                remedy='put a cell with a comma in "…"',
            )
        self._cells = dict(zip(header, cells, strict=True))

    def text(self, column: str) -> str:
        return self._cells.get(column, "")

    def read(self, column: str, reader: Callable[[str], Value], right: str) -> Value:
        cell = self.text(column)
        try:
            return reader(cell)
        except (ValueError, KeyError, OverflowError):
            self.refuse(column, f"{cell!r} is not {right}" if cell else "is empty", f"give {right}")

    def optional(self, column: str, reader: Callable[[str], Value], right: str) -> Value | None:
        return self.read(column, reader, right) if self.text(column) else None

    def refuse(self, column: str, problem: str, remedy: str) -> NoReturn:
        raise LogError(problem, place=f"{self.where} {column}", remedy=remedy) from None


def _within(low: float, high: float) -> Callable[[str], float]:
    def read(cell: str) -> float:
        value = float(cell)
        if not low <= value <= high:
            raise ValueError
        return value

    return read


def _whole(low: int, high: int) -> Callable[[str], int]:
    def read(cell: str) -> int:
        if not low <= int(cell) <= high:
            raise ValueError
        return int(cell)

    return read


def _instant(cell: str) -> datetime:
    when = datetime.fromisoformat(cell)
    if when.utcoffset() is None:
        raise ValueError
    return when.astimezone(UTC).replace(microsecond=0)


def _deployment(row: _Row, schema: Schema) -> Deployment:
    stations = dict(schema.stations)
    names = {number: name for name, number in schema.stations}
    right = one_of(stations) if stations else "a station's number"
    station = row.read(
        "station", lambda cell: stations[cell] if cell in stations else int(cell), right
    )
    time = "a time with its offset, such as 2027-04-01T05:00:00Z"
    start = row.read("start", _instant, time)
    return Deployment(
        id=row.text("id") or f"{station}-{start:%Y%m%d}",
        station=station,
        name=row.text("name") or names.get(station, f"station {station}"),
        location=row.text("location") or f"location-{station}",
        latitude=row.read("latitude", _within(-90, 90), "degrees -90 to 90"),
        longitude=row.read("longitude", _within(-180, 180), "degrees -180 to 180"),
        start=start,
        end=row.read("end", _instant, time),
        uncertainty_m=row.optional("uncertainty_m", _whole(1, 10**7), "whole metres, 1 or more"),
        height_m=row.optional("height_m", _within(0, 1000), "metres, 0 or more"),
        heading_deg=row.optional("heading_deg", _whole(0, 360), "whole degrees 0 to 360"),
        tilt_deg=row.optional("tilt_deg", _whole(-90, 90), "whole degrees -90 to 90"),
        detection_distance_m=row.optional("detection_distance_m", _within(0, 1000), "metres"),
        bait=row.optional("bait", _BOOLEANS.__getitem__, "true or false"),
        feature=row.optional("feature", _feature, f"{one_of(FEATURES)}") or "",
        habitat=row.text("habitat"),
        comments=row.text("comments"),
    )


def _feature(cell: str) -> str:
    if cell not in FEATURES:
        raise ValueError
    return cell


def _check(row: _Row, found: list[Deployment]) -> None:
    """What one deployment must be beside those before it."""
    new = found[-1]
    if new.end <= new.start:
        row.refuse("end", "is not after the start", "swap or mend them")
    for each in found[:-1]:
        if each.id == new.id:
            row.refuse("id", f"{new.id!r} is there twice", "give each stay an id of its own")
        if each.station == new.station and each.start < new.end and new.start < each.end:
            row.refuse(
                "start", f"lies within {each.id!r} of the same station", "end that one first"
            )
        apart = (each.latitude, each.longitude) != (new.latitude, new.longitude)
        if each.location == new.location and apart:
            row.refuse(
                "location",
                f"{new.location!r} stands elsewhere in {each.id!r}",
                "give each place a location of its own",
            )


def read_project(text: str, place: str) -> Project:
    """A project from TOML: the keys of `Project`, and [[contributors]]. Raises LogError."""
    try:
        data: Mapping[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LogError(f"is not TOML: {error}", place=place) from None
    keys = set(Project.__dataclass_fields__)
    for key in data:
        if key not in keys:
            raise LogError(
                f"there is no key {key!r}", place=place, remedy=nearest(key, sorted(keys))
            )
    for key in ("name", "title", "description", "sampling_design", "contributors"):
        if not data.get(key):
            raise LogError("is missing", place=f"{place} {key}", remedy="every dataset says it")
    design = data["sampling_design"]
    if design not in get_args(SamplingDesign):
        raise LogError(
            f"{design!r} is no sampling design",
            place=f"{place} sampling_design",
            remedy=f"use {one_of(get_args(SamplingDesign))}",
        )
    if bool(data.get("data_license")) != bool(data.get("media_license")):
        raise LogError(
            "one licence of two is given",
            place=f"{place} data_license, media_license",
            remedy="name both or neither, even where no picture is published",
        )
    if not isinstance(data["contributors"], list):
        raise LogError("is no list", place=f"{place} contributors", remedy="write [[contributors]]")
    rest = {key: value for key, value in data.items() if key != "contributors"}
    for key, value in rest.items():
        wanted: type = bool if key == "invented" else str
        if not isinstance(value, wanted):
            raise LogError(f"{value!r} does not fit", place=f"{place} {key}", remedy="write a text")
    for key, (pattern, right) in SHAPES.items():
        if not re.fullmatch(pattern, data.get(key, "eng")):
            raise LogError(f"{data[key]!r} does not fit", place=f"{place} {key}", remedy=right)
    return Project(
        **rest, contributors=tuple(_contributor(each, place) for each in data["contributors"])
    )


def _contributor(data: object, place: str) -> Contributor:
    where = f"{place} contributors"
    if not isinstance(data, dict) or not data.get("title"):
        raise LogError("a contributor has no title", place=where, remedy='title = "…"')
    keys = set(Contributor.__dataclass_fields__)
    for key, value in data.items():
        if key not in keys or not isinstance(value, str):
            raise LogError(
                f"{key!r} does not fit", place=where, remedy=f"use {one_of(sorted(keys))}"
            )
    if data.get("role", "contributor") not in get_args(Role):
        raise LogError(
            f"{data['role']!r} is no role", place=where, remedy=f"use {one_of(get_args(Role))}"
        )
    return Contributor(**data)
