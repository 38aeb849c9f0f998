"""A log that another process writes, the commands `seen` and `keys`, and the plain radios."""

import os
import socket
import stat
import tty
from datetime import UTC, datetime
from pathlib import Path

import pytest
from batch_schema import BATCHED
from conftest import Command
from small_schema import SPECIES, TOML
from station_bench import Bench

from packcodec.edge.files import load
from packcodec.edge.follow import Follower
from packcodec.edge.framing import Cobs, Kiss
from packcodec.edge.keys import read_keys
from packcodec.edge.ports import FilePort, UdpPort, open_port
from packcodec.errors import KeysError, LogError, SourceError

HEAD = "time,station,label,confidence,individuals\n"


def row(clock: str, label: str = "coot", station: str = "north_hide") -> str:
    return f"2027-04-01T{clock}Z,{station},{label},0.9,2\n"


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "log.csv"


def counted(follower: Follower) -> int:
    return follower._station.monitor.summariser.counted


def test_lines_are_taken_once_as_they_are_written(log: Path) -> None:
    follower = Follower(log, Bench().boot())
    assert follower.feed() == 0
    log.write_text(HEAD[:10])
    assert follower.feed() == 0
    log.write_text(HEAD + row("06:00:01"))
    assert follower.feed() == 1
    half = row("06:00:02")
    with log.open("a") as file:
        file.write(row("06:00:02") + half[:12])
        file.flush()
        assert follower.feed() == 1
        file.write(half[12:])
    assert follower.feed() == 1
    assert follower.feed() == 0
    assert counted(follower) == 3


def test_after_a_restart_it_goes_on_where_what_is_kept_ends(log: Path) -> None:
    bench = Bench()
    log.write_text(HEAD + row("06:00:01") + row("06:00:02"))
    station = bench.boot()
    Follower(log, station).feed()
    station.flush()
    with log.open("a") as file:
        file.write(row("06:00:03"))
    Follower(log, station).feed()  # seen, and lost with the power
    again = Follower(log, bench.boot())
    assert again.feed() == 1
    again._station.flush()
    last = Follower(log, bench.boot())
    assert last.feed() == 0
    interval = last._station.monitor.summariser.kept()["open"]
    assert interval["rows"]["coot"][4] == 3


def test_a_log_begun_anew_is_read_from_its_start(log: Path) -> None:
    follower = Follower(log, Bench().boot())
    log.write_text(HEAD + row("06:00:01") * 5)
    assert follower.feed() == 5
    log.write_text(HEAD + row("06:00:09"))
    assert follower.feed() == 1


def test_other_stations_and_lines_that_cannot_be_read_are_passed_over(log: Path) -> None:
    follower = Follower(log, Bench().boot())
    log.write_text(HEAD + row("06:00:01", station="reed_bed") + "nonsense\n" + row("06:00:02"))
    assert follower.feed() == 3
    assert counted(follower) == 1
    assert "has 1 cell where the header has 5" in str(follower.refused)


def test_a_log_without_its_columns_is_refused(log: Path) -> None:
    log.write_text("time,station,species\n")
    with pytest.raises(LogError, match="'label' is missing"):
        Follower(log, Bench().boot()).feed()


@pytest.fixture
def schema(tmp_path: Path) -> Path:
    (tmp_path / "species.csv").write_text(SPECIES)
    path = tmp_path / "schema.toml"
    # An epoch that the clock of whoever runs this is past, and so believed.
    path.write_text(
        TOML.replace("2027-04-01T00", "2024-04-01T00").replace("15811200", "1581120000")
    )
    return path


def test_the_command_sends_a_log_and_goes_on_after_a_stop(
    tmp_path: Path, log: Path, schema: Path, packcodec: Command
) -> None:
    frames = tmp_path / "frames.txt"
    arguments = ["seen", schema, log, "--link", "lora-eu-868.1", "--store", tmp_path / "store"]
    arguments += ["--station", "north_hide", "--to", frames, "--once"]
    early = f"{datetime.now(UTC).isoformat()},north_hide,otter,0.9,1\n"
    log.write_text(HEAD + early)
    assert packcodec(*arguments).code == 0
    log.write_text(HEAD + early + early.replace("otter", "bittern") + "bad\n")
    ran = packcodec(*arguments)
    assert ran.code == 0
    assert "has 1 cell where" in ran.err
    codec = load(schema)
    records = [codec.decode(bytes.fromhex(line)) for line in frames.read_text().split()]
    sightings = [each for each in records if each.message == "sighting"]
    assert [each.values["species"] for each in sightings] == ["otter", "bittern"]
    assert all(each.values["at"] is not None for each in sightings)
    assert [each.sequence for each in records] == list(range(len(records)))


