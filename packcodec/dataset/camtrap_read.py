"""Camtrap DP read: deployments, effort and events of a package that anybody wrote.

For statistics over one's own and others' data alike. Only what those need is read; rows of media
level, of people, blanks and vehicles are passed over.
"""

import csv
import io
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime

from packcodec.dataset.rates import Seen
from packcodec.errors import LogError


@dataclass(frozen=True, slots=True)
class Events:
    """Seconds from start to end of each deployment, and the animals with a name seen in events.

    The standard knows no effort but a deployment's length: where a station watched by day only,
    or failed, it is too long.
    """

    effort_s: Mapping[str, float]
    seen: tuple[Seen, ...]


def read_camtrap_dp(deployments: str, observations: str) -> Events:
    """The text of deployments.csv and observations.csv → what was seen, and for how long.

    Raises LogError naming table, line and column.
    """
    effort: dict[str, float] = {}
    for place, row in _rows(deployments, "deployments.csv"):
        start, end = (_time(row, f"deployment{each}", place) for each in ("Start", "End"))
        if end < start:
            raise LogError("ends before it starts", place=place, remedy="mend deploymentEnd")
        effort[_cell(row, "deploymentID", place)] = (end - start).total_seconds()
    seen = []
    for place, row in _rows(observations, "observations.csv"):
        level, kind = (_cell(row, f"observation{each}", place) for each in ("Level", "Type"))
        name = row.get("scientificName", "")
        if (level, kind) != ("event", "animal") or not name:
            continue
        deployment = _cell(row, "deploymentID", place)
        if deployment not in effort:
            raise LogError(
                f"{deployment!r} is no deployment", place=f"{place} deploymentID", remedy="add it"
            )
        start, end = (_time(row, f"event{each}", place) for each in ("Start", "End"))
        seen.append(Seen(deployment, name, start, end))
    return Events(effort, tuple(seen))


def _rows(text: str, name: str) -> Iterator[tuple[str, dict[str, str]]]:
    lines = csv.DictReader(io.StringIO(text.removeprefix("\ufeff"), newline=""))
    for row in lines:
        yield f"{name}:{lines.line_num}", row


def _cell(row: Mapping[str, str], column: str, place: str) -> str:
    cell = row.get(column)
    if not cell:
        raise LogError("is empty or missing", place=f"{place} {column}", remedy="fill it")
    return cell


def _time(row: Mapping[str, str], column: str, place: str) -> datetime:
    cell = _cell(row, column, place)
    try:
        when = datetime.fromisoformat(cell)
    except ValueError:
        when = datetime.min
    if when.utcoffset() is None:
        raise LogError(
            f"{cell!r} is no time with an offset",
            place=f"{place} {column}",
            remedy="write it as 2027-04-01T06:30:00Z",
        )
    return when.astimezone(UTC)
