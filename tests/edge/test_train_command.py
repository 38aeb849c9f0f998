"""`packcodec train`: a log in, tables out that its own schema then uses."""

import csv
import json
from pathlib import Path
from shutil import copy

import pytest
from conftest import Command

from packcodec.edge.files import load
from packcodec.errors import LayoutError, SchemaError
from packcodec.schema.models import models_text, read_models

DEMO = Path(__file__).parents[2] / "packcodec" / "edge" / "demo_data"

BATCH = """
[message.visits]
code = 3
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 172800 },
  { name = "seen", kind = "list", least = 1, most = 255, fields = [
    { name = "after", kind = "duration", step_s = 60, high_s = 61380, since = "previous" },
    { name = "species", kind = "species" },
    { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
  ] },
]
[models]
file = "models.toml"
"""


@pytest.fixture
def reserve(tmp_path: Path) -> Path:
    """The demonstration with modelled coding, a message of many sightings, and no models yet."""
    for name in ("detections.csv", "watch.csv"):
        copy(DEMO / name, tmp_path)
    rows = list(csv.DictReader((DEMO / "species.csv").read_text(encoding="utf-8").splitlines()))
    with (tmp_path / "species.csv").open("w", encoding="utf-8", newline="") as file:
        species = csv.DictWriter(file, list(rows[0]))
        species.writeheader()
        # What may be said in the open is no matter of this test.
        species.writerows({**row, "sensitivity": ""} for row in rows)
    schema = (DEMO / "schema.toml").read_text(encoding="utf-8")
    text = schema.replace('coding = "fixed"', 'coding = "modelled"') + BATCH
    (tmp_path / "schema.toml").write_text(text, encoding="utf-8")
    return tmp_path


def test_tables_are_learned_and_then_used(reserve: Path, packcodec: Command) -> None:
    schema, models = reserve / "schema.toml", reserve / "models.toml"
    options = ("--watch", reserve / "watch.csv", "-o", models, "--json")
    ran = packcodec("train", schema, reserve / "detections.csv", *options)
    assert ran.code == 0
    told = json.loads(ran.out)
    assert 0 < told["bytes"] <= 2048
    by_name = {(each["message"], each["elements_a_record"]): each for each in told["held_out"]}
    # On days that no table was learned from, and with what rounding to bytes costs.
    assert by_name["visits", 45]["modelled_bits"] < 0.6 * by_name["visits", 45]["fixed_bits"]
    assert by_name["summary", 0]["modelled_bits"] < 0.75 * by_name["summary", 0]["fixed_bits"]
    for each in told["held_out"]:
        assert each["information_bits"] <= each["modelled_bits"]
    codec = load(schema)
    assert codec.layout.identity.hex() == told["identity"]
    text = models.read_text(encoding="utf-8")
    assert models_text(read_models(text)) == text
    assert codec.schema.models == read_models(text)
    # Other tables are another layout: no frame is read with the wrong ones.
    models.write_text(text.replace('rows = [\n  "', 'rows = [\n  "00', 1), encoding="utf-8")
    with pytest.raises(LayoutError, match="symbols"):
        load(schema)


def test_less_room_costs_bits(reserve: Path, packcodec: Command) -> None:
    def trained(size: int) -> dict[str, float]:
        schema, log = reserve / "schema.toml", reserve / "detections.csv"
        ran = packcodec(
            "train", schema, log, "--watched", "05:00-19:00", "--bytes", str(size), "--json"
        )
        told = json.loads(ran.out)
        assert told["bytes"] <= size
        [bits] = [
            each["information_bits"] for each in told["held_out"] if each["elements_a_record"] == 45
        ]
        return {"bytes": told["bytes"], "bits": bits}

    small, large = trained(300), trained(2048)
    assert small["bytes"] < large["bytes"]
    assert small["bits"] > large["bits"]


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('coding = "modelled"', 'coding = "fixed"', "fixed coding has no tables to learn"),
        ('file = "models.toml"', 'file = "../models.toml"', "not a plain file name"),
    ],
)
def test_what_cannot_be_trained_says_why(
    reserve: Path, packcodec: Command, old: str, new: str, problem: str
) -> None:
    schema = reserve / "schema.toml"
    schema.write_text(schema.read_text(encoding="utf-8").replace(old, new), encoding="utf-8")
    ran = packcodec("train", schema, reserve / "detections.csv", "--watched", "05:00-19:00")
    assert ran.code == 2
    if "no tables" in problem:
        schema.write_text(
            schema.read_text(encoding="utf-8").replace('[models]\nfile = "models.toml"\n', ""),
            encoding="utf-8",
        )
        ran = packcodec("train", schema, reserve / "detections.csv", "--watched", "05:00-19:00")
    assert problem in ran.err


def test_a_log_of_three_days_is_too_short(reserve: Path, packcodec: Command) -> None:
    log = (reserve / "detections.csv").read_text(encoding="utf-8").splitlines()
    days = ("2027-04-01", "2027-04-02", "2027-04-03")
    kept = [log[0], *(line for line in log if line.startswith(days))]
    ran = packcodec("train", reserve / "schema.toml", "-", stdin="\n".join(kept) + "\n")
    assert ran.code == 2
    assert "3 days" in ran.err


def test_a_schema_of_which_no_log_tells_learns_nothing(reserve: Path, packcodec: Command) -> None:
    text = (reserve / "schema.toml").read_text(encoding="utf-8")
    level = """[message.level]
code = 0
fields = [{ name = "depth", kind = "integer", low = 0, high = 9 }]
[models]
file = "models.toml"
"""
    other = text[: text.index("[message.")] + level
    (reserve / "schema.toml").write_text(other, encoding="utf-8")
    ran = packcodec("train", reserve / "schema.toml", reserve / "detections.csv")
    assert ran.code == 2
    assert "nothing in the log fits a message of the schema; give it a message that" in ran.err


def test_a_schema_whose_models_are_not_there_says_so(reserve: Path) -> None:
    with pytest.raises(SchemaError, match=r"is not there; packcodec train makes it") as refused:
        load(reserve / "schema.toml")
    assert "models.toml" in refused.value.place
