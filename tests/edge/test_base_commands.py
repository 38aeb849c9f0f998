"""The commands of a base: gaps, redecode, reconcile, simulate."""

import json
import sys
from collections.abc import Sequence
from datetime import timedelta
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from click import Command
from click.testing import CliRunner, Result
from conftest import Command as Runner
from frame_stream import CSV, EPOCH, TOML, frames_of, summary

from packcodec.errors import MissingPartError

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from packcodec.edge.cli import gaps, receive, reconcile, redecode, simulate
from packcodec.edge.database import open_database
from packcodec.edge.files import load
from packcodec.edge.log_traffic import read_logs
from packcodec.edge.store_report import reports
from packcodec.monitor.whole_log import summarise

DEMO = Path(str(files("packcodec.edge") / "demo_data"))


def run(command: Command, *arguments: object) -> Result:
    return CliRunner().invoke(command, [str(each) for each in arguments])


def told(result: Result) -> Any:
    return json.loads(result.stdout)


@pytest.fixture
def marsh(tmp_path: Path) -> Path:
    (tmp_path / "marsh.toml").write_text(TOML)
    (tmp_path / "species.csv").write_text(CSV)
    (tmp_path / "other.toml").write_text(TOML.replace("version = 1", "version = 2"))
    return tmp_path


def heard(
    marsh: Path,
    frames: Sequence[tuple[int, bytes]],
    *,
    schema: str = "marsh.toml",
    code: int = 0,
) -> Path:
    capture = marsh / "capture.hex"
    lines = [f"{frame.hex()} {(EPOCH + timedelta(hours=at)).isoformat()}\n" for at, frame in frames]
    capture.write_text("".join(lines))
    store = marsh / "store.db"
    assert run(receive.command, store, capture, "--schema", marsh / schema).exit_code == code
    return store


def test_gaps_says_what_became_of_every_number(marsh: Path) -> None:
    lost = {5, *range(20, 23), 198}
    frames = [(at, frame) for at, frame in enumerate(frames_of(200)) if at not in lost]
    store = heard(marsh, [*frames, (201, b"noise")], code=1)
    as_of = ["--at", (EPOCH + timedelta(hours=199.5)).isoformat()]
    result = run(gaps.command, store, "--json", *as_of)
    [station] = told(result)["stations"]
    assert result.exit_code == 0
    assert (station["station"], station["first"], station["last"]) == (3, 0, 199)
    assert sum(station["counts"].values()) == 200
    assert station["counts"] == {
        "heard": 195,
        "recovered": 4,
        "unprotected": 0,
        "unsent": 0,
        "lost": 1,
        "restart": 0,
    }
    assert station["gaps"] == [{"first": 198, "last": 198, "reason": "lost"}]
    assert told(result)["no_record"] == {"unreadable": 1}
    assert "station 3: lost: 198\n" in run(gaps.command, store, *as_of).stdout


def test_gaps_tells_silence_first_and_a_line_for_each_kind_of_gap(marsh: Path) -> None:
    text = TOML.replace(TOML[TOML.index("[repair]") : TOML.index("[message.sighting]")], "")
    (marsh / "marsh.toml").write_text(text)
    codec = load(marsh / "marsh.toml")
    frames = [
        (at, codec.encode(summary(at, 1), station=3, sequence=at))
        for at in range(60)
        if at not in {2, 5, 6, 7, 50}
    ]
    store = heard(marsh, frames)
    result = run(gaps.command, store, "--at", (EPOCH + timedelta(days=30)).isoformat())
    assert result.exit_code == 1
    _, _, silent, lost, *_ = result.stdout.splitlines()
    assert silent.startswith("station 3: NO REPORT since ")
    assert lost == "station 3: lost: 2, 5 to 7, 50"


def test_gaps_says_what_was_counted_in_lost_frames(marsh: Path) -> None:
    repair = TOML[TOML.index("[repair]") : TOML.index("[message.sighting]")]
    total = '  { name = "sum", kind = "integer", low = 0, high = 4095, optional = true,'
    rows = '  { name = "rows"'
    text = TOML.replace(repair, "").replace(rows, f'{total} total_of = "rows.visits" }},\n{rows}')
    (marsh / "marsh.toml").write_text(text)
    codec, frames, counted = load(marsh / "marsh.toml"), [], 4090
    for at in range(10):
        counted += at
        record = summary(at, 1)
        record["values"]["rows"][0]["visits"] = at
        record["values"]["sum"] = counted % 4096
        frames.append((at, codec.encode(record, station=3, sequence=at)))
    store = heard(marsh, [each for each in frames if each[0] not in (4, 5)])
    arguments = [store, "--schema", marsh / "marsh.toml", "--at", EPOCH.isoformat()]
    [station] = told(run(gaps.command, *arguments, "--json"))["stations"]
    [untold] = station["untold"]
    assert (untold["after"], untold["up_to"], untold["missing"]) == (3, 6, 2)
    assert (untold["counted"], untold["unknown_for"]) == (9, None)
    said = run(gaps.command, *arguments).stdout
    assert "summary.rows.visits that no record tells: 9 (up to 6, after 3, with 2 missing" in said


