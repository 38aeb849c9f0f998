"""`packcodec budget` as a shell runs it, on the demo's schema and logs."""

import json
import re
import shutil
from pathlib import Path
from statistics import median
from typing import Any

import pytest
from conftest import Command

import packcodec.edge
from packcodec.budget.verdict import NO_LICENCE
from packcodec.edge.files import load
from packcodec.edge.log_traffic import read_logs, traffic_of
from packcodec.radio.energy import LITHIUM_CAUTION

DATA = Path(packcodec.edge.__file__).parent / "demo_data"
SCHEMA = DATA / "schema.toml"
LOGS = ("--log", DATA / "detections.csv", "--watch", DATA / "watch.csv",
        "--health", DATA / "health.csv")  # fmt: skip


def budget_of(packcodec: Command, *options: str | Path) -> dict[str, Any]:
    said: dict[str, Any] = json.loads(packcodec("budget", SCHEMA, *options, "--json").out)
    return said


def test_a_plan_that_fits_exits_0_with_every_caution(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1")
    assert ran.code == 0
    assert "FITS: eu-868.0-868.6" in ran.out
    assert "ETSI EN 300 220-2, V3.3.1 (2025-03), Table 4" in ran.out
    assert "(assumed)" in ran.out
    assert "Fits best: " in ran.out
    assert NO_LICENCE in ran.out
    assert LITHIUM_CAUTION in ran.out
    assert "4 × sighting + 2 × summary + 1 × health; all at their greatest size" in ran.out
    assert "power: 14.00 dBm ERP of 13.98 dBm ERP" in ran.out
    assert "antenna 2.15 dBi" in ran.out
    assert "counted as at" not in ran.out


@pytest.mark.parametrize(
    ("link", "first"),
    [
        ("lora-eu-868.1", "FITS: eu-868.0-868.6: "),
        ("lora-eu-864.0:sf=12", "DOES NOT FIT: eu-863-865"),
        ("text-message", "UNKNOWN: no rule"),
    ],
)
def test_the_verdict_that_decides_comes_first(packcodec: Command, link: str, first: str) -> None:
    lines = packcodec("budget", SCHEMA, "--link", link).out.splitlines()
    assert lines[2] == ""
    assert lines[3].startswith(first)


def test_what_a_field_costs_is_told_when_asked(packcodec: Command) -> None:
    assert "trim: " not in packcodec("budget", SCHEMA, "--link", "lora-eu-868.1").out
    asked = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", "--trims").out
    assert "bits free before the next step" in asked
    assert "trim: rows[].visits in 2 instead of 4 bits" in asked


def test_a_power_without_a_row_of_its_own_is_said(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1:power_dbm=4")
    assert "counted as at 14 dBm: its data sheet has no row for 4 dBm" in ran.out


def test_a_power_beyond_the_law_and_the_sheet_is_turned_down(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1:power_dbm=23")
    assert ran.code == 1
    assert "DOES NOT FIT: eu-868.0-868.6: 23.00 dBm ERP is more than 13.98 dBm ERP" in ran.out
    assert "turn it down by 9.02 dB" in ran.out
    assert "\n  14 dBm conducted: 4.1 % of the limit\n" in ran.out
    assert max(map(len, ran.out.splitlines())) < 250


def test_a_plan_over_its_limit_exits_1_and_says_what_would_fit(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-864.0:sf=10", "--interval", "10min")
    assert ran.code == 1
    assert "DOES NOT FIT: eu-863-865" in ran.out
    assert "past 3.6 s in any 1 h" in ran.out
    after = ran.out.partition("What would make it fit:")[2]
    assert "send every 30 min: " in after
    assert "SF9, which reaches less far: " in after
    assert "link lora-eu-" in after
    said = budget_of(packcodec, "--link", "lora-eu-864.0:sf=10", "--interval", "10min")
    assert said["fits"] is False
    assert [remedy["share"] <= 1 for remedy in said["remedies"]] == [True] * len(said["remedies"])


@pytest.mark.parametrize("asked", ["--interval 10min", "--every summary=10min"])
def test_an_interval_that_the_schema_cannot_carry_is_said(packcodec: Command, asked: str) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", *asked.split())
    assert "change the schema: message.summary.start" in ran.out
    as_it_is = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", "--every", "summary=1h")
    assert "change the schema" not in as_it_is.out


def test_a_log_gives_typical_sizes_and_the_real_worst_hour(packcodec: Command) -> None:
    said = budget_of(packcodec, "--link", "lora-eu-868.1", *LOGS)
    assert said["fits"] is True
    messages = {message["name"]: message for message in said["messages"]}
    assert messages["health"]["frames_per_day"] == 1
    for message in messages.values():
        assert message["least_bytes"] <= message["typical_bytes"] <= message["greatest_bytes"]
    expected = budget_of(packcodec, "--link", "lora-eu-868.1")
    assert said["share"] < expected["share"]
    assert said["energy"]["awake_h"] == pytest.approx(14.6, abs=0.1)


@pytest.fixture
def modelled(tmp_path: Path, packcodec: Command) -> Path:
    """The demo's schema in modelled coding, with tables learned from its log."""
    shutil.copy(DATA / "species.csv", tmp_path)
    text = SCHEMA.read_text(encoding="utf-8").replace('coding = "fixed"', 'coding = "modelled"')
    schema = tmp_path / "schema.toml"
    schema.write_text(text, encoding="utf-8")
    log, *others = LOGS[1:]
    ran = packcodec("train", schema, log, *others, "-o", tmp_path / "models.toml")
    assert ran.code == 0, ran.err
    schema.write_text(f'{text}\n[models]\nfile = "models.toml"\n', encoding="utf-8")
    return schema


def test_modelled_sizes_come_from_the_log(packcodec: Command, modelled: Path) -> None:
    """The same figures as the frames' own, and what each is used for is said."""
    ran = packcodec("budget", modelled, "--link", "lora-eu-868.1", *LOGS)
    assert ran.code == 0
    assert "energy by their mean, the room and the limits by what 99 of 100 frames" in ran.out
    assert "each frame as long as 99 of 100 of its message stay within" in ran.out
    said = json.loads(packcodec("budget", modelled, "--link", "lora-eu-868.1", *LOGS, "--json").out)
    codec = load(modelled)
    traffic = traffic_of(codec, read_logs(codec, *map(str, LOGS[1::2])))
    for message in said["messages"]:
        sizes = sorted(traffic.sizes(message["name"]).elements())
        assert message["typical_bytes"] == int(median(sizes))
        assert message["p99_bytes"] == sizes[-(-99 * len(sizes) // 100) - 1]
        assert message["p99_airtime_s"] >= message["typical_airtime_s"]
        mean_bytes = message["bytes_per_day"] / message["frames_per_day"]
        assert mean_bytes == pytest.approx(sum(sizes) / len(sizes))


def test_modelled_sizes_without_a_log_are_the_bound(packcodec: Command, modelled: Path) -> None:
    ran = packcodec("budget", modelled, "--link", "lora-eu-868.1")
    assert "a day and its limits by the greatest" in ran.out
    assert "typical ones are what the trained tables hold likely" in ran.out
    said = json.loads(packcodec("budget", modelled, "--link", "lora-eu-868.1", "--json").out)
    for message in said["messages"]:
        assert message["least_bytes"] < message["typical_bytes"] < message["greatest_bytes"]
        assert message["p99_bytes"] is None
        each = message["bytes_per_day"] / message["frames_per_day"]
        assert each == message["greatest_bytes"]


def test_what_a_log_has_too_long_is_a_share_of_its_frames(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lorawan-us915-dr0", *LOGS)
    assert ran.code == 1
    said = budget_of(packcodec, "--link", "lorawan-us915-dr0", *LOGS)
    health = next(message for message in said["messages"] if message["name"] == "health")
    assert 0 < health["beyond_share"] <= 1
    assert "of them): link lorawan-us915-dr0 has room for 11" in ran.out
    assert "Fits best" not in ran.out


def test_links_side_by_side(packcodec: Command) -> None:
    links = ("lora-eu-868.1", "lorawan-eu868-dr0", "text-message")
    options = [word for name in links for word in ("--link", name)]
    ran = packcodec("budget", SCHEMA, *options)
    table = ran.out.partition("bytes/J")[2]
    assert all(name in table for name in links)
    assert "unknown" in table
    said = budget_of(packcodec, *options)
    assert [each["link"] for each in said["others"]] == list(links[1:])


def test_stations_on_one_channel(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", "--stations", "40")
    assert "40 stations on one channel: " in ran.out
    said = budget_of(packcodec, "--link", "lora-eu-868.1", "--stations", "40")["sharing"]
    assert 0 < said["loss"] < 0.1
    assert [each["loss"] for each in said["most_stations"]] == [0.01, 0.05, 0.1, 0.2]


def test_a_season_by_daylight(packcodec: Command) -> None:
    options = ("--link", "lora-eu-868.1", "--season", "2027-04-01/2027-09-30", "--latitude", "57")
    ran = packcodec("budget", SCHEMA, *options)
    assert "From 2027-04-01 to 2027-09-30 at 57°" in ran.out
    assert ran.out.count("Wh lasts ") == 1
    season = budget_of(packcodec, *options)["season"]
    assert len(season["course"]) == 183
    assert 1 < season["days"] < 2
    longest = max(season["course"], key=lambda day: day["awake_h"])
    assert longest["day"] in ("2027-06-20", "2027-06-21", "2027-06-22")


def test_options_of_the_pack_reach_the_answer(packcodec: Command) -> None:
    options = ("--battery-wh", "74", "--usable", "0.5", "--base-w", "1", "--watch-h", "12")
    energy = budget_of(packcodec, "--link", "lora-eu-868.1", *options)["energy"]
    assert energy["days"] == pytest.approx(37 / 12, rel=1e-3)
    sunny = budget_of(packcodec, "--link", "lora-eu-868.1", *options, "--solar-wh", "13")
    assert sunny["energy"]["days"] is None
    sleepy = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", "--base-w", "0")
    assert "lasts over a century at 0 W" in sleepy.out


def test_effort_the_same_every_day(packcodec: Command) -> None:
    options = ("--log", DATA / "detections.csv", "--watched", "04:00-20:00")
    said = budget_of(packcodec, "--link", "lora-eu-868.1", *options)
    assert said["energy"]["awake_h"] == 16
    both = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", *LOGS, "--watched", "04:00-20:00")
    assert both.code == 2
    assert "effort is given twice" in both.err


def test_pictures_in_the_terminal(packcodec: Command) -> None:
    options = ("--link", "lora-eu-868.1", "--stations", "40", "--plot")
    ran = packcodec("budget", SCHEMA, *options, *LOGS)
    for title in ("most airtime by hour of the day, UTC", "bytes a day by message",
                  "in the pack after so many days", "frames lost by stations"):  # fmt: skip
        assert title in ran.out
    assert "█" in ran.out
    season = ("--season", "2027-04-01/2027-09-30", "--latitude", "57")
    assert "in the pack at the end of the day" in packcodec("budget", SCHEMA, *options, *season).out
    free = packcodec("budget", SCHEMA, "--link", "lora-us-low", "--plot")
    assert "no rule limits the hour" in free.out


def test_bars_are_as_long_as_what_they_say(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", "--plot")
    lines = ran.out.partition("bytes a day by message")[2].splitlines()[1:4]
    bars = {line.split()[0]: line.count("█") for line in lines}
    assert bars == {"sighting": 2, "summary": 40, "health": 0}


def test_a_power_that_no_sheet_knows_leaves_the_verdict(packcodec: Command) -> None:
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-869.525:power_dbm=26.9")
    assert ran.code == 0
    assert "give it with --radio-w" in ran.out
    said = budget_of(packcodec, "--link", "lora-eu-869.525:power_dbm=26.9", "--radio-w", "2")
    airtime_s = said["airtime_s_per_day"]
    assert said["energy"]["radio_wh_per_day"] == pytest.approx(2 * airtime_s / 3600, rel=0.02)


def test_stations_on_a_link_that_carries_nothing(packcodec: Command) -> None:
    """The verdict says why; how many could share it is no question."""
    ran = packcodec("budget", SCHEMA, "--link", "lora-us-hop:sf=12", "--stations", "4")
    assert ran.code == 1
    assert "DOES NOT FIT: us-hybrid" in ran.out
    assert "stations on" not in ran.out


def test_rates_are_said_as_given(packcodec: Command) -> None:
    options = ("--every", "sighting=3/day,5/hour", "--every", "health=2d")
    ran = packcodec("budget", SCHEMA, "--link", "lora-eu-868.1", *options)
    assert "sighting 3 a day at random, at most 5 an hour, " in ran.out
    assert "health every 2 d" in ran.out
    said = budget_of(packcodec, "--link", "lora-eu-868.1", *options)
    messages = {message["name"]: message["frames_per_day"] for message in said["messages"]}
    assert messages == {"sighting": 3, "summary": 24, "health": 0.5}


@pytest.mark.parametrize(
    "options",
    [
        "--base-w 1e-300",
        "--watch-h 1e-300",
        "--solar-wh 1e-300",
        "--every sighting=0.000001/day",
        "--every summary=31622400s",
        "--base-w 10000 --battery-wh 0.00001",
        "--usable 1e-300 --season 2027-06-01/2027-06-02 --latitude 1e-300",
        "--every sighting=100000/day --stations 1000000",
    ],
)
def test_figures_are_read_without_counting_digits(packcodec: Command, options: str) -> None:
    """No power of ten, and no more digits in a row than a long time in microseconds has."""
    link = "lora-eu-868.1:antenna_gain_dbi=1e-300"
    ran = packcodec("budget", SCHEMA, "--link", link, "--trims", "--plot", *options.split())
    assert ran.code in (0, 1)
    said = ran.out.replace(link, "")
    assert re.findall(r"\d[eE][+-]?\d|\d{13}|nan|inf\b", said) == []


def test_a_users_own_rule_decides(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(
        '[[rule]]\nid = "site"\nlike = "eu-868.0-868.6"\nduty_cycle = 0.00001\n'
        'source = "letter"\nevidence = "primary"\n'
        '[[link]]\nname = "hide"\nlike = "lora-eu-868.1"\nrules = ["site"]\n'
    )
    ran = packcodec("budget", SCHEMA, "--link", "hide", "--rules", file)
    assert ran.code == 1
    assert "hide, your own link" in ran.out
    assert "the user's own rule" in ran.out


@pytest.mark.parametrize(
    ("options", "told"),
    [
        ("--link lora-eu-868.1 --every sightings=3/day", "did you mean 'sighting'?"),
        ("--link lora-eu-868.1 --every sighting=often", "write it as 10min, 3/day"),
        ("--link lora-eu-868.1 --every sighting=3/day,soon", "at most 5 in an hour"),
        ("--link lora-eu-868.1 --interval 1week", "write it as 30s, 10min, 1h or 1d"),
        ("--link lora-eu-868.1 --interval 0s", "1 s to a year"),
        ("--link lora-eu-868.1 --watch watch.csv", "it needs --log"),
        ("--link lora-eu-868.1 --watch-h 25", "--watch-h: 25.0 is out of range; give 0 to 24"),
        ("--link lora-eu-868.1 --watch-h 0", "--watch-h: 0 h a day; give hours above 0, up to 24"),
        ("--link lora-eu-868.1 --watch-h nan", "--watch-h: nan is no number"),
        ("--link lora-eu-868.1 --log nowhere.csv", "nowhere.csv: the file is not there"),
        ("--link lora-eu-868.1 --season 2027-04-01/2027-05-01", "--latitude"),
        ("--link lora-eu-868.1 --season spring --latitude 57", "2027-04-01/2027-09-30"),
        ("--link lora-eu-868.1 --season 2027-05-01/2027-04-01 --latitude 57", "no season"),
        ("--link lora-eu-868.1 --season 1800-01-01/1800-02-01 --latitude 57", "--season: "),
        ("--link lora-eu-868.1 --stations 0", "--stations: 0 is out of range; give 1 to 1000000"),
        (f"--link lora-eu-868.1 --stations {10**26}", "--stations: "),
        ("--link lora-eu-868.1 --battery-wh -1", "--battery-wh: -1.0 is out of range"),
        ("--link lora-eu-868.1 --base-w -1", "--base-w: -1.0 is out of range"),
        ("--link lora-eu-868.1 --base-w 1e308", "--base-w: 1e+308 is out of range; give 0 to 1"),
        ("--link lora-eu-868.1 --asleep-w inf", "--asleep-w: inf is no number"),
        ("--link lora-eu-868.1 --solar-wh nan", "--solar-wh: nan is no number"),
        ("--link lora-eu-868.1 --usable 2", "--usable: 2.0 is out of range; give 0 to 1"),
        ("--link lora-eu-868.1 --rows -1", "--rows: at most -1 rows; give 1 to 12"),
        ("--link lora-eu-868.1 --rows 0", "--rows: at most 0 rows; give 1 to 12"),
        ("--link lora-eu-868.1 --rows 5000", "--rows: at most 5000 rows; give 1 to 12"),
        ("--link lora-eu-868.1 --every summary=0min", "--every summary: a period of 0 s"),
        ("--link lora-eu-868.1 --every sighting=1000000/day", "give 0 to 100000"),
        ("--link lora-eu-868.1 --every health=1d --every health=2d", "--every health: is said twi"),
        ("--link lora-eu-868.1 --every summary=1h --interval 1h", "--interval: "),
        ("--link lora-eu-868.1 --interval 0s", "--interval: a period of 0 s"),
        ("--link lora-eu-868.1 --latitude 57", "--latitude: means nothing here; it needs --season"),
        ("--link lora-eu-868.1 --longitude 0", "--longitude: means nothing here"),
        ("--link lora-eu-868.1 --season 2027-04-01/2027-05-01 --latitude 200", "--latitude: 200.0"),
        (f"--link lora-eu-868.1 --log {DATA}/detections.csv --watched 05:00-05:00", "--watched: "),
        ("--link lora-eu-868.1 --radio-w -1", "--radio-w: -1.0 is out of range"),
        ("--link lora-eu-868.1 --watched 04:00-20:00", "it needs --log"),
        ("--link text-message --stations 4", "has no channel of ours"),
        ("--link nonesuch", "link"),
    ],
)
def test_bad_input_is_one_line(packcodec: Command, options: str, told: str) -> None:
    ran = packcodec("budget", SCHEMA, *options.split())
    assert ran.code == 2
    assert ran.out == ""
    assert told in ran.err
    assert ran.err.count("\n") == 1
