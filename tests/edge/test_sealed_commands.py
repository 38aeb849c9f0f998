"""A sealed schema from key to record, through the commands."""

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from conftest import Command
from small_dataset import FOLDER
from small_schema import SPECIES, TOML

from packcodec.edge.dataset_source import source_mark

HEAD = "time,station,label,confidence,individuals\n"


@pytest.fixture
def folder(tmp_path: Path, packcodec: Command) -> Path:
    """A schema with a seal, its keys, and the frames of a station that saw an otter."""
    (tmp_path / "species.csv").write_text(SPECIES)
    toml = TOML.replace("2027-04-01T00", "2024-04-01T00").replace("15811200", "1581120000")
    toml = toml.replace("sequence_bits = 16", 'sequence_bits = 18\nseal = "ccm4"')
    (tmp_path / "schema.toml").write_text(toml)
    (tmp_path / "log.csv").write_text(
        f"{HEAD}{datetime.now(UTC).isoformat()},reed_bed,otter,0.9,1\n"
    )
    assert packcodec("keys", "new", tmp_path / "schema.toml", tmp_path / "keys").code == 0
    where = ["--store", tmp_path / "store", "--to", tmp_path / "frames.txt", "--once"]
    key = ["--station", "reed_bed", "--keys", tmp_path / "keys" / "reed_bed.key"]
    ran = packcodec(
        "seen",
        tmp_path / "schema.toml",
        tmp_path / "log.csv",
        "--link",
        "lora-eu-868.1",
        *where,
        *key,
    )
    assert ran.code == 0, ran.err
    return tmp_path


def test_only_its_key_opens_what_a_station_sent(folder: Path, packcodec: Command) -> None:
    decode = ["decode", folder / "schema.toml", "--frames", folder / "frames.txt"]
    ran = packcodec(*decode, "--keys", folder / "keys")
    assert ran.code == 0
    assert '"otter"' in ran.out
    for keys in ([], ["--keys", folder / "keys" / "north_hide.key"]):
        ran = packcodec(*decode, *keys)
        assert ran.code == 1
        assert "there is no key for station 2" in ran.err
    secret = (folder / "keys" / "reed_bed.key").read_text().split()[-1]
    assert secret not in ran.out + ran.err


def test_a_base_keeps_what_it_can_open_and_reads_the_rest_when_the_key_comes(
    folder: Path, packcodec: Command
) -> None:
    store = ["--schema", folder / "schema.toml"]
    heard = [folder / "frames.txt", "--received", datetime.now(UTC).isoformat()]
    assert packcodec("receive", folder / "base.db", *heard, *store).code == 1
    ran = packcodec("redecode", folder / "base.db", *store, "--keys", folder / "keys")
    assert ran.code == 0
    assert "1 frames read that gave no record before; 0 still give none" in ran.out


def flood(folder: Path) -> list[str]:
    """130 forged lines of a day, and flood.txt, which has them and the real one."""
    frame = (folder / "frames.txt").read_text().split()[0]
    stem, tail = frame[:-4], int(frame[-4:], 16)
    at = "2027-05-03T12:00:00.{:06}Z"
    lines = [f"{stem}{(tail + n) % 65536:04x} {at.format(n)}" for n in range(1, 131)]
    (folder / "flood.txt").write_text("\n".join([*lines, f"{frame} {at.format(200)}"]) + "\n")
    return lines


