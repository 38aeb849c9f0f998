"""The demonstration data: made again byte for byte, and as odd as its README says."""

import csv
import importlib.util
import re
import sys
from collections import Counter
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from types import ModuleType

import pytest

from packcodec.schema import Enumeration, Scaled, Time, read_schema

ROOT = Path(__file__).resolve().parents[2]
FOLDER = ROOT / "packcodec" / "edge" / "demo_data"
STATIONS = {"north_hide", "reed_bed", "sluice", "alder_carr"}
RFC_3339 = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ")


def rows_of(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def said(item: str) -> str:
    """Give what the README says after `item`."""
    lines = (FOLDER / "README.txt").read_text(encoding="utf-8").splitlines()
    (line,) = [line for line in lines if line.startswith(f"- {item}: ")]
    return line.removeprefix(f"- {item}: ")


def moment(text: str) -> datetime | None:
    """Read a time as RFC 3339 wants it, or give None."""
    if not RFC_3339.fullmatch(text):
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


@pytest.fixture(scope="module")
def generator() -> ModuleType:
    spec = importlib.util.spec_from_file_location("make_demo", ROOT / "tools" / "make_demo.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="module")
def log() -> list[dict[str, str]]:
    return rows_of("detections.csv")


def test_the_generator_makes_the_files_that_are_shipped(generator: ModuleType) -> None:
    files, _ = generator.make((FOLDER / "species.csv").read_text(encoding="utf-8"))
    assert set(files) == {"detections.csv", "watch.csv", "health.csv", "README.txt"}
    for name, content in files.items():
        assert content == (FOLDER / name).read_bytes(), name


def test_another_seed_makes_another_log(
    generator: ModuleType, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(generator, "SEED", generator.SEED + 1)
    files, _ = generator.make((FOLDER / "species.csv").read_text(encoding="utf-8"))
    assert files["detections.csv"] != (FOLDER / "detections.csv").read_bytes()


def test_a_habit_without_a_species_row_stops_the_generator(generator: ModuleType) -> None:
    table = (FOLDER / "species.csv").read_text(encoding="utf-8").replace("otter", "seal")
    with pytest.raises(SystemExit, match="otter"):
        generator.make(table)


def test_the_whole_fits_in_a_small_wheel() -> None:
    assert sum(file.stat().st_size for file in FOLDER.iterdir()) < 500_000


def test_every_row_has_its_columns(log: list[dict[str, str]]) -> None:
    assert len(log) == int(said("rows in all"))
    assert {row["station"] for row in log} == STATIONS
    for row in log:
        assert None not in row
        assert 0 < float(row["confidence"]) < 1
        assert int(row["individuals"]) >= 1


def test_rows_written_twice(log: list[dict[str, str]]) -> None:
    again = sum(first == second for first, second in pairwise(log))
    assert again == int(said("rows written twice, one after the other"))
    assert len(log) - len({tuple(row.values()) for row in log}) == again


def test_bad_times(log: list[dict[str, str]]) -> None:
    bad = [row["time"] for row in log if moment(row["time"]) is None]
    assert said("rows whose time is no RFC 3339 time") == f"{len(bad)} ({', '.join(bad)})"


def test_labels_that_the_table_lacks(log: list[dict[str, str]]) -> None:
    known = {row["label"] for row in rows_of("species.csv")}
    strange = Counter(row["label"] for row in log if row["label"] not in known)
    names = "rows with a label that the species code table lacks"
    assert said(names).startswith(f"{strange.total()} ")
    for label, count in strange.items():
        assert f"{label} {count}" in said(names)


def test_rows_below_the_threshold_people_and_blanks(log: list[dict[str, str]]) -> None:
    low = sum(float(row["confidence"]) < 0.5 for row in log)
    labels = Counter(row["label"] for row in log)
    assert low == int(said("rows below a confidence of 0.5"))
    assert said("rows of people and vehicles") == f"{labels['human']} and {labels['vehicle']}"
    blank, unknown, unclassified = labels["blank"], labels["unknown"], labels["unclassified"]
    assert (
        said("rows labelled blank, unknown, unclassified") == f"{blank}, {unknown}, {unclassified}"
    )


def test_the_log_goes_back_in_time_at_one_place_and_at_the_lost_clock(
    log: list[dict[str, str]],
) -> None:
    late, returns = 0, []
    for station in sorted(STATIONS):
        rows = [(m, row) for row in log if row["station"] == station if (m := moment(row["time"]))]
        newest = rows[0][0]
        for at, row in rows:
            if at.year == 2000 and newest.year == 2027:
                returns.append(row["station"])
                newest = at
            late += at < newest
            newest = max(newest, at)
    assert returns == ["alder_carr"]
    assert said("rows written late, after rows of a later time").startswith(f"{late} (reed_bed")


def test_the_lost_clock_and_the_watch_agree(log: list[dict[str, str]]) -> None:
    unset = [row for row in log if row["time"].startswith("2000-")]
    assert said("rows timed by an unset clock (2000-01-01 on)").startswith(f"{len(unset)} (")
    stretches = [row for row in rows_of("watch.csv") if row["clock"] == "unset"]
    assert {row["station"] for row in unset + stretches} == {"alder_carr"}
    assert min(row["start"] for row in stretches) == "2000-01-01T00:00:00Z"


def test_every_detection_lies_in_a_stretch_watched(log: list[dict[str, str]]) -> None:
    watch = rows_of("watch.csv")
    assert len(watch) == int(said("stretches watched"))
    for row in log:
        if moment(row["time"]) is None:
            continue
        assert any(
            stretch["start"] <= row["time"] < stretch["end"]
            for stretch in watch
            if stretch["station"] == row["station"]
        ), row


def test_stretches_follow_each_other() -> None:
    for station in STATIONS:
        trusted = [
            row
            for row in rows_of("watch.csv")
            if (row["station"], row["clock"]) == (station, "trusted")
        ]
        for row, after in pairwise(trusted):
            assert row["start"] < row["end"] <= after["start"]


def test_the_power_cut_and_the_empty_day(log: list[dict[str, str]]) -> None:
    watch = rows_of("watch.csv")
    cut = [s for s in watch if s["station"] == "sluice" and s["start"].startswith("2027-04-13")]
    assert len(cut) == 2
    begin, end = (datetime.fromisoformat(text) for text in (cut[0]["end"], cut[1]["start"]))
    hours, minutes = divmod(int((end - begin).total_seconds()) // 60, 60)
    assert said("hours without power").startswith(f"{hours} h {minutes:02d} min (sluice")
    station, day = said("day watched without a single row").split(", ")
    assert any(s["station"] == station and s["start"].startswith(day) for s in watch)
    assert not any(row["station"] == station and row["time"].startswith(day) for row in log)


def test_dawn_and_dusk_are_the_busy_hours(log: list[dict[str, str]]) -> None:
    hours = Counter(
        at.hour for row in log if (at := moment(row["time"])) is not None and at.year == 2027
    )
    busiest = {hour for hour, _ in hours.most_common(4)}
    assert busiest == {5, 6, 17, 18}


def test_the_busiest_hour_holds_more_species_than_a_summary(log: list[dict[str, str]]) -> None:
    animals = {row["label"] for row in rows_of("species.csv") if row["kind"] == "animal"}
    hours: dict[tuple[str, str], set[str]] = {}
    for row in log:
        if row["label"] in animals and float(row["confidence"]) >= 0.5:
            hours.setdefault((row["station"], row["time"][:13]), set()).add(row["label"])
    busiest = max(len(labels) for labels in hours.values())
    assert busiest > 12
    assert said("most known labels of animals in one hour").startswith(f"{busiest} (north_hide")
    assert sum(len(labels) > 12 for labels in hours.values()) == 1


def test_one_health_row_a_day_and_station() -> None:
    rows = rows_of("health.csv")
    assert Counter(row["station"] for row in rows) == dict.fromkeys(STATIONS, 21)
    for row in rows:
        assert moment(row["time"]) is not None
        assert 2800 <= int(row["battery_mv"]) <= 4300
        assert 0 <= int(row["storage_percent"]) <= 100
    restarted = {row["station"] for row in rows if row["restarts"] == "1"}
    assert restarted == {"sluice", "alder_carr"}


def test_the_species_code_table_is_in_order_and_marked() -> None:
    rows = rows_of("species.csv")
    assert [int(row["code"]) for row in rows] == list(range(len(rows)))
    assert len({row["label"] for row in rows}) == len(rows)
    assert {row["status"] for row in rows} == {"active", "retired"}
    assert {row["report"] for row in rows if row["kind"] == "human"} == {"never"}
    added = [row for row in rows if row["added"]]
    assert [row["label"] for row in added] == ["spoonbill"]
    first_day = datetime.fromisoformat(added[0]["added"]).replace(tzinfo=UTC)
    for row in rows_of("detections.csv"):
        at = moment(row["time"])
        assert row["label"] != "spoonbill" or (at is not None and at >= first_day)


def test_the_schema_reads_and_fits_the_data(log: list[dict[str, str]]) -> None:
    texts = [(FOLDER / name).read_text(encoding="utf-8") for name in ("schema.toml", "species.csv")]
    schema = read_schema(*texts)
    assert {name for name, _ in schema.stations} == {row["station"] for row in log}
    assert {m.name: m.code for m in schema.messages} == {"sighting": 0, "summary": 1, "health": 2}
    fields = {field.name: field for m in schema.messages for field in m.fields}
    at, power, battery = fields["at"], fields["power"], fields["battery_mv"]
    assert isinstance(at, Time)
    assert isinstance(power, Enumeration)
    assert isinstance(battery, Scaled)
    last = schema.epoch + timedelta(seconds=at.span_s)
    times = [m for row in log if (m := moment(row["time"])) is not None and m.year != 2000]
    assert schema.epoch <= min(times)
    assert max(times) < last
    health = rows_of("health.csv")
    assert {row["power"] for row in health} == set(power.values)
    assert all(battery.low <= int(row["battery_mv"]) <= battery.high for row in health)


def test_a_station_whose_clock_was_never_set_can_still_report() -> None:
    texts = [(FOLDER / name).read_text(encoding="utf-8") for name in ("schema.toml", "species.csv")]
    for message in read_schema(*texts).messages:
        (time,) = [field for field in message.fields if isinstance(field, Time)]
        assert time.optional, message.name
        assert "clock has never been set" in time.note
