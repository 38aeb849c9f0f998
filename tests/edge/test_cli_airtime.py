"""`packcodec airtime` as a shell runs it."""

import json

import pytest
from conftest import Command


def test_json_has_the_seconds(packcodec: Command) -> None:
    """24 bytes at SF10, the largest within a dwell of 400 ms, take 370.688 ms."""
    ran = packcodec("airtime", "--modulation", "lora", "--sf", "10", "--bandwidth", "125",
                    "--bytes", "24", "--json")  # fmt: skip
    assert ran.code == 0
    said = json.loads(ran.out)
    assert said["airtime_s"] == 0.370688
    assert said["airtime_us"] == 370_688
    assert said["bytes"] == 24


@pytest.mark.parametrize(
    ("options", "airtime_s"),
    [
        # Values of tests/outside/test_lora_airtime.py, here through the options.
        ("--sf 8 --coding-rate 4/6 --preamble 10 --no-header --bytes 10", 0.082432),
        ("--sf 10 --coding-rate 4/6 --preamble 10 --no-header --ldro on --bytes 10", 0.280576),
        ("--sf 12 --bandwidth 500 --coding-rate 4/6 --ldro on --bytes 50", 0.657408),
        ("--sf 12 --bytes 10", 0.991232),
    ],
)
def test_every_lora_option_counts(packcodec: Command, options: str, airtime_s: float) -> None:
    ran = packcodec("airtime", "--modulation", "lora", *options.split(), "--json")
    assert json.loads(ran.out)["airtime_s"] == airtime_s


def test_other_modulations(packcodec: Command) -> None:
    gfsk = packcodec("airtime", "--modulation", "gfsk", "--bytes", "20", "--json")
    assert json.loads(gfsk.out)["airtime_s"] == 0.00496
    hopping = packcodec("airtime", "--modulation", "lr-fhss", "--bytes", "29", "--json")
    assert json.loads(hopping.out)["airtime_s"] == 2.326528


def test_a_links_overhead_counts(packcodec: Command) -> None:
    link = packcodec("airtime", "--link", "lorawan-eu868-dr2", "--bytes", "11", "--json")
    plain = packcodec("airtime", "--modulation", "lora", "--sf", "10", "--bytes", "24", "--json")
    assert json.loads(link.out) == json.loads(plain.out)


def test_people_get_the_time_and_the_next_step(packcodec: Command) -> None:
    ran = packcodec("airtime", "--modulation", "lora", "--sf", "12", "--bytes", "12")
    assert "1.155072 s on air for 12 bytes" in ran.out
    assert "3 more bytes would take no longer" in ran.out


@pytest.mark.parametrize(
    ("options", "place"),
    [
        ("--bytes 5", "airtime"),
        ("--modulation lora --bytes 5", "--sf"),
        ("--modulation gfsk --sf 7 --bytes 5", "--sf"),
        ("--modulation lora --sf 7 --bandwidth 100 --bytes 5", "--bandwidth"),
        ("--modulation lora --sf 7 --coding-rate 3/4 --bytes 5", "--coding-rate"),
        ("--modulation lora --sf 7 --bandwidth nan --bytes 5", "--bandwidth: nan is no number"),
        ("--modulation lora --sf 7 --bandwidth -1 --bytes 5", "--bandwidth: -1.0 is out of range"),
        ("--modulation lora --sf 13 --bytes 5", "--sf: "),
        ("--modulation lora --sf 7 --preamble 1 --bytes 5", "--preamble: "),
        ("--modulation gfsk --bitrate 0 --bytes 5", "--bitrate: "),
        ("--modulation lora --sf 7 --bytes 256", "--bytes: 256 is out of range; give 0 to 255"),
        ("--modulation lora --sf 7 --bytes -1", "--bytes: -1 is out of range"),
        ("--link lora-eu-868.1 --sf 7 --bytes 5", "--link"),
        ("--link lorawan-us915-dr0 --bytes 12", "link 'lorawan-us915-dr0'"),
        ("--link lora-eu-868.2 --bytes 12", "link"),
        ("--link lora-eu-868.1 --bytes 1 --rules nowhere.toml", "nowhere.toml"),
    ],
)
def test_bad_input_is_one_line(packcodec: Command, options: str, place: str) -> None:
    ran = packcodec("airtime", *options.split())
    assert ran.code == 2
    assert ran.out == ""
    assert ran.err.startswith(f"packcodec: {place}")
    assert ran.err.count("\n") == 1
