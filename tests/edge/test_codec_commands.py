"""compile, compare, encode, decode and explain, on real input and on wrong input."""

import json
import shutil
from pathlib import Path

import pytest
from conftest import Command

import packcodec as package
from packcodec.edge.files import load

DEMO = Path(package.__file__).parent / "edge" / "demo_data"
SCHEMA = DEMO / "schema.toml"
OTTER = {
    "message": "sighting",
    "station": 3,
    "sequence": 5,
    "values": {
        "at": "2027-04-03T05:12:00Z",
        "species": "otter",
        "individuals": {"at_least": 8},
        "confidence": 0.9,
        "state": ["restarted"],
    },
}


@pytest.fixture
def frame() -> str:
    return load(SCHEMA).encode(OTTER).hex()


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


def test_compile_shows_every_field_with_its_bits(packcodec: Command) -> None:
    ran = packcodec("compile", SCHEMA)
    assert ran.code == 0
    for words in ("individuals", "8 means at least 8", "crc24", "bits of payload", "rows"):
        assert words in ran.out


def test_compile_as_json_adds_up(packcodec: Command) -> None:
    data = json.loads(packcodec("compile", SCHEMA, "--json").out)
    sighting = next(each for each in data["messages"] if each["name"] == "sighting")
    bits = sum(each["bits"] for each in sighting["fields"])
    assert bits == sighting["most_payload_bits"]
    assert sighting["most_frame_bytes"] == -(-(data["header_bits"] + bits) // 8) + 3


def test_encode_and_decode_give_the_record_back(packcodec: Command) -> None:
    frames = packcodec("encode", SCHEMA, stdin=json.dumps(OTTER) + "\n")
    assert (frames.code, frames.err) == (0, "")
    bytes.fromhex(frames.out)
    records = packcodec("decode", SCHEMA, stdin=frames.out)
    assert (records.code, records.err) == (0, "")
    assert json.loads(records.out) == OTTER


def test_encode_says_which_record_and_field_it_refuses_and_goes_on(packcodec: Command) -> None:
    wrong = {**OTTER, "values": {**OTTER["values"], "species": "oter"}}  # type: ignore[dict-item]
    lines = "\n".join([json.dumps(wrong), "{", "[]", json.dumps(OTTER)])
    ran = packcodec("encode", SCHEMA, stdin=lines)
    assert ran.code == 2
    assert len(ran.out.splitlines()) == 1
    assert ran.err.splitlines()[0] == (
        "packcodec: <stdin>:1: message.sighting.species: is 'oter'; it takes for instance 'otter'"
    )
    assert "<stdin>:2: is not JSON" in ran.err
    assert "<stdin>:3" in ran.err
    assert "3 records were not encoded" in ran.err


def test_decode_reports_what_does_not_verify_with_its_reason(
    packcodec: Command, frame: str
) -> None:
    damaged = f"{int(frame, 16) ^ 1 << 40:0{len(frame)}x}"
    other = f"{int(frame[:2], 16) ^ 1:02x}" + frame[2:]
    ran = packcodec("decode", SCHEMA, stdin=f"{frame}\n{damaged}\n{other}\n{frame[:8]}\n")
    assert ran.code == 1
    assert [json.loads(line) for line in ran.out.splitlines()] == [OTTER]
    assert "<stdin>:2: check: damaged" in ran.err
    assert "<stdin>:3: tag: the tag is not that of sedgemere" in ran.err
    assert "<stdin>:4: a frame of 4 bytes" in ran.err
    assert ran.err.splitlines()[-1] == (
        "packcodec: 3 lines gave no record: 1 failed check, 1 unknown tag, 1 wrong length"
    )


@pytest.mark.parametrize(
    ("line", "said"),
    [("zz", "hexadecimal"), ("abc", "hexadecimal"), ("{frame} yesterday", "reception time")],
)
def test_decode_of_what_is_no_frame_line_exits_2(
    packcodec: Command, frame: str, line: str, said: str
) -> None:
    ran = packcodec("decode", SCHEMA, stdin=line.replace("{frame}", frame) + "\n")
    assert ran.code == 2
    assert said in ran.err
    assert ran.out == ""


def test_decode_takes_the_schema_that_a_frame_belongs_to(
    packcodec: Command, own: Path, frame: str
) -> None:
    spoil(own, "version = 1", "version = 2")
    newer = load(own).encode(OTTER).hex()
    ran = packcodec("decode", SCHEMA, own, stdin=f"{frame}\n{newer}\n")
    assert [json.loads(line) for line in ran.out.splitlines()] == [OTTER, OTTER]
    alone = packcodec("decode", SCHEMA, stdin=newer)
    assert (alone.code, alone.out) == (1, "")


def test_a_wrapped_time_is_resolved_by_the_reception_time(packcodec: Command, own: Path) -> None:
    spoil(own, 'step_s = 60, span_s = 15811200, beyond = "reject"', "step_s = 60, span_s = 86400")
    line = load(own).encode(OTTER).hex()
    values = [
        json.loads(packcodec("decode", own, *options, stdin=f"{line}{after}\n").out)["values"]["at"]
        for options, after in (
            ((), ""),
            (("--received", "2027-04-03T06:00:00Z"), ""),
            ((), " 2027-06-01T02:00:00+02:00"),
        )
    ]
    assert values == [
        {"offset_s": 18720, "span_s": 86400},
        "2027-04-03T05:12:00Z",
        "2027-06-01T05:12:00Z",
    ]


def test_explain_names_every_bit(packcodec: Command, frame: str) -> None:
    ran = packcodec("explain", SCHEMA, frame, "--json")
    parts = json.loads(ran.out)["parts"]
    assert ran.code == 0
    assert "".join(part["bits"] for part in parts) == f"{int(frame, 16):0{4 * len(frame)}b}"
    said = {part["name"]: part["meaning"] for part in parts}
    assert said["species"] == "otter (Lutra lutra)"
    assert said["individuals"] == "at least 8"
    assert said["station"] == "3 sluice"


def test_explain_shows_a_damaged_frame_as_far_as_it_goes(packcodec: Command, frame: str) -> None:
    damaged = f"{int(frame, 16) ^ 1 << 40:0{len(frame)}x}"
    ran = packcodec("explain", SCHEMA, damaged)
    assert ran.code == 1
    assert "DOES NOT VERIFY: failed check" in ran.out
    assert "species" in ran.out
    assert packcodec("explain", SCHEMA, frame[:6]).code == 1


def test_compare_gives_a_verdict_and_an_exit_code(packcodec: Command, own: Path) -> None:
    assert packcodec("compare", SCHEMA, own).out.startswith("same")
    species = own.parent / "species.csv"
    row = "60,new_bird,Genus novum,,,,,animal,,active,summary,2027-06-01\n"
    species.write_text(species.read_text() + row)
    readable = packcodec("compare", SCHEMA, own, "--json")
    assert (readable.code, json.loads(readable.out)["verdict"]) == (0, "readable")
    spoil(own, "low = 1, high = 8", "low = 1, high = 9")
    breaking = packcodec("compare", SCHEMA, own)
    assert breaking.code == 1
    assert "3 bits → 4 bits" in breaking.out


@pytest.mark.parametrize("command", ["compile", "encode", "decode", "explain"])
@pytest.mark.parametrize(
    ("old", "new", "place", "remedy"),
    [
        ('kind = "species"', 'kind = "spcies"', "fields[1]", "species"),
        ("codes = 64", "codes = 8", "species.csv", "codes"),
        ("epoch = ", "epoc = ", "schema", "epoch"),
        ("[schema]", "[schema", "schema.toml:", ""),
        ('check = "crc24"', 'check = "crc16"', "frame.check", "crc24"),
    ],
)
def test_a_wrong_schema_is_one_line_and_exit_2(
    packcodec: Command, own: Path, command: str, old: str, new: str, place: str, remedy: str
) -> None:
    spoil(own, old, new)
    ran = packcodec(command, own, *(["00"] if command == "explain" else []))
    assert (ran.code, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert place in ran.err
    assert remedy in ran.err


def test_files_that_are_not_there(packcodec: Command, own: Path) -> None:
    missing = packcodec("compile", own.with_name("nowhere.toml"))
    assert (missing.code, "nowhere.toml: the schema is not there" in missing.err) == (2, True)
    (own.parent / "species.csv").unlink()
    tableless = packcodec("compile", own)
    assert (tableless.code, "species.csv: the species table that" in tableless.err) == (2, True)
    own.write_bytes(b"\xff\xfe")
    assert "not UTF-8" in packcodec("compile", own).err
