"""A store by a wrong name: nothing is made, nothing is changed, and one line says so."""

import json
import sqlite3
from pathlib import Path

import pytest
from conftest import Command

import packcodec as package

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

DEMO = Path(package.__file__).parent / "edge" / "demo_data"
SCHEMA = DEMO / "schema.toml"
WITH = ("--deployments", DEMO / "deployments.csv", "--project", DEMO / "project.toml")
LETTER = b"no database, but a line of text\n" * 40
READERS = {
    "gaps": ("gaps", "STORE"),
    "redecode": ("redecode", "STORE", "--schema", SCHEMA),
    "reconcile": (
        *("reconcile", SCHEMA, DEMO / "detections.csv", "STORE"),
        *("--watch", DEMO / "watch.csv"),
    ),
}


@pytest.mark.parametrize("name", READERS)
@pytest.mark.parametrize(
    ("content", "said"),
    [
        (None, "there is no store here"),
        (b"", "there is no store here"),
        (LETTER, "is no store of packcodec"),
    ],
    ids=["missing", "empty", "letter"],
)
def test_a_command_that_reads_makes_no_store(
    packcodec: Command, tmp_path: Path, name: str, content: bytes | None, said: str
) -> None:
    store = tmp_path / "seson.db"
    if content is not None:
        store.write_bytes(content)
    ran = packcodec(*(store if word == "STORE" else word for word in READERS[name]))
    assert (ran.code, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert said in ran.err
    assert [path.name for path in tmp_path.iterdir()] == ([] if content is None else ["seson.db"])
    assert content is None or store.read_bytes() == content


@pytest.mark.parametrize("name", ["gaps", "receive"])
def test_the_database_of_another_program_is_left_as_it_is(
    packcodec: Command, tmp_path: Path, name: str
) -> None:
    store = tmp_path / "others.db"
    with sqlite3.connect(store) as connection:
        connection.execute("CREATE TABLE theirs (n INTEGER)")
    (tmp_path / "frames.hex").write_text("")
    words = {"gaps": (), "receive": (tmp_path / "frames.hex", "--schema", SCHEMA)}[name]
    ran = packcodec(name, store, *words)
    assert ran.code == 2
    assert "of another program" in ran.err
    with sqlite3.connect(store) as connection:
        tables = connection.execute("SELECT name FROM sqlite_master").fetchall()
    assert tables == [("theirs",)]


GOOD = {"message": "health", "station": 1, "sequence": 0, "values": {}}


@pytest.mark.parametrize(
    ("lines", "writes"), [(["a,b", "1,2"], False), ([json.dumps(GOOD), "1,2"], True)]
)
def test_lines_that_are_no_records_end_an_export_with_2(
    packcodec: Command, tmp_path: Path, lines: list[str], writes: bool
) -> None:
    """With no record at all nothing is written; else the rest is, and the line is named."""
    source, out = tmp_path / "r.jsonl", tmp_path / "out"
    source.write_text("\n".join(lines))
    ran = packcodec("export", SCHEMA, source, out, "--to", "csv", *WITH)
    assert ran.code == 2
    assert f"r.jsonl:{2 if writes else 1}: is not" in ran.err
    assert out.exists() == writes


@pytest.mark.parametrize("name", ["", ":memory:", "sqlite:///:memory:"])
def test_a_store_in_memory_is_refused(packcodec: Command, tmp_path: Path, name: str) -> None:
    (tmp_path / "frames.hex").write_text("")
    for words in (("gaps", name), ("receive", name, tmp_path / "frames.hex", "--schema", SCHEMA)):
        ran = packcodec(*words)
        assert (ran.code, ran.out) == (2, "")
        assert "is no name of a store; give a file name" in ran.err
