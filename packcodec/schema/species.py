"""The species code table: CSV text → checked rows.

How far each kind may be reported is a table here and nowhere else. Only an animal's visits and
times leave the station; what is or may be a person (human, vehicle, not recognised) is at most
counted, and by default not reported at all.
"""

import csv
import io
import re
from collections.abc import Iterator
from datetime import date
from typing import cast, get_args

from packcodec.errors import SchemaError
from packcodec.frozen import frozen
from packcodec.schema.model import Report, Species, SpeciesKind, SpeciesTable
from packcodec.schema.remedy import counted, nearest, one_of

# The csv module has a limit of its own, but any library in the process may have moved it.
RUNAWAY_CELL = 65_536

COLUMNS = (
    *("code", "label", "scientific_name", "authority", "rank", "common_name", "taxon_id"),
    *("kind", "sensitivity", "status", "report", "added"),
)
REQUIRED = ("code", "label", "scientific_name", "kind")

# Categories of A. D. Chapman, Current Best Practices for Generalizing Sensitive Species
# Occurrence Data, GBIF 2020, doi 10.15468/doc-5jp4-5g10: not sensitive, withheld, or the degrees
# to which coordinates are rounded.
SENSITIVITIES = ("", "withheld", "1", "0.1", "0.01", "0.001")
STATUSES = ("active", "retired")

# Permitted reports of a kind, the default first.
REPORTS: dict[SpeciesKind, tuple[Report, ...]] = {
    "animal": ("summary", "priority", "count", "never"),
    "human": ("never", "count"),
    "vehicle": ("never", "count"),
    "blank": ("never",),
    "unknown": ("never", "count"),
    "unclassified": ("never", "count"),
}

LONGEST_CELL = 200
_CODE = re.compile(r"-?[0-9]{1,9}")
_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")


def read_species(text: str, capacity: int, place: str) -> SpeciesTable:
    """CSV text with a header → the table in code order.

    Raises SchemaError naming file, line and column of what is wrong.
    """
    rows = [(cells, cells.species()) for cells in _cells(text.removeprefix("\ufeff"), place)]
    if not rows:
        raise SchemaError(
            "the species table has no rows", place=place, remedy="add one line a species"
        )
    _check_codes(rows)
    _check_labels(rows)
    _check_capacity(rows, capacity)
    species = sorted((row for _, row in rows), key=lambda row: row.code)
    if all(row.retired for row in species):
        raise SchemaError(
            "every row of the species table is retired",
            place=place,
            remedy="keep or add one that is active",
        )
    return SpeciesTable(tuple(species), capacity)


@frozen
class _Row:
    """The cells of one line, by column; a column that is not there is empty."""

    place: str
    line: int
    cells: dict[str, str]

    def error(self, column: str, problem: str, remedy: str) -> SchemaError:
        return SchemaError(problem, place=f"{self.place}:{self.line} {column}", remedy=remedy)

    def species(self) -> Species:
        for column, cell in self.cells.items():
            if len(cell) > LONGEST_CELL or not cell.isprintable():
                raise self.error(
                    column,
                    "is not one line of printable text",
                    f"use at most {LONGEST_CELL} letters, without control characters",
                )
        kind = cast(SpeciesKind, self.choice("kind", get_args(SpeciesKind)))
        return Species(
            code=self.code(),
            label=self.label(),
            scientific_name=self.scientific_name(kind),
            kind=kind,
            report=self.report(kind),
            authority=self.get("authority"),
            rank=self.get("rank"),
            common_name=self.get("common_name"),
            taxon_id=self.get("taxon_id"),
            sensitivity=self.choice("sensitivity", SENSITIVITIES),
            retired=self.choice("status", STATUSES, "active") == "retired",
            added=self.added(),
        )

    def get(self, column: str) -> str:
        return self.cells.get(column, "")

    def filled(self, column: str, remedy: str) -> str:
        cell = self.get(column)
        if not cell:
            raise self.error(column, "is empty", remedy)
        return cell

    def choice(self, column: str, options: tuple[str, ...], default: str = "") -> str:
        cell = self.get(column) or default
        if cell not in options:
            named = [option or "nothing" for option in options]
            raise self.error(column, f"{cell!r} is not {one_of(named)}", nearest(cell, named))
        return cell

    def code(self) -> int:
        cell = self.filled("code", "give each row a code of its own, counted from 0")
        if not _CODE.fullmatch(cell):
            raise self.error("code", f"{cell!r} is not an integer", "use 0, 1, 2, …")
        if cell.startswith("-"):
            raise self.error("code", f"the code {cell} is negative", "codes start at 0")
        return int(cell)

    def label(self) -> str:
        label = self.filled("label", "write what the model prints for it")
        if label.startswith("#"):
            raise self.error(
                "label",
                f"{label!r} begins with '#', as only a code without a row reads",
                "begin it with another letter",
            )
        return label

    def scientific_name(self, kind: SpeciesKind) -> str:
        if kind != "animal":
            return self.get("scientific_name")
        return self.filled(
            "scientific_name", "an animal needs one; name the genus or class if that is all known"
        )

    def report(self, kind: SpeciesKind) -> Report:
        permitted = REPORTS[kind]
        cell = self.choice("report", get_args(Report), permitted[0])
        if cell not in permitted:
            raise self.error(
                "report",
                f"a row of kind {kind} is never reported as {cell!r}: {_WHY[kind]}",
                f"use {one_of(permitted)}",
            )
        return cell

    def added(self) -> str:
        cell = self.get("added")
        if cell and not (_DATE.fullmatch(cell) and _is_date(cell)):
            raise self.error("added", f"{cell!r} is not a date", "write it as 2027-06-01")
        return cell


