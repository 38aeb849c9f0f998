"""The dataset as flat tables: one definition from which CSV, Parquet, data frames and the extra
tables of a data package are all made.

Names are the package's own words, units are in names, times are UTC. An empty cell is not known.
"""

import csv
import io
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any, Literal, TypeAlias

from packcodec.dataset.model import Dataset
from packcodec.dataset.values import bound

Kind = Literal["string", "integer", "number", "boolean", "datetime"]
Cell: TypeAlias = str | int | float | bool | datetime | None
Row: TypeAlias = tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """A column's name, kind of cell and meaning; `required` ones have no empty cell."""

    name: str
    kind: Kind
    note: str
    required: bool = False


@dataclass(frozen=True, slots=True)
class Table:
    """A table of `name`, its rows as wide as its columns."""

    name: str
    note: str
    columns: tuple[Column, ...]
    rows: tuple[Row, ...]


_DEPLOYMENT = Column("deployment", "string", "id of the deployment", required=True)
_PROVENANCE = Column("provenance", "string", "radio, recovered (by repair), or card", required=True)
_CLOCK = Column(
    "clock", "string", "trusted, corrected (by when frames were heard), or unset", required=True
)
_SPECIES = (
    Column("species", "string", "label in the species code table", required=True),
    Column("scientific_name", "string", "scientific name"),
)


def tables(data: Dataset) -> tuple[Table, ...]:
    """All tables: deployments, sightings, interval_totals, intervals, effort, gaps, health."""
    makers: tuple[Callable[[Dataset], Table], ...] = (
        _deployments,
        _sightings,
        interval_totals,
        intervals,
        effort,
        gaps,
        health,
    )
    return tuple(make(data) for make in makers)


