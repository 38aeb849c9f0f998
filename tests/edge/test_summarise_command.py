"""`packcodec summarise`, run in this process as a shell would run it."""

import io
import json
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

import pytest
from batch_schema import BATCHED
from conftest import Command
from small_schema import SPECIES, TOML

from packcodec.edge.cli import main
from packcodec.edge.files import load
from packcodec.edge.lines import read_records
from packcodec.frame.fill import singles

DEMO = Path(__file__).resolve().parents[2] / "packcodec" / "edge" / "demo_data"
LOG = """time,station,label,confidence
2027-04-01T06:00:00Z,1,coot,0.9
2027-04-01T06:10:00Z,north_hide,dodo,0.9
2027-04-01T06:20:00Z,nowhere,coot,0.9
2027-04-01T06:30:00Z,reed_bed,otter,0.9
"""
WATCH = """station,start,end
1,2027-04-01T05:00:00Z,2027-04-01T07:00:00Z
2,2027-04-01T06:00:00Z,2027-04-01T07:00:00Z
"""
HEALTH = """time,station,battery_mv
2027-04-01T06:59:00Z,1,4000
"""


class Ran(NamedTuple):
    code: object
    out: str
    err: str

    @property
    def records(self) -> list[dict[str, object]]:
        return [json.loads(line) for line in self.out.splitlines()]


Run = Callable[..., Ran]


@pytest.fixture
def run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Run:
    files = {"small.toml": TOML, "species.csv": SPECIES, "log.csv": LOG}
    for name, text in {**files, "watch.csv": WATCH, "health.csv": HEALTH}.items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)

    def running(*arguments: str, stdin: str = "") -> Ran:
        monkeypatch.setattr(sys, "argv", ["packcodec", "summarise", *arguments])
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(stdin.encode())))
        code: object = 0
        try:
            main()
        except SystemExit as stopped:
            code = stopped.code
        return Ran(code, *capsys.readouterr())

    return running


def test_records_on_standard_output_and_the_account_on_standard_error(run: Run) -> None:
    ran = run("small.toml", "log.csv", "--watch", "watch.csv", "--health", "health.csv")
    assert ran.code == 0
    assert [(r["station"], r["message"], r["sequence"]) for r in ran.records] == [
        (1, "summary", 0),
        (1, "health", 1),
        (1, "summary", 2),
        (2, "sighting", 0),
        (2, "summary", 1),
    ]
    assert ran.err.splitlines() == [
        "3 detections, 2 of them counted",
        "  1 with a label that the species code table lacks",
        "labels that the species code table lacks: 1",
        "  1 'dodo'",
        "rows that could not be read: 1",
        "  log.csv:4 station: 'nowhere' is no station of small; use a number 0 to 15, or a name "
        "under [stations]",
        "records of 2 stations: 1 sighting, 3 summary, 1 health",
    ]


def test_the_account_as_json(run: Run) -> None:
    ran = run("small.toml", "log.csv", "--json")
    account = json.loads(ran.err)
    assert (account["detections"], account["counted"]) == (3, 2)
    assert account["records"] == {"sighting": 1, "summary": 2, "health": 0}
    assert account["unknown_labels"] == {"dodo": 1}
    assert len(account["unreadable"]) == 1
    assert account["outside_watched"] is None


def test_only_the_stations_named(run: Run) -> None:
    ran = run("small.toml", "log.csv", "--watch", "watch.csv", "--station", "reed_bed")
    assert {record["station"] for record in ran.records} == {2}
    ran = run("small.toml", "log.csv", "--station", "2", "--station", "north_hide")
    assert {record["station"] for record in ran.records} == {1, 2}


def test_effort_the_same_every_day(run: Run) -> None:
    ran = run("small.toml", "log.csv", "--watched", "05:30-07:00", "--station", "1")
    watched = [record["values"]["watched"] for record in ran.records]  # type: ignore[index]
    assert watched == [1800, 3600]


def test_a_log_with_other_columns_from_standard_input(run: Run) -> None:
    text = "\ufeff" + LOG.replace("time,", "when,")
    plain = run("small.toml", "log.csv")
    piped = run("small.toml", "-", "--column", "time=when", stdin=text)
    assert piped.records == plain.records
    assert "standard input:4 station" in piped.err


def test_what_lies_outside_the_effort_and_what_overlaps_is_said(run: Run) -> None:
    Path("watch.csv").write_text(
        "station,start,end\n"
        "1,2027-04-01T06:00:00Z,2027-04-01T07:00:00Z\n"
        "1,2027-04-01T06:30:00Z,2027-04-01T07:00:00Z\n",
        encoding="utf-8",
    )
    ran = run("small.toml", "log.csv", "--watch", "watch.csv")
    assert "1 counted outside every stretch watched" in ran.err
    assert "1 stretch overlaps another, counted once" in ran.err


def test_records_that_could_not_be_made_are_said(run: Run) -> None:
    Path("late.csv").write_text(LOG.replace("2027", "2028"), encoding="utf-8")
    ran = run("small.toml", "late.csv")
    assert (ran.code, ran.out) == (2, "")
    assert "places at which records could not be made: 2" in ran.err
    assert "2 as message.summary.start: is" in ran.err
    assert ran.err.endswith("\npackcodec: 3 records could not be made\n")


