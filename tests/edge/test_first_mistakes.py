"""What a newcomer gets wrong, at the commands: each mistake is named with its place and remedy."""

import json
import shutil
from pathlib import Path

import pytest
from conftest import Command

import packcodec as package

DEMO = Path(package.__file__).parent / "edge" / "demo_data"
SCHEMA = DEMO / "schema.toml"
HEALTH = {
    "message": "health",
    "station": 3,
    "sequence": 5,
    "values": {
        "at": "2027-04-03T05:00:00Z",
        "battery_mv": 3900,
        "temperature_c": 11,
        "storage_percent": 71,
        "restarts": 0,
        "power": "battery",
        "state": [],
    },
}


@pytest.fixture
def own(tmp_path: Path) -> Path:
    """A copy of the demo's schema, to be spoilt."""
    for name in ("schema.toml", "species.csv"):
        shutil.copy(DEMO / name, tmp_path / name)
    return tmp_path / "schema.toml"


def spoil(schema: Path, old: str, new: str) -> None:
    text = schema.read_text(encoding="utf-8")
    assert old in text
    schema.write_text(text.replace(old, new, 1), encoding="utf-8")


def test_what_cannot_be_laid_out_names_its_file(packcodec: Command, own: Path) -> None:
    spoil(own, 'check = "crc24"', 'check = "crc16-short"')
    ran = packcodec("compile", own)
    assert ran.code == 2
    assert f"{own} frame.check: message " in ran.err


def test_encode_and_decode_pass_over_a_byte_order_mark(packcodec: Command, tmp_path: Path) -> None:
    record = json.dumps(HEALTH)
    frame = packcodec("encode", SCHEMA, stdin=f"{record}\n").out
    file = tmp_path / "r.jsonl"
    file.write_text(f"{record}\n", encoding="utf-8-sig")
    assert packcodec("encode", SCHEMA, file) == (0, frame, "")
    said = packcodec("decode", SCHEMA, stdin=frame).out
    file.write_text(frame, encoding="utf-8-sig")
    assert packcodec("decode", SCHEMA, "--frames", file) == (0, said, "")


def test_spaces_in_a_frame_are_for_explain(packcodec: Command) -> None:
    frame = packcodec("encode", SCHEMA, stdin=json.dumps(HEALTH)).out.strip()
    spaced = " ".join(frame[at : at + 2] for at in range(0, len(frame), 2))
    assert packcodec("explain", SCHEMA, spaced) == packcodec("explain", SCHEMA, frame)
    ran = packcodec("decode", SCHEMA, stdin=spaced)
    assert ran.code == 2
    assert "write them without" in ran.err
    assert "spaces between bytes or none" in packcodec("explain", SCHEMA, "2f 4").err


def test_what_the_frames_carry_is_not_taken_from_an_option(packcodec: Command) -> None:
    frame = packcodec("encode", SCHEMA, stdin=json.dumps(HEALTH)).out.strip()
    for command in (("decode", SCHEMA), ("explain", SCHEMA, frame)):
        plain = packcodec(*command, stdin=frame)
        ran = packcodec(*command, "--station", "9", "--message", "summary", stdin=frame)
        assert (ran.code, ran.out) == (0, plain.out)
        assert ran.err.splitlines() == [
            "packcodec: --station is not used: the frames carry it",
            "packcodec: --message is not used: the frames carry it",
        ]
        assert packcodec(*command, "--station", "-1", stdin=frame).code == 2
        ran = packcodec(*command, "--message", "sumary", stdin=frame)
        assert (ran.code, "did you mean 'summary'?" in ran.err) == (2, True)


def test_what_the_frames_do_not_carry_is_asked_for_by_its_option(
    packcodec: Command, own: Path
) -> None:
    spoil(own, "message_bits = 2", "message_bits = 0")
    spoil(own, "station_bits = 4", "station_bits = 0")
    frame = packcodec("encode", own, stdin=json.dumps(HEALTH)).out.strip()
    for command in (("decode", own), ("explain", own, frame)):
        ran = packcodec(*command, stdin=frame)
        assert (ran.code, "packcodec: --station: is missing; " in ran.err) == (2, True)
        ran = packcodec(*command, "--station", "3", stdin=frame)
        assert (ran.code, "packcodec: --message: is missing; " in ran.err) == (2, True)
        ran = packcodec(*command, "--station", "3", "--message", "health", stdin=frame)
        assert (ran.code, ran.err) == (0, "")


def test_one_is_said_of_one(packcodec: Command) -> None:
    assert "1 record was not encoded" in packcodec("encode", SCHEMA, stdin="{}").err
    assert "2 records were not encoded" in packcodec("encode", SCHEMA, stdin="{}\n{}").err
    assert "1 line gave no record: 1 wrong length" in packcodec("decode", SCHEMA, stdin="00").err
