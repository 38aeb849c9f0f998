"""`packcodec compile --link`: the bits that are free before the next step, and what fields cost."""

import json
import shutil
from pathlib import Path

import pytest
from conftest import Command

import packcodec.edge
from packcodec.edge.files import load
from packcodec.radio.links import find_link

DATA = Path(packcodec.edge.__file__).parent / "demo_data"
SCHEMA = DATA / "schema.toml"


@pytest.mark.parametrize("name", ["lora-eu-868.1", "lora-eu-868.1:sf=12", "lorawan-eu868-dr3"])
def test_free_bits_are_those_up_to_the_next_step(packcodec: Command, name: str) -> None:
    """By the link's own airtimes: so many whole bytes more, and what the last byte has left."""
    said = json.loads(packcodec("compile", SCHEMA, "--link", name, "--json").out)
    link = find_link(name)
    layouts = {message.name: message for message in load(SCHEMA).layout.messages}
    assert [each["message"] for each in said["edges"]] == list(layouts)
    for each in said["edges"]:
        size, free_bits = each["frame_bytes"], each["free_bits"]
        assert size == layouts[each["message"]].most_frame_bytes
        assert link.airtime(size + free_bits // 8).airtime_s == each["airtime_s"]
        assert link.airtime(size + free_bits // 8 + 1).airtime_s > each["airtime_s"]


def test_people_are_told_under_each_message(packcodec: Command) -> None:
    ran = packcodec("compile", SCHEMA, "--link", "lora-eu-868.1")
    assert ran.code == 0
    assert ran.out.count("on lora-eu-868.1:") == 3
    assert "sighting, 11 bytes: 13 bits free before the next step" in ran.out
    assert "ms each field costs: at 20.5; every other field none" in ran.out
    assert "before the next step" not in packcodec("compile", SCHEMA).out


def test_what_does_not_fit_or_is_cut_is_said(packcodec: Command) -> None:
    ran = packcodec("compile", SCHEMA, "--link", "lorawan-us915-dr0")
    assert "does not fit the 11 bytes that link lorawan-us915-dr0 has room for" in ran.out
    assert "on lorawan-us915-dr0, with the rows that fit:\nsummary, 10 bytes" in ran.out


def test_a_dwell_limit_ends_what_is_free(packcodec: Command) -> None:
    """At SF10 400 ms hold 24 bytes: the bits up to the next step beyond them are not free."""
    said = json.loads(packcodec("compile", SCHEMA, "--link", "lora-us-hop:sf=10", "--json").out)
    assert said["room_bytes"] == 24
    for each in said["edges"]:
        assert each["frame_bytes"] + each["free_bits"] // 8 <= 24


def test_modelled_coding_gives_no_field_a_width(packcodec: Command, tmp_path: Path) -> None:
    for name in ("schema.toml", "species.csv"):
        shutil.copy(DATA / name, tmp_path)
    schema = tmp_path / "schema.toml"
    text = SCHEMA.read_text(encoding="utf-8")
    assert 'coding = "fixed"' in text
    schema.write_text(text.replace('coding = "fixed"', 'coding = "modelled"'), encoding="utf-8")
    ran = packcodec("compile", schema, "--link", "lora-eu-868.1")
    assert ran.out.count("modelled coding gives no field a width of its own") == 3
    assert "at worst 56 bytes, and link lora-eu-868.1 has room for 255" in ran.out
    # The worst case: the fixed payload behind six bits.
    assert "at most 396 bits of payload (390 in fixed coding), 6 to 56 bytes as a frame" in ran.out
    said = json.loads(packcodec("compile", schema, "--json").out)
    summary = next(each for each in said["messages"] if each["name"] == "summary")
    assert summary["most_payload_bits"] == summary["fixed_most_payload_bits"] + 6 == 396
    assert summary["least_payload_bits"] == 0


def test_wrong_links_are_one_line(packcodec: Command) -> None:
    wrong = packcodec("compile", SCHEMA, "--link", "lora-eu-868.2")
    assert (wrong.code, wrong.err.count("\n")) == (2, 1)
    assert "did you mean" in wrong.err
    alone = packcodec("compile", SCHEMA, "--rules", "own.toml")
    assert "--rules: means nothing here; it needs --link" in alone.err