def test_the_records_that_could_be_made_are_written_before_that_is_said(run: Run) -> None:
    Path("mixed.csv").write_text(LOG + "2028-04-01T06:00:00Z,1,coot,0.9\n", encoding="utf-8")
    plain, ran = run("small.toml", "log.csv"), run("small.toml", "mixed.csv", "--json")
    assert (plain.code, ran.code) == (0, 2)
    assert ran.records == plain.records
    assert "\npackcodec: 1 record could not be made\n" in ran.err


def test_a_stretch_of_a_lifetime_costs_its_line_and_no_more(run: Run) -> None:
    end = "2,2027-04-01T06:00:00Z,9998-12-31T00:00:00Z\n"
    Path("endless.csv").write_text(WATCH + end, encoding="utf-8")
    ran = run("small.toml", "log.csv", "--watch", "endless.csv")
    assert ran.code == 0
    assert ran.records == run("small.toml", "log.csv", "--watch", "watch.csv").records
    assert "endless.csv:4 end: is 2911621 days after the start; a stretch has at" in ran.err


def test_one_is_said_of_one(run: Run) -> None:
    Path("one.csv").write_text("".join(LOG.splitlines(keepends=True)[:2]), encoding="utf-8")
    said = run("small.toml", "one.csv").err.splitlines()
    assert said[0] == "1 detection, 1 of them counted"
    assert said[-1].startswith("records of 1 station: ")


def test_a_long_list_is_cut_and_says_so(run: Run) -> None:
    rows = "".join(f"x,1,coot,{n}\n" for n in range(9))
    Path("bad.csv").write_text(LOG + rows, encoding="utf-8")
    ran = run("small.toml", "bad.csv")
    assert "rows that could not be read: 10" in ran.err
    assert ran.err.count("bad.csv:") == 5
    assert "… and 5 more" in ran.err


def test_the_demo_round_trips_through_its_lines(run: Run) -> None:
    logs = [f"--{name}={DEMO / name}.csv" for name in ("watch", "health")]
    ran = run(str(DEMO / "schema.toml"), str(DEMO / "detections.csv"), *logs)
    codec = load(DEMO / "schema.toml")
    items = read_records(ran.out.splitlines(), "out")
    read = [item[1] for item in items if isinstance(item, tuple)]
    assert [codec.decode(codec.encode(record)).to_json() for record in read] == ran.records
    assert "5604 detections, 4993 of them counted" in ran.err


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("none.toml", "log.csv"), r"none\.toml: the schema is not there"),
        (("small.toml", "none.csv"), r"none\.csv: the file is not there"),
        (("small.toml", "watch.csv"), r"watch\.csv:1 header: the column 'time' is missing"),
        (("small.toml", "-"), r"standard input: the file is empty"),
        (("small.toml", "log.csv", "--column", "time=wen"), r"the column 'wen' is missing"),
        (("small.toml", "log.csv", "--column", "tim=when"), r"--column: .*did you mean 'time'"),
        (("small.toml", "log.csv", "--column", "time"), r"--column: .*write time=NAME"),
        (("small.toml", "log.csv", "--station", "rd_bed"), r"--station: .*'reed_bed'"),
        (("small.toml", "log.csv", "--watched", "all day"), r"--watched: .*04:30-20:15"),
        (
            ("small.toml", "log.csv", "--watched", "00:00-24:00", "--watch", "watch.csv"),
            r"--watched: effort is given twice",
        ),
        (("small.toml", "-", "--watch", "-"), "only one log can come from standard input"),
        (("needs.toml", "log.csv"), r"message\.summary\.watched: .*--watch"),
        (("odd.toml", "log.csv"), r"message\.summary\.droped: .*did you mean 'dropped'"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(run: Run, arguments: tuple[str, ...], says: str) -> None:
    needs = TOML.replace("high_s = 3600, optional = true", "high_s = 3600")
    Path("needs.toml").write_text(needs, encoding="utf-8")
    odd = TOML.replace('"dropped"', '"droped"')
    Path("odd.toml").write_text(odd, encoding="utf-8")
    ran = run(*arguments)
    assert (ran.code, ran.out) == (2, "")
    (line,) = ran.err.splitlines()
    assert line.startswith("packcodec: ")
    assert re.search(says, line)


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_batches_are_joined_as_long_as_is_said(
    tmp_path: Path, packcodec: Command, coding: str
) -> None:
    (tmp_path / "species.csv").write_text(SPECIES)
    schema, log = tmp_path / "schema.toml", tmp_path / "log.csv"
    schema.write_text(BATCHED.replace("version = 1", f'version = 1\ncoding = "{coding}"'))
    seen = (f"2027-04-01T{5 + at // 4:02}:{at % 4 * 15:02}:00Z,1,coot,0.9\n" for at in range(48))
    log.write_text("time,station,label,confidence\n" + "".join(seen))
    arguments = ["summarise", schema, log, "--watched", "05:00-17:00"]
    alone = packcodec(*arguments)
    filled = packcodec(*arguments, "--most", 40)
    assert (alone.code, filled.code) == (0, 0)
    codec = load(schema)
    records = [codec.decode(codec.encode(json.loads(line))) for line in filled.out.splitlines()]
    assert [each.sequence for each in records] == list(range(len(records)))
    assert all(len(codec.encode(each)) <= 40 for each in records)
    assert 3 * len(records) < len(alone.out.splitlines())

    def held(lines: str) -> list[str]:
        found = []
        for line in lines.splitlines():
            record = codec.decode(codec.encode(json.loads(line)))
            message = codec.payloads[record.message].message.message
            found += [f"{each.message} {each.values}" for each in singles(message, record)]
        return sorted(found)

    assert held(filled.out) == held(alone.out)
