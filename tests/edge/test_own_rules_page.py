"""spec/own-rules.md: its worked example runs, and its tables name every key there is."""

import json
import re
from pathlib import Path

import pytest
from conftest import Command

import packcodec.edge
from packcodec.radio.link import COLUMNS as LINK_COLUMNS
from packcodec.radio.rows import Column
from packcodec.radio.rules import COLUMNS as RULE_COLUMNS

PAGE = Path(__file__).parents[2] / "spec" / "own-rules.md"
TEXT = PAGE.read_text(encoding="utf-8")
EXAMPLE = re.findall(r"^```toml\n(.*?)^```$", TEXT, re.MULTILINE | re.DOTALL)[0]
SCHEMA = Path(packcodec.edge.__file__).parent / "demo_data" / "schema.toml"


def test_the_example_says_what_its_comments_say(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(EXAMPLE, encoding="utf-8")
    said = json.loads(packcodec("links", "north-hide", "--rules", file, "--json").out)
    (rule,) = said["rules"]
    assert rule["users_own"]
    assert rule["limits"]["duty cycle"].startswith("10 % = 360 s in any 1 h")
    assert "longest transmission, advised" not in rule["limits"]
    assert rule["clause"].startswith("licence of the regulator, 3 March 2027, schedule 2")
    assert said["link"]["sent_as"] == "LoRa SF10 125 kHz"
    ran = packcodec("budget", SCHEMA, "--link", "north-hide", "--rules", file)
    assert ran.code == 0
    assert "FITS: sedgemere-licence: " in ran.out
    assert "13.85 dBm ERP of 13.98 dBm ERP; antenna 5 dBi" in ran.out


@pytest.mark.parametrize("columns", [RULE_COLUMNS, LINK_COLUMNS])
def test_every_key_is_described(columns: tuple[Column, ...]) -> None:
    named = set(re.findall(r"`(\w+)`", TEXT))
    assert {column.key for column in columns} - named == set()


@pytest.mark.parametrize(
    ("slip", "told"),
    [
        (("duty_cycle = 0.1", "duty_cycle = 10"), "own.toml:6, rule 'sedgemere-licence', duty_cyc"),
        (('like = "eu-868.0-868.6"', 'like = "eu-868"'), "own.toml:4, rule 'sedgemere-licence', l"),
        (("power_dbm = 11", "power_dbm = 900"), "own.toml:19, link 'north-hide', power_dbm"),
        (('["sedgemere-licence"]', '["sedgemere"]'), "own.toml:16, link 'north-hide', rules"),
        (('name = "north-hide"', "name = north-hide"), "own.toml:14: this is not TOML"),
    ],
)
def test_a_slip_is_refused_with_its_line_and_a_remedy(
    packcodec: Command, tmp_path: Path, slip: tuple[str, str], told: str
) -> None:
    file = tmp_path / "own.toml"
    assert slip[0] in EXAMPLE
    file.write_text(EXAMPLE.replace(*slip), encoding="utf-8")
    ran = packcodec("links", "north-hide", "--rules", file)
    assert ran.code == 2
    assert told in ran.err
    assert "; " in ran.err
    assert ran.err.count("\n") == 1


def test_the_help_says_what_the_file_is(packcodec: Command) -> None:
    for command in ("airtime", "links", "budget"):
        assert "spec/own-rules.md" in packcodec(command, "--help").out


def test_a_row_that_lacks_a_key_says_where_to_get_it(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text('\n[[rule]]\nid = "mine"\nduty_cycle = 0.1\n', encoding="utf-8")
    told = packcodec("links", "--rules", file).err
    assert "own.toml:2, rule 'mine': 'region' is missing; add region = " in told
    assert 'like = "NAME"' in told
    file.write_text('[[rule]]\nid = "mine"\nwithout = ["region"]\n', encoding="utf-8")
    told = packcodec("links", "--rules", file).err
    assert "own.toml:3, rule 'mine', without: unknown name 'region'; take a row over" in told