def test_gaps_says_why_a_schema_tells_nothing_of_what_was_counted(marsh: Path) -> None:
    store = heard(marsh, list(enumerate(frames_of(3))))
    at = EPOCH.isoformat()
    said = run(gaps.command, store, "--schema", marsh / "marsh.toml", "--at", at)
    assert (said.exit_code, said.stderr.count("\n")) == (0, 1)
    assert "no field has total_of" in said.stderr
    rows = '  { name = "rows"'
    total = '  { name = "sum", kind = "integer", low = 0, high = 4095, optional = true,'
    text = TOML.replace(rows, f'{total} total_of = "rows.visits" }},\n{rows}')
    (marsh / "later.toml").write_text(text)
    said = run(gaps.command, store, "--schema", marsh / "later.toml", "--at", at, "--json")
    assert "no frame in the store was read with it" in said.stderr
    assert [each["untold"] for each in told(said)["stations"]] == [[]]


def test_no_store_is_made_for_a_capture_that_is_not_there(packcodec: Runner, marsh: Path) -> None:
    store, schema = marsh / "new.db", marsh / "marsh.toml"
    ran = packcodec("receive", store, marsh / "none.hex", "--schema", schema)
    assert (ran.code, len(ran.err.splitlines())) == (2, 1)
    assert "none.hex: cannot be read" in ran.err
    assert not store.exists()


def test_silence_is_an_alarm_and_nothing_seen_is_not(marsh: Path) -> None:
    store = heard(marsh, list(enumerate(frames_of(30, rows=lambda _: 0))))
    soon = run(gaps.command, store, "--at", (EPOCH + timedelta(hours=30)).isoformat())
    assert soon.exit_code == 0
    late = run(gaps.command, store, "--at", (EPOCH + timedelta(hours=31)).isoformat())
    assert late.exit_code == 1
    assert "NO REPORT since 2027-04-02T05:00:00Z" in late.stdout


def test_the_clock_is_judged_by_what_was_received(marsh: Path) -> None:
    store = heard(marsh, [(at + 1, frame) for at, frame in enumerate(frames_of(100))])
    [report] = reports(open_database(str(store)))
    [fit] = report.clocks
    assert fit.message == "summary"
    assert fit.offset_s == pytest.approx(3600)
    assert fit.drift_ppm == pytest.approx(0, abs=0.01)


def test_redecode_reads_what_a_schema_found_later_explains(marsh: Path) -> None:
    store = heard(marsh, list(enumerate(frames_of(30))), schema="other.toml", code=1)
    result = run(redecode.command, store, "--schema", marsh / "marsh.toml")
    assert "30 frames read that gave no record before; 0 still give none" in result.stdout
    again = run(redecode.command, store, "--schema", marsh / "marsh.toml")
    assert again.stdout.startswith("0 frames read")


def test_reconcile_holds_the_card_against_the_radio(tmp_path: Path) -> None:
    """The demonstration's own logs, every seventh frame lost, one record made to contradict."""
    codec = load(DEMO / "schema.toml")
    names = ("detections.csv", "watch.csv", "health.csv")
    logs = read_logs(codec, *(str(DEMO / name) for name in names))
    assert logs.watches is not None
    assert logs.health is not None
    records = summarise(codec, logs.detections.rows, logs.watches.rows, logs.health.rows).records
    capture = tmp_path / "capture.hex"
    with capture.open("w") as file:
        for at, record in enumerate(records):
            if at == 3:
                assert record.message == "summary"
                record.values["watched"] = 60 if record.values["watched"] != 60 else 120
            if at % 7:
                when = codec.schema.epoch + timedelta(minutes=at)
                file.write(f"{codec.encode(record).hex()} {when.isoformat()}\n")
    store = tmp_path / "store.db"
    assert run(receive.command, store, capture, "--schema", DEMO / "schema.toml").exit_code == 0
    arguments = [
        *(DEMO / "schema.toml", DEMO / "detections.csv", store),
        *("--watch", DEMO / "watch.csv", "--health", DEMO / "health.csv"),
    ]
    result = run(reconcile.command, *arguments, "--json")
    assert result.exit_code == 1, "a contradiction is a verdict"
    found = told(result)
    lost = len(range(0, len(records), 7))
    assert found["card"] == len(records) == found["new_in_store"]
    assert found["findings"] == {
        "agreed": len(records) - lost - 1,
        "lost": lost,
        "left_out": 0,
        "contradicted": 1,
    }
    assert found["only_radio"] == 0
    assert found["contradicted"][0]["differences"][0].startswith("watched: card ")
    again = run(reconcile.command, *arguments)
    assert "0 records of the card are new in the store" in again.stdout
    assert f"{lost} lost" in again.stdout


