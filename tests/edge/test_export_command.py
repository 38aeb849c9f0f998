"""`packcodec export`: from lines or a store to files, and what each refuses."""

import csv
import io
import json
import zipfile
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from small_dataset import CREATED, DAY, FOLDER, demo_codec, row, sighting, small, summary

from packcodec.codec.record import Record
from packcodec.dataset.darwin import darwin_core
from packcodec.dataset.protect import protect
from packcodec.edge.cli.export import command
from packcodec.edge.dataset_source import read_source
from packcodec.edge.export_files import zipped
from packcodec.edge.lines import record_line
from packcodec.errors import LogError, MissingPartError

RECORDS = [
    summary(0, 6, row("mallard", 2), row("otter")),
    sighting(1, 6.5, "otter"),
    summary(3, 9, row("white_tailed_eagle")),
]
FILES = (
    "--deployments",
    str(FOLDER / "deployments.csv"),
    "--project",
    str(FOLDER / "project.toml"),
)
SCHEMA = str(FOLDER / "schema.toml")


@pytest.fixture
def lines(tmp_path: Path) -> str:
    path = tmp_path / "records.jsonl"
    path.write_text("".join(f"{record_line(each)}\n" for each in RECORDS), encoding="utf-8")
    return str(path)


def run(source: str, out: Path, form: str, *more: str) -> Result:
    arguments = [SCHEMA, source, str(out), "--to", form, *FILES, *more]
    return CliRunner().invoke(command, arguments, catch_exceptions=False)


def test_a_data_package_in_a_folder(lines: str, tmp_path: Path) -> None:
    ran = run(lines, tmp_path / "package", "camtrap-dp", "--json")
    account = json.loads(ran.output)
    assert {Path(each).name for each in account["written"]} >= {
        *("datapackage.json", "deployments.csv", "media.csv", "observations.csv", "effort.csv")
    }
    assert (account["sightings"], account["frames_missing"]) == (1, 1)
    assert "withholds" in account["withheld"]
    assert "north_hide" not in (tmp_path / "package" / "deployments.csv").read_text("utf-8")


def test_an_archive_in_a_zip_by_either_vocabulary(lines: str, tmp_path: Path) -> None:
    run(lines, tmp_path / "old.zip", "darwin-core")
    run(lines, tmp_path / "new.zip", "darwin-core", "--status", "detected")
    said = []
    for name in ("old.zip", "new.zip"):
        with zipfile.ZipFile(tmp_path / name) as archive:
            assert set(archive.namelist()) == {
                *("meta.xml", "eml.xml", "event.csv", "occurrence.csv", "humboldt.csv")
            }
            text = archive.read("occurrence.csv").decode()
        said.append({each["occurrenceStatus"] for each in csv.DictReader(io.StringIO(text))})
    assert said == [{"present"}, {"detected"}]


def test_the_same_files_make_the_same_zip() -> None:
    files = darwin_core(protect(small()))
    assert zipped(files, CREATED) == zipped(files, CREATED)


def test_tables_as_csv_and_parquet_have_the_same_rows(lines: str, tmp_path: Path) -> None:
    parquet = pytest.importorskip("pyarrow.parquet")
    run(lines, tmp_path / "csv", "csv")
    run(lines, tmp_path / "parquet", "parquet")
    for path in sorted((tmp_path / "csv").glob("*.csv")):
        rows = list(csv.reader(io.StringIO(path.read_text("utf-8"))))
        table = parquet.read_table(tmp_path / "parquet" / f"{path.stem}.parquet")
        assert rows[0] == table.column_names
        assert len(rows) - 1 == table.num_rows
    assert table.num_rows == 1


def test_geojson_in_a_file(lines: str, tmp_path: Path) -> None:
    run(lines, tmp_path / "map.json", "geojson")
    assert len(json.loads((tmp_path / "map.json").read_text("utf-8"))["features"]) == 4


def test_all_of_it_only_on_an_explicit_order_and_with_a_warning(lines: str, tmp_path: Path) -> None:
    ran = run(lines, tmp_path / "all", "csv", "--exact")
    assert "do not publish" in ran.stderr
    assert "white_tailed_eagle" in (tmp_path / "all" / "interval_totals.csv").read_text("utf-8")


def test_a_line_that_cannot_be_read_is_said_and_passed(lines: str, tmp_path: Path) -> None:
    with open(lines, "a", encoding="utf-8") as file:
        file.write("nonsense\n")
    ran = run(lines, tmp_path / "all", "csv")
    assert ran.exit_code == 2
    assert ":4: is not JSON" in ran.stderr


@pytest.mark.parametrize(
    ("source", "out", "said"),
    [
        ("absent.jsonl", "x", "absent.jsonl: the file is not there"),
        (None, "file/below", "cannot be written"),
    ],
)
def test_what_cannot_be_read_or_written_is_named(
    lines: str, tmp_path: Path, source: str | None, out: str, said: str
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(LogError, match=said):
        run(source or lines, tmp_path / out, "csv")


def test_without_pyarrow_one_line_says_what_to_install(
    lines: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "pyarrow.parquet", None)
    with pytest.raises(MissingPartError, match=r"pip install 'packcodec\[dataset\]'"):
        run(lines, tmp_path / "p", "parquet")


def stored(tmp_path: Path, records: list[Record], lost: set[int] = frozenset()) -> str:  # type: ignore[assignment]
    """A store that heard the frames of these records, an hour after each other."""
    pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")
    from packcodec.edge.heard import Heard
    from packcodec.edge.store import Store

    path = str(tmp_path / "store.db")
    store = Store.open(path, [demo_codec()])
    store.ingest(
        [
            Heard(demo_codec().encode(each), DAY + timedelta(hours=7 + n), "base")
            for n, each in enumerate(records)
            if n not in lost
        ]
    )
    store.close()
    return path


def test_a_store_gives_what_its_records_give(tmp_path: Path) -> None:
    told = read_source(stored(tmp_path, RECORDS), demo_codec())
    assert [each.record.sequence for each in told.heard] == [0, 1, 3]
    assert [each.provenance for each in told.heard] == ["radio"] * 3
    assert told.heard[0].received == DAY + timedelta(hours=7)
    ran = run(str(tmp_path / "store.db"), tmp_path / "out", "csv", "--json")
    assert json.loads(ran.output)["frames_missing"] == 1


def test_a_card_fills_what_the_radio_lost(tmp_path: Path) -> None:
    source = stored(tmp_path, [summary(0, 6), summary(1, 7, row("coot")), summary(2, 8)], {1})
    from packcodec.edge.database import open_database
    from packcodec.edge.tables import card, to_us

    values: dict[str, Any] = summary(1, 7, row("coot")).to_json()["values"]
    engine = open_database(source)
    with engine.begin() as connection:
        for hour in (7, 8):
            connection.execute(
                card.insert(),
                {
                    "station": 1,
                    "message": "summary",
                    "said_us": to_us(DAY + timedelta(hours=hour)),
                    "place": 0,
                    "log": "card.csv",
                    "record": json.dumps(values),
                },
            )
    engine.dispose()
    told = read_source(source, demo_codec())
    assert [each.provenance for each in told.heard] == ["radio", "radio", "card"]
