"""Flat tables, and the same as Arrow and pandas."""

import csv
import io
import json
from datetime import UTC, datetime, timedelta, timezone

import pytest
from small_dataset import DAY, dataset, demo, row, small, summary

from packcodec.codec.record import AtMost, Record
from packcodec.dataset.frames import to_arrow, to_pandas
from packcodec.dataset.geojson import geojson
from packcodec.dataset.protect import protect
from packcodec.dataset.tables import cell_text, table_csv, tables


def test_every_row_is_as_wide_as_its_columns_and_fills_what_is_required() -> None:
    for table in tables(demo()):
        for each in table.rows:
            assert len(each) == len(table.columns)
            empty = [c.name for c, cell in zip(table.columns, each, strict=True) if cell is None]
            assert not [c.name for c in table.columns if c.required and c.name in empty]


def test_no_table_is_forgotten() -> None:
    names = [each.name for each in tables(small())]
    assert names == [
        *("deployments", "sightings", "interval_totals", "intervals", "effort", "gaps", "health")
    ]


@pytest.mark.parametrize(
    ("cell", "text"),
    [
        (None, ""),
        (True, "true"),
        (0.1 + 0.2, "0.3"),
        (54.7123, "54.7123"),
        (datetime(2027, 4, 2, 6, 0, 0, 999_999, UTC), "2027-04-02T06:00:00Z"),
        (datetime(2027, 4, 2, 8, tzinfo=timezone(timedelta(hours=2))), "2027-04-02T06:00:00Z"),
    ],
)
def test_cells_are_written_as_standards_take_them(cell: object, text: str) -> None:
    assert cell_text(cell) == text  # type: ignore[arg-type]


def test_a_value_that_is_only_a_bound_says_so_in_health() -> None:
    values = {"at": DAY, "battery_mv": AtMost(2800), "temperature_c": 4, "state": ("restarted",)}
    (health,) = [
        each for each in tables(dataset(Record("health", values, 1, 0))) if each.name == "health"
    ]
    (found,) = csv.DictReader(io.StringIO(table_csv(health)))
    assert (found["battery_mv"], found["bounds"]) == ("2800", "battery_mv at most")
    assert (found["state"], found["humidity_percent"]) == ("restarted", "")


def test_arrow_has_the_same_rows_with_types() -> None:
    frames = to_arrow(demo())
    for table in tables(demo()):
        frame = frames[table.name]
        assert frame.column_names == [each.name for each in table.columns]
        assert [tuple(each.values()) for each in frame.to_pylist()] == [
            tuple(
                int(c) if k.kind == "integer" and c is not None else c
                for c, k in zip(r, table.columns, strict=True)
            )
            for r in table.rows
        ]


def test_pandas_sums_what_the_tables_say() -> None:
    frames = to_pandas(small())
    assert frames["intervals"]["watched_min"].sum() == 300
    assert str(frames["interval_totals"]["visits"].dtype) == "Int64"
    by_species = frames["interval_totals"].groupby("species")["visits"].sum()
    assert by_species["mallard"] == 2


def test_geojson_has_longitude_first_and_sums_visits() -> None:
    data = protect(dataset(summary(0, 6, row("mallard", 2)), summary(1, 7, row("mallard", 3))))
    first = json.loads(geojson(data))["features"][0]
    assert first["geometry"]["coordinates"] == [2.6011, 54.7123]
    assert first["properties"]["visits"] == {"mallard": 5}
    assert first["properties"]["watched_h"] == 2