def test_simulate_stands_the_code_beside_repetition_and_the_bound(marsh: Path) -> None:
    arguments = ["--loss", "0.2", "--intervals", "3000", "--json"]
    found = told(run(simulate.command, marsh / "marsh.toml", *arguments))
    shares = {each["scheme"]: each["delivered"] for each in found["outcomes"]}
    assert found["repair_of_the_schema"]
    assert found["lost"] == 3000 - round(3000 * shares["once"])
    assert shares["once"] < shares["twice, 1 later"] < shares["erasure code"]
    assert shares["erasure code"] <= shares["no code can do better"]
    assert shares["twice, 1 later"] < shares["asked daily"]
    cost = {each["scheme"]: each["airtime_factor"] for each in found["outcomes"]}
    assert cost["once"] == 1
    assert 1.2 < cost["asked daily"] < 1.3, "what was lost again, 1 / (1 - 0.2) times"
    assert cost["asked daily"] < cost["erasure code"] < cost["erasure code, asked daily"]
    narrow = told(
        run(simulate.command, marsh / "marsh.toml", "--link", "lorawan-us915-dr0", "--json")
    )
    assert any(each["airtime_factor"] is None for each in narrow["outcomes"])
    assert all(each["wrong"] == 0 for each in found["outcomes"])


@pytest.mark.parametrize("model", [["--burst", "12"], ["--outage", "24", "--every", "300"]])
def test_simulate_knows_bursts_and_outages(model: list[str]) -> None:
    result = run(simulate.command, DEMO / "schema.toml", "--intervals", "1000", *model)
    assert result.exit_code == 0
    assert "the schema has no [repair]" in result.stdout


@pytest.mark.parametrize("command", [gaps.command, redecode.command, receive.command])
def test_a_part_that_is_not_installed_is_named_with_its_remedy(
    command: Command, marsh: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "sqlalchemy", None)
    schema = [] if command is gaps.command else ["--schema", marsh / "marsh.toml"]
    source = ["-"] if command is receive.command else []
    result = run(command, marsh / "store.db", *source, *schema)
    assert isinstance(result.exception, MissingPartError)
    assert "pip install 'packcodec[base]'" in str(result.exception)


@pytest.mark.parametrize(
    ("option", "value"),
    [
        *(("--loss", bad) for bad in ("nan", "-0.1", "1")),
        *(("--burst", bad) for bad in ("nan", "inf", "0.5", "1e300")),
        *(("--list-loss", bad) for bad in ("nan", "1.5")),
        *(("--every", bad) for bad in ("0", "-2")),
    ],
)
def test_simulate_refuses_figures_that_mean_nothing(
    packcodec: Runner, option: str, value: str
) -> None:
    ran = packcodec("simulate", DEMO / "schema.toml", "--outage", "3", option, value)
    assert (ran.code, ran.out) == (2, "")
    assert option in ran.err
    assert len(ran.err.splitlines()) == 1


def test_a_card_whose_times_wrap_agrees_with_the_radio(tmp_path: Path, packcodec: Runner) -> None:
    text = (DEMO / "schema.toml").read_text().replace(', beyond = "reject"', "")
    (tmp_path / "schema.toml").write_text(text)
    (tmp_path / "species.csv").write_text((DEMO / "species.csv").read_text())
    schema, log, watch = tmp_path / "schema.toml", DEMO / "detections.csv", DEMO / "watch.csv"
    records = packcodec("summarise", schema, log, "--watch", watch).out
    frames = tmp_path / "f.hex"
    frames.write_text(packcodec("encode", schema, stdin=records).out)
    at = ("--received", "2027-04-21T20:00:00Z")
    assert packcodec("receive", tmp_path / "s.db", frames, "--schema", schema, *at).code == 0
    ran = packcodec("reconcile", schema, log, tmp_path / "s.db", "--watch", watch)
    assert ran.code == 0
    assert "  1384 agreed\n  0 lost\n" in ran.out
