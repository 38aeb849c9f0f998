"""`packcodec demo`: every stage's figures are those of the files it leaves."""

import csv
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import pytest
from conftest import Command

from packcodec.edge.files import load


def test_the_demo_runs_every_stage_and_leaves_its_files(packcodec: Command, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    ran = packcodec("demo", folder)
    assert (ran.code, ran.err) == (0, "")
    assert ran.out.startswith("Invented data")
    assert "never a licence" in ran.out
    frames = [bytes.fromhex(line) for line in (folder / "frames.hex").read_text().split()]
    records = [json.loads(line) for line in (folder / "records.jsonl").read_text().splitlines()]
    decoded = [json.loads(line) for line in (folder / "decoded.jsonl").read_text().splitlines()]
    assert [each["values"] for each in records] == [each["values"] for each in decoded]
    assert f"{len(frames):,} frames, {sum(map(len, frames)):,} bytes in all" in ran.out
    assert f"{len(records):,} of {len(records):,} records come back" in ran.out
    codec = load(folder / "schema.toml")
    assert [codec.decode(frame).to_json() for frame in frames] == decoded

    [(detections, counted)] = re.findall(
        r"([\d,]+) detections .* ([\d,]+) of them counted", ran.out
    )
    dropped = re.findall(
        r"^ +([\d,]+) (?:written twice|of a row|below|with a label)", ran.out, re.MULTILINE
    )
    [unreadable] = re.findall(r"([\d,]+) rows that could not be read", ran.out)
    with (folder / "detections.csv").open(newline="") as log:
        rows = sum(1 for _ in csv.DictReader(log))
    number = [int(text.replace(",", "")) for text in (detections, counted, unreadable, *dropped)]
    assert number[0] == number[1] + sum(number[3:])
    assert rows == number[0] + number[2]


def test_the_demo_ends_with_archives_and_a_report(packcodec: Command, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    said = packcodec("demo", folder).out
    package = json.loads((folder / "camtrap-dp" / "datapackage.json").read_text("utf-8"))
    assert {each["path"] for each in package["resources"]} == {
        path.name for path in (folder / "camtrap-dp").glob("*.csv")
    }
    with zipfile.ZipFile(folder / "darwin-core.zip") as archive:
        assert archive.testzip() is None
        assert "meta.xml" in archive.namelist()
    assert "kept back: coordinates rounded" in said
    if "pip install" not in said:
        assert "Invented data." in (folder / "report.html").read_text("utf-8")


def test_what_the_bases_heard_can_be_read_by_the_schema_beside_it(
    packcodec: Command, tmp_path: Path
) -> None:
    pytest.importorskip("sqlalchemy")
    folder = tmp_path / "demo"
    said = packcodec("demo", folder).out
    gaps = packcodec("gaps", folder / "base.db", "--at", "2027-04-21T20:00:00Z", "--json")
    stations = json.loads(gaps.out)["stations"]
    [heard] = re.findall(r"([\d,]+) heard by at least one of two bases", said)
    assert sum(each["counts"]["heard"] for each in stations) == int(heard.replace(",", ""))
    files = [folder / each for each in ("schema_air.toml", "detections.csv", "base.db")]
    ran = packcodec("reconcile", *files, "--watch", folder / "watch.csv", "--json")
    assert ran.code in (0, 1), ran.err
    assert json.loads(ran.out)["findings"]["agreed"] > 1000


def test_a_folder_that_cannot_be_written(packcodec: Command, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = packcodec("demo", tmp_path / "file" / "inner")
    assert ran.code == 2
    assert "cannot be written" in ran.err


def test_a_file_that_is_not_the_demos_is_never_overwritten(
    packcodec: Command, tmp_path: Path
) -> None:
    (tmp_path / "species.csv").write_text("mine")
    ran = packcodec("demo", tmp_path)
    assert ran.code == 2
    assert "species.csv: is there already" in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ["species.csv"]
    assert (tmp_path / "species.csv").read_text() == "mine"


def test_it_may_run_twice_and_what_it_suggests_works(packcodec: Command, tmp_path: Path) -> None:
    folder = tmp_path / "demo"
    assert packcodec("demo", folder).code == 0
    ran = packcodec("demo", folder)
    assert ran.code == 0
    suggested = [line.strip() for line in ran.out.splitlines() if line.startswith("   packcodec ")]
    assert len(suggested) >= 3
    frame = (folder / "frames.hex").read_text().split()[0]
    for line in suggested:
        words = line.replace(f"$(head -1 {folder}/frames.hex)", frame).split()[1:]
        assert packcodec(*words).code == 0, line


def test_modelled_coding_shows_both_sizes(packcodec: Command, tmp_path: Path) -> None:
    fixed = packcodec("demo", tmp_path / "fixed")
    modelled = packcodec("demo", tmp_path / "modelled", "--coding", "modelled")
    assert (fixed.code, modelled.code) == (0, 0)
    sizes = [
        sum(len(line) // 2 for line in (tmp_path / name / "frames.hex").read_text().split())
        for name in ("fixed", "modelled")
    ]
    assert f"{sizes[1]:,} bytes in all" in modelled.out
    assert f"in fixed coding {sizes[0]:,} bytes" in modelled.out
    assert sizes[1] < sizes[0]
    same = [in_one_order(tmp_path / name / "decoded.jsonl") for name in ("fixed", "modelled")]
    assert same[0] == same[1]
    frame = (tmp_path / "modelled" / "frames.hex").read_text().split()[0]
    schema = tmp_path / "modelled" / "schema_modelled.toml"
    explained = packcodec("explain", schema, frame)
    assert explained.code == 0
    assert "bits of information" in explained.out
    assert f"packcodec explain {schema}" in modelled.out


def in_one_order(path: Path) -> list[dict[str, Any]]:
    """The records, their rows in one order: modelled coding sends them by their codes."""
    records: list[dict[str, Any]] = [json.loads(line) for line in path.read_text().splitlines()]
    for record in records:
        record["values"].get("rows", []).sort(key=lambda row: str(row["species"]))
    return records