def test_at_the_end_of_a_log_batches_wait_for_no_company(
    tmp_path: Path,
    log: Path,
    schema: Path,
    packcodec: Command,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    pauses = iter(range(3))
    monkeypatch.setattr("packcodec.edge.cli.seen.time.sleep", lambda _: next(pauses))
    text = BATCHED.replace("2027-04-01T00", "2024-04-01T00").replace("15811200", "1581120000")
    schema.write_text(text)
    frames = tmp_path / "frames.txt"
    log.write_text(HEAD + f"{datetime.now(UTC).isoformat()},north_hide,coot,0.9,1\n")
    arguments = ["--link", "lora-eu-868.1", "--store", tmp_path / "store", "--to", frames]
    ran = packcodec("seen", schema, log, "--station", "north_hide", *arguments, "--once")
    assert ran.code == 0
    records = [load(schema).decode(bytes.fromhex(line)) for line in frames.read_text().split()]
    [batch] = [each for each in records if each.message == "sightings"]
    assert [each["species"] for each in batch.values["seen"]] == ["coot"]


@pytest.mark.parametrize(
    ("option", "value", "problem"),
    [
        ("--to", "tcp://there:1", "there is no port of kind 'tcp'"),
        ("--station", "south", "there is no station 'south'"),
        ("--link", "lora-eu-868.9", "unknown name"),
        ("--health", "battery=3", "no field 'battery'"),
        ("--health", "battery", "says nothing"),
    ],
)
def test_a_wrong_option_is_one_line(
    tmp_path: Path,
    log: Path,
    schema: Path,
    packcodec: Command,
    option: str,
    value: str,
    problem: str,
) -> None:
    given = {"--link": "lora-eu-868.1", "--store": tmp_path / "s", "--to": tmp_path / "f"}
    given |= {"--station": "1", option: value}
    arguments = [part for pair in given.items() for part in pair]
    ran = packcodec("seen", schema, log, *arguments, "--once")
    assert ran.code == 2
    assert problem in ran.err
    assert len(ran.err.splitlines()) == 1


def test_keys_are_made_for_each_station_and_shown_to_nobody(
    tmp_path: Path, schema: Path, packcodec: Command
) -> None:
    folder = tmp_path / "keys"
    ran = packcodec("keys", "new", schema, folder)
    assert ran.code == 0
    files = sorted(folder.iterdir())
    assert [file.name for file in files] == ["north_hide.key", "reed_bed.key"]
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for file in files:
        assert stat.S_IMODE(file.stat().st_mode) == 0o600
        secret = file.read_text().split()[-1]
        assert len(secret) == 32
        assert secret not in ran.out + ran.err
    assert set(read_keys(folder)) == {1, 2}
    assert set(read_keys(files[1])) == {2}
    again = packcodec("keys", "new", schema, folder)
    assert again.code == 2
    assert "is there already" in again.err


def test_a_key_file_that_others_may_read_or_that_is_none_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "x.key"
    file.write_text("1 " + "ab" * 16 + "\n")
    file.chmod(0o644)
    with pytest.raises(KeysError, match=r"others may read it \(mode 644\); chmod 600"):
        read_keys(file)
    file.chmod(0o600)
    assert set(read_keys(file)) == {1}
    for text in ("1 " + "ab" * 15, "x " + "ab" * 16, "1", "1 " + "zz" * 16):
        file.write_text(text)
        with pytest.raises(KeysError, match=r"x\.key:1: is no key") as refused:
            read_keys(file)
        assert "abab" not in str(refused.value)
    file.write_text("# nothing\n")
    with pytest.raises(KeysError, match="holds no key"):
        read_keys(file)
    with pytest.raises(KeysError, match="cannot be read"):
        read_keys(tmp_path / "none.key")


@pytest.mark.parametrize("framing", ["cobs", "kiss"])
def test_frames_pass_a_serial_line(framing: str) -> None:
    master, slave = os.openpty()
    tty.setraw(slave)
    port = open_port(f"serial:{os.ttyname(slave)}?framing={framing}&baud=9600")
    frames = [bytes([0, 0xC0, 0xDB, number]) for number in range(3)]
    for frame in frames:
        port(frame)
    line = {"cobs": Cobs, "kiss": Kiss}[framing]()
    heard: list[bytes] = []
    while len(heard) < len(frames):
        heard += line.feed(os.read(master, 1000))
    assert heard == frames
    port.close()
    for end in (master, slave):
        os.close(end)


def test_a_line_that_was_pulled_is_opened_again(tmp_path: Path) -> None:
    name = tmp_path / "tty"
    port = open_port(f"serial:{name}")
    with pytest.raises(OSError, match="could not open"):
        port(b"frame")
    master, slave = os.openpty()
    tty.setraw(slave)
    name.symlink_to(os.ttyname(slave))
    port(b"frame")
    assert Cobs().feed(os.read(master, 100)) == [b"frame"]
    port.close()
    for end in (master, slave):
        os.close(end)


def test_frames_pass_as_datagrams_and_lines(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as there:
        there.bind(("127.0.0.1", 0))
        port = open_port(f"udp://127.0.0.1:{there.getsockname()[1]}")
        assert isinstance(port, UdpPort)
        port(b"\x00frame")
        assert there.recv(100) == b"\x00frame"
        port.close()
    for address in (str(tmp_path / "frames.txt"), "-"):
        port = open_port(address)
        assert isinstance(port, FilePort)
        port(b"\x00\x01")
        port(b"\xff")
        port.close()
    assert (tmp_path / "frames.txt").read_text() == capsys.readouterr().out == "0001\nff\n"


@pytest.mark.parametrize(
    "address",
    ["serial:", "serial:/dev/x?speed=3", "serial:/dev/x?baud=fast", "udp://here", "udp://h:x"],
)
def test_an_address_that_names_nothing_is_refused(address: str) -> None:
    with pytest.raises(SourceError):
        open_port(address)


def test_an_unknown_framing_is_refused() -> None:
    with pytest.raises(SourceError, match="no framing 'slip'; use cobs or kiss"):
        open_port("serial:/dev/x?framing=slip")
