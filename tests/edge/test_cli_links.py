"""`packcodec links` as a shell runs it."""

import json
from pathlib import Path

import pytest
from conftest import Command

from packcodec.budget.verdict import NO_LICENCE
from packcodec.radio.links import known_links

OWN = """
[[rule]]
id = "site-licence"
like = "eu-868.0-868.6"
duty_cycle = 0.1
source = "letter of the regulator"
evidence = "primary"

[[link]]
name = "north-hide"
like = "lora-eu-868.1"
rules = ["site-licence"]
"""


def test_every_link_is_listed_with_the_caution(packcodec: Command) -> None:
    ran = packcodec("links")
    assert ran.code == 0
    plain = [name for name, link in known_links().items() if link.answer is None]
    assert all(name in ran.out for name in plain)
    plans = {name.rpartition("-dr")[0] for name in known_links()} - {""}
    lines = ran.out.splitlines()
    assert [sum(line.startswith(f"{plan} ") for line in lines) for plan in plans] == [1] * len(
        plans
    )
    assert "-dr0" not in ran.out
    assert len(lines) < 70
    assert NO_LICENCE in ran.out
    said = json.loads(packcodec("links", "--json").out)
    assert [link["name"] for link in said["links"]] == list(known_links())
    assert said["caution"] == NO_LICENCE


def test_one_link_tells_its_rule_clause_edition_evidence_and_caution(packcodec: Command) -> None:
    ran = packcodec("links", "lora-eu-868.1:sf=10")
    assert ran.code == 0
    for words in (
        "LoRa SF10 125 kHz, 868.1 MHz, 14 dBm conducted",
        "rule eu-868.0-868.6",
        "1 % = 36 s in any 1 h",
        "ETSI EN 300 220-2, V3.3.1 (2025-03), Table 4",
        "secondary",
        "National tables may differ",
        NO_LICENCE,
    ):
        assert words in ran.out


def test_how_many_bytes_a_day(packcodec: Command) -> None:
    """At SF10 24 bytes take 370.688 ms, 97 times within 36 s: 97 × 24 h × 24 bytes."""
    ran = packcodec("links", "lora-eu-868.1:sf=10", "--json")
    allowed = {each["frame_bytes"]: each for each in json.loads(ran.out)["allowance"]}
    assert allowed[24]["frames_per_day"] == 97 * 24
    assert allowed[24]["bytes_per_day"] == 97 * 24 * 24
    assert "55,872" in packcodec("links", "lora-eu-868.1:sf=10").out


def test_a_part_of_a_name_lists_the_links_with_it(packcodec: Command) -> None:
    ran = packcodec("links", "EU868")
    assert ran.code == 0
    named = [line.split()[0] for line in ran.out.splitlines() if line.startswith("lora")]
    assert named == [name for name in known_links() if "eu868" in name]
    said = json.loads(packcodec("links", "eu868", "--json").out)
    assert [link["name"] for link in said["links"]] == named


def test_the_list_has_the_rules_that_hold_and_the_weakest_evidence(packcodec: Command) -> None:
    """The link's figures were read in the text itself, its rule only where another quotes it."""
    ran = packcodec("links", "lora-eu")
    line = next(line for line in ran.out.splitlines() if line.startswith("lora-eu-868.1 "))
    assert line.split("255")[1].split() == ["eu-868.0-868.6", "secondary"]
    said = json.loads(packcodec("links", "lora-eu-868.1", "--json").out)
    assert said["link"]["rules"] == [rule["id"] for rule in said["rules"]] == ["eu-868.0-868.6"]
    assert said["link"]["weakest_evidence"] == "secondary"


def test_what_is_from_memory_is_said(packcodec: Command) -> None:
    assert "from memory" in packcodec("links", "lora-ca-hop").out


def test_a_users_own_link_and_rule_are_marked(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(OWN)
    listed = packcodec("links", "--rules", file)
    assert "north-hide (your own)" in listed.out
    ran = packcodec("links", "north-hide", "--rules", file)
    assert "rule site-licence, your own rule" in ran.out
    assert "10 % = 360 s in any 1 h" in ran.out
    file.write_text(OWN.replace("duty_cycle = 0.1", "duty_cycle = 0.0000001"))
    low = packcodec("links", "north-hide", "--rules", file)
    assert "0.00001 % = 360 µs in any 1 h" in low.out
    file.write_text(OWN)
    said = json.loads(packcodec("links", "north-hide", "--rules", file, "--json").out)
    assert said["rules"][0]["users_own"] is True
    assert said["link"]["users_own"] is True


def test_a_link_that_is_not_legal_exits_1_and_offers_no_bytes(packcodec: Command) -> None:
    ran = packcodec("links", "lora-us-low:power_dbm=14")
    assert ran.code == 1
    assert "refused: 14.00 dBm EIRP is more than -1.25 dBm EIRP" in ran.out
    assert "15.249" in ran.out
    assert "bytes a day" not in ran.out


def test_a_link_without_a_rule_says_so(packcodec: Command) -> None:
    ran = packcodec("links", "text-message")
    assert ran.code == 0
    assert "no rule of ours" in ran.out


@pytest.mark.parametrize(
    ("name", "told"),
    [
        ("lora-eu-868.2", "did you mean 'lora-eu-868.3'?"),
        ("lora-eu-868.1:sf=15", "give one of 5, 6, 7"),
        ("lora-eu-868.1:sff=7", "did you mean 'sf'?"),
        ("LORA-EU-868.1", "did you mean 'lora-eu-868.1'?"),
        ("lora-eu-868.1:foo=1", "use one of frequency_hz, repeater, power_dbm"),
        ("lora-eu-868.1:sf=7,sf=8", "sf: is given twice"),
        ("lora-eu-868.1:", "write NAME:key=value"),
        ("lora-eu-868.1:power_dbm=-1000", "-40 to 60 dBm"),
        ("lora-eu-868.1:antenna_gain_dbi=900", "-40 to 40 dBi"),
        ("lora-eu-868.1:feeder_loss_db=900", "0 to 40 dB"),
    ],
)
def test_bad_names_are_one_line(packcodec: Command, name: str, told: str) -> None:
    ran = packcodec("links", name)
    assert ran.code == 2
    assert told in ran.err
    assert ran.err.count("\n") == 1


def test_a_rules_file_that_is_wrong_names_itself(packcodec: Command, tmp_path: Path) -> None:
    file = tmp_path / "own.toml"
    file.write_text(OWN.replace("duty_cycle = 0.1", "duty_cycle = 10"))
    ran = packcodec("links", "--rules", file)
    assert ran.code == 2
    assert "own.toml:5, rule 'site-licence', duty_cycle" in ran.err