def test_forgeries_are_told_by_receive_and_by_gaps(folder: Path, packcodec: Command) -> None:
    toml = ["--schema", folder / "schema.toml", "--keys", folder / "keys"]
    lines = flood(folder)
    ran = packcodec("receive", folder / "base.db", folder / "flood.txt", *toml)
    assert ran.code == 1
    said = "station 2: ALARM: 130 frames of 2027-05-03 that name it do not verify: somebody forges"
    assert said in ran.err
    assert "1 accepted" in ran.out
    for day, code in (("03T23", 1), ("04T23", 1), ("05T01", 0)):
        ran = packcodec("gaps", folder / "base.db", "--at", f"2027-05-{day}:00:00Z")
        assert ran.code == code
        assert said in ran.out
    ran = packcodec("gaps", folder / "base.db", "--at", "2027-05-03T23:00:00Z", "--json")
    [failed] = json.loads(ran.out)["unverified"]
    assert failed == {"station": 2, "day": "2027-05-03", "frames": 130, "alarm": True}
    (folder / "few.txt").write_text("\n".join(lines[:7]) + "\n")
    packcodec("receive", folder / "few.db", folder / "few.txt", *toml)
    ran = packcodec("gaps", folder / "few.db", "--at", "2027-05-03T23:00:00Z")
    assert (ran.code, "station 2: 7 frames that name it do not verify" in ran.out) == (0, True)
    events = packcodec("receive", folder / "other.db", folder / "flood.txt", *toml, "--events").out
    alarm = [json.loads(line) for line in events.splitlines() if "forgeries" in line]
    assert alarm == [{"event": "forgeries", "station": 2, "day": "2027-05-03", "count": 130}]


def test_a_report_of_a_store_tells_of_its_forgeries(folder: Path, packcodec: Command) -> None:
    pytest.importorskip("matplotlib", reason="the part [dataset] is not installed")
    flood(folder)
    toml = ["--schema", folder / "schema.toml", "--keys", folder / "keys"]
    packcodec("receive", folder / "base.db", folder / "flood.txt", *toml)
    (folder / "deployments.csv").write_text(
        "station,latitude,longitude,start,end\n"
        "reed_bed,54.7087,2.6174,2027-05-01T00:00:00Z,2027-05-09T00:00:00Z\n"
    )
    (folder / "project.toml").write_text((FOLDER / "project.toml").read_text())
    ran = packcodec(
        *("report", folder / "schema.toml", folder / "base.db", "--html", folder / "r.html"),
        *("--deployments", folder / "deployments.csv", "--project", folder / "project.toml"),
    )
    assert ran.code == 0, ran.err
    row = (
        '<th scope="row" class="d">reed bed</th><td class="d">2027-05-03</td><td class="n">130</td>'
    )
    assert row in (folder / "r.html").read_text()


def test_forgeries_alone_are_news_of_a_store_behind_a_url(folder: Path, packcodec: Command) -> None:
    """The live page reads anew when the mark changes: an alarm must not wait for a real frame."""
    toml = ["--schema", folder / "schema.toml", "--keys", folder / "keys"]
    url = f"sqlite:///{folder / 'base.db'}"
    first, *more = flood(folder)[:8]
    (folder / "few.txt").write_text(f"{first}\n")
    packcodec("receive", url, folder / "few.txt", *toml)
    before = source_mark(url)
    assert source_mark(url) == before
    (folder / "more.txt").write_text("\n".join(more) + "\n")
    packcodec("receive", url, folder / "more.txt", *toml)
    assert source_mark(url) != before


def test_a_station_without_its_key_does_not_start(folder: Path, packcodec: Command) -> None:
    where = ["--store", folder / "other", "--to", folder / "f", "--station", "1", "--once"]
    ran = packcodec(
        "seen", folder / "schema.toml", folder / "log.csv", "--link", "lora-eu-868.1", *where
    )
    assert ran.code == 2
    assert "keys: there is none for station 1; packcodec keys new makes one" in ran.err


def test_compile_says_what_a_seal_is_worth(folder: Path, packcodec: Command) -> None:
    ran = packcodec("compile", folder / "schema.toml")
    assert "ccm4, 4 bytes: encrypted and authenticated" in ran.out


def test_encode_seals_nothing_and_says_who_does(folder: Path, packcodec: Command) -> None:
    ran = packcodec("encode", folder / "schema.toml", stdin='{"message": "health"}\n' * 3)
    assert (ran.code, ran.out) == (2, "")
    assert "only a station seals frames" in ran.err
    assert "packcodec seen" in ran.err
    assert len(ran.err.splitlines()) == 1