_MAY_BE_PERSON = "people are never reported beyond a count, and this is or may be a person"
_WHY: dict[SpeciesKind, str] = {
    "human": _MAY_BE_PERSON,
    "vehicle": _MAY_BE_PERSON,
    "unknown": _MAY_BE_PERSON,
    "unclassified": _MAY_BE_PERSON,
    "blank": "there is nothing to report",
}


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _too_long(place: str, line: int) -> SchemaError:
    return SchemaError(
        f"a cell is longer than {RUNAWAY_CELL} letters",
        place=f"{place}:{line}",
        remedy="is this the species table, and is a quote left open?",
    )


def _cells(text: str, place: str) -> Iterator[_Row]:
    """Every line that is not blank, under the header's column names."""
    lines = csv.reader(io.StringIO(text, newline=""), skipinitialspace=True, strict=True)
    header: list[str] | None = None
    line = 1
    try:
        for cells in lines:
            stripped = [cell.strip() for cell in cells]
            if any(len(cell) > RUNAWAY_CELL for cell in stripped):
                raise _too_long(place, line)
            if any(stripped):
                if header is None:
                    header = _header(stripped, place, line)
                else:
                    yield _row(stripped, header, place, line)
            line = lines.line_num + 1
    except csv.Error as error:
        if "field limit" in str(error):
            raise _too_long(place, line) from None
        raise SchemaError(
            f"this is not CSV: {error}",
            place=f"{place}:{line}",
            remedy='put a cell with commas or quotes in "…" and double the quotes in it',
        ) from None
    if header is None:
        raise SchemaError(
            "the species table is empty",
            place=place,
            remedy=f"start it with the header {','.join(COLUMNS)}",
        )


def _header(cells: list[str], place: str, line: int) -> list[str]:
    where = f"{place}:{line} header"
    if len(cells) == 1 and (found := re.search(r"[;\t]", cells[0])):
        raise SchemaError(
            f"columns are separated by {found.group()!r}", place=where, remedy="use commas"
        )
    for column in cells:
        if column not in COLUMNS:
            missing = [name for name in COLUMNS if name not in cells]
            raise SchemaError(
                f"unknown column {column[:40]!r}",
                place=where,
                remedy=nearest(column[:40], missing or COLUMNS),
            )
        if cells.count(column) > 1:
            raise SchemaError(
                f"the column {column!r} is there twice", place=where, remedy="remove one"
            )
    for column in REQUIRED:
        if column not in cells:
            raise SchemaError(
                f"the column {column!r} is missing",
                place=where,
                remedy=f"a species table needs {', '.join(REQUIRED)}",
            )
    return cells


def _row(cells: list[str], header: list[str], place: str, line: int) -> _Row:
    if len(cells) != len(header):
        raise SchemaError(
            f"has {counted(len(cells), 'cell')} where the header has {len(header)}",
            place=f"{place}:{line}",
            remedy='give every column a cell, and put a cell with a comma in "…"',
        )
    return _Row(place, line, dict(zip(header, cells, strict=True)))


def _check_codes(rows: list[tuple[_Row, Species]]) -> None:
    """A code stands for one row for ever: codes are append-only."""
    free = max(species.code for _, species in rows) + 1
    taken: dict[int, tuple[_Row, Species]] = {}
    for row, species in rows:
        if species.code in taken:
            first, other = taken[species.code]
            retired = next((one for one in (other, species) if one.retired), None)
            what = f"belongs to the retired {retired.label!r}" if retired else "is taken"
            raise row.error(
                "code",
                f"the code {species.code} {what} (lines {first.line} and {row.line})",
                f"codes are append-only and never reused: the next free one is {free}",
            )
        taken[species.code] = row, species


def _check_labels(rows: list[tuple[_Row, Species]]) -> None:
    taken: dict[str, _Row] = {}
    for row, species in rows:
        if species.label in taken:
            raise row.error(
                "label",
                f"the label {species.label!r} is already on line {taken[species.label].line}",
                "a label names one row; keep the first and remove or relabel this one",
            )
        taken[species.label] = row


def _check_capacity(rows: list[tuple[_Row, Species]], capacity: int) -> None:
    needed = max(species.code for _, species in rows) + 1
    for row, species in rows:
        if species.code >= capacity:
            raise row.error(
                "code",
                f"the code {species.code} does not fit a table of {capacity} codes",
                f"set codes = {needed} or more under [species], or renumber a table not yet "
                "in the field",
            )