def csv_text(columns: Sequence[str], rows: Iterable[Row]) -> str:
    """RFC 4180 text with a header, no byte order mark, and line feeds."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(columns)
    writer.writerows([[cell_text(cell) for cell in row] for row in rows])
    return out.getvalue()


def table_csv(table: Table) -> str:
    """The whole table as CSV, as `csv_text` writes it."""
    return csv_text([column.name for column in table.columns], table.rows)


def cell_text(cell: Cell) -> str:
    """A cell as exchange standards write it: times to the second with Z, booleans in lower case."""
    match cell:
        case None:
            return ""
        case bool():
            return "true" if cell else "false"
        case datetime():
            return utc_text(cell)
        case float():
            return f"{cell:.10g}"
        case _:
            return str(cell)


def utc_text(when: datetime) -> str:
    """To the whole second, with Z: no exchange standard here takes a fraction or no zone."""
    return when.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def name_of(data: Dataset, label: str) -> str:
    """The scientific name of a species by its label, which is one of `data.species`."""
    return data.species[label].scientific_name


def _deployments(data: Dataset) -> Table:
    columns = (
        _DEPLOYMENT,
        Column("station", "integer", "number on the air", required=True),
        Column("name", "string", "name for people"),
        Column("location", "string", "id of the place", required=True),
        Column("latitude", "number", "degrees, WGS 84", required=True),
        Column("longitude", "number", "degrees, WGS 84", required=True),
        Column("uncertainty_m", "integer", "uncertainty of the position"),
        Column("coordinate_precision", "number", "degrees rounded to; empty where as held"),
        Column("start", "datetime", "set out", required=True),
        Column("end", "datetime", "taken in, or last known to have run", required=True),
        Column("height_m", "number", "above ground"),
        Column("heading_deg", "integer", "clockwise from north"),
        Column("tilt_deg", "integer", "-90 down, 90 up"),
        Column("detection_distance_m", "number", "greatest distance at which it detects"),
        Column("bait", "boolean", "whether there was bait"),
        Column("feature", "string", "what the place is"),
        Column("habitat", "string", "habitat"),
        Column("comments", "string", "comments"),
    )
    rows = [
        (
            *(each.id, each.station, each.name, each.location, each.latitude, each.longitude),
            *(each.uncertainty_m, each.coordinate_precision, each.start, each.end),
            *(each.height_m, each.heading_deg, each.tilt_deg, each.detection_distance_m),
            *(each.bait, each.feature, each.habitat, each.comments),
        )
        for each in data.deployments
    ]
    return Table("deployments", "one stay of one station at one place", columns, tuple(rows))


def _sightings(data: Dataset) -> Table:
    columns = (
        Column("sighting", "string", "id", required=True),
        _DEPLOYMENT,
        Column("start", "datetime", "start of the visit; empty where the clock was unset"),
        Column("end", "datetime", "end of the visit as far as told"),
        Column("to_the_day", "boolean", "the hour is kept back", required=True),
        *_SPECIES,
        Column("individuals", "integer", "most in one picture: a lower bound", required=True),
        Column("individuals_at_least", "boolean", "there may have been more", required=True),
        Column("confidence", "number", "the model's, 0 to 1"),
        _PROVENANCE,
        _CLOCK,
    )
    rows = [
        (
            *(each.id, each.deployment, each.start, each.end, each.to_the_day),
            *(each.species, name_of(data, each.species)),
            *(each.individuals.value, each.individuals.at_least, each.confidence),
            *(each.provenance, each.clock),
        )
        for each in data.sightings
    ]
    return Table("sightings", "one visit that was told by itself", columns, tuple(rows))


def interval_totals(data: Dataset) -> Table:
    """One species in one interval: what was counted there, never split into made-up events."""
    columns = (
        _DEPLOYMENT,
        Column("start", "datetime", "start of the interval; empty where the clock was unset"),
        Column("end", "datetime", "end of the interval"),
        Column("to_the_day", "boolean", "summed over a day, its hours kept back", required=True),
        *_SPECIES,
        Column("visits", "integer", "independent visits that began in it", required=True),
        Column("visits_at_least", "boolean", "there may have been more", required=True),
        Column("most", "integer", "most individuals in one picture", required=True),
        Column("most_at_least", "boolean", "there may have been more", required=True),
        Column("first", "datetime", "first detection"),
        Column("last", "datetime", "last detection"),
        Column("confidence", "number", "mean of the detections counted, 0 to 1"),
        _PROVENANCE,
        _CLOCK,
    )
    rows = [
        (
            *(each.deployment, each.start, each.end, each.to_the_day),
            *(each.species, name_of(data, each.species)),
            *(each.visits.value, each.visits.at_least, each.most.value, each.most.at_least),
            *(_after(each.start, each.first_s), _after(each.start, each.last_s)),
            *(each.confidence, each.provenance, each.clock),
        )
        for each in data.totals
    ]
    note = f"visits of one species in one interval, {_independence(data)}"
    return Table("interval_totals", note, columns, tuple(rows))


def intervals(data: Dataset) -> Table:
    """Every interval that was told of, with or without animals: the effort behind the totals."""
    columns = (
        _DEPLOYMENT,
        Column("start", "datetime", "start of the interval; empty where the clock was unset"),
        Column("end", "datetime", "end of the interval"),
        Column("watched_min", "number", "minutes really watched; empty where not told"),
        Column("rows_left_out", "integer", "species for which there was no room", required=True),
        Column("rows_left_out_at_least", "boolean", "there may have been more", required=True),
        _PROVENANCE,
        _CLOCK,
    )
    rows = [
        (
            *(each.deployment, each.start, each.end, _minutes(each.watched_s)),
            *(each.left_out.value, each.left_out.at_least, each.provenance, each.clock),
        )
        for each in data.intervals
    ]
    note = "one summary each; no total beside it means watched and saw none"
    return Table("intervals", note, columns, tuple(rows))


def effort(data: Dataset) -> Table:
    """One row a stretch of each deployment: watching, off or unknown."""
    columns = (
        _DEPLOYMENT,
        Column("start", "datetime", "start of the stretch", required=True),
        Column("end", "datetime", "end of the stretch", required=True),
        Column("state", "string", "watching, off, or unknown", required=True),
        Column("watched_min", "number", "minutes of it really watched", required=True),
        Column("reason", "string", "why it was off or is unknown, where told"),
    )
    rows = [
        (each.deployment, each.start, each.end, each.state, each.watched_s / 60, each.reason)
        for each in data.effort
    ]
    note = "each deployment from start to end; unknown is not zero"
    return Table("effort", note, columns, tuple(rows))


def gaps(data: Dataset) -> Table:
    """One row for every run of frames that never came."""
    columns = (
        _DEPLOYMENT,
        Column("missing", "integer", "frames that never came", required=True),
        Column("after", "datetime", "the last that came before"),
        Column("before", "datetime", "the first that came after"),
        Column("at_restart", "boolean", "numbers may have been skipped, not lost", required=True),
    )
    rows = [
        (each.deployment, each.missing, each.after, each.before, each.at_restart)
        for each in data.gaps
    ]
    return Table("gaps", "frames that were sent and never came", columns, tuple(rows))


def health(data: Dataset) -> Table:
    """One row a health report, with the fields of the schema's own message."""
    told = [
        Column(each.name, each.kind, f"{each.note} [{each.unit}]" if each.unit else each.note)
        for each in data.health_fields
    ]
    columns = (
        _DEPLOYMENT,
        Column("at", "datetime", "when it was told; empty where the clock was unset"),
        *told,
        Column("bounds", "string", "values that are only a bound, and which"),
        _PROVENANCE,
        _CLOCK,
    )
    rows = []
    for each in data.health:
        values = {column.name: bound(each.values.get(column.name)) for column in told}
        bounds = [f"{name} {side}" for name, (_, side) in values.items() if side]
        cells = [_health_cell(inner) for inner, _ in values.values()]
        rows.append(
            (each.deployment, each.at, *cells, " | ".join(bounds), each.provenance, each.clock)
        )
    return Table("health", "the stations' own state", columns, tuple(rows))


def _health_cell(value: Any) -> Cell:
    if isinstance(value, list | tuple):
        return " | ".join(str(each) for each in value)
    cell: Cell = value
    return cell


def _after(start: datetime | None, seconds: float | None) -> datetime | None:
    if start is None or seconds is None:
        return None
    return datetime.fromtimestamp(start.timestamp() + seconds, UTC)


def _minutes(seconds: float | None) -> float | None:
    return None if seconds is None else seconds / 60


def _independence(data: Dataset) -> str:
    return f"{data.independence_s // 60} min or more after the last detection being a new visit"
