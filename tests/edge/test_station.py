"""A station whose card fills up, fails, rots or cannot be written; its radio; and its key."""

import errno
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from threading import Thread
from typing import Any

import pytest
from fake_disk import Disk, Operation
from small_schema import at, codec_of, schema_of
from station_bench import CODEC, TIGHT, Bench, over_the_limit

from packcodec.edge.slots import SLOT_BYTES
from packcodec.edge.station import Station
from packcodec.errors import EncodeError, KeysError, PackcodecError, RadioError
from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout


def full(operation: Operation) -> None:
    """New blocks are refused; writing in place needs none."""
    if operation[0] != "overwrite":
        raise OSError(errno.ENOSPC, "No space left on device")


def read_only(_: Operation) -> None:
    raise OSError(errno.EROFS, "Read-only file system")


def fine(_: Operation) -> None:
    return


def numbers(bench: Bench) -> list[int | None]:
    return [record.sequence for record in bench.records()]


def test_a_station_loads_nothing_heavy() -> None:
    heavy = ("click", "rich", "numpy", "bitstring", "cryptography", "sqlite3", "serial")
    code = f"import sys, packcodec.edge.station; print([m for m in {heavy} if m in sys.modules])"
    said = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert said.stdout.strip() == "[]"


@pytest.mark.parametrize(
    ("detection", "problem"),
    [
        (("", None, 0.5), "seen.label: is ''; give a label"),
        (("otter", datetime(2027, 4, 1), 0.5), "seen.when: .*offset from UTC"),
        (("otter", None, float("nan")), "seen.confidence: is nan; give a number 0 to 1"),
        (("otter", None, 1.5), "seen.confidence: is 1.5"),
        (("otter", None, True), "seen.confidence: is True"),
        (("otter", None, 0.5, 0), "seen.individuals: is 0; give 1 or more"),
    ],
)
def test_what_is_no_detection_is_refused(detection: tuple[Any, ...], problem: str) -> None:
    with pytest.raises(EncodeError, match=problem):
        Bench().boot().seen(*detection)


def test_a_health_field_that_does_not_exist_is_refused_by_name() -> None:
    with pytest.raises(EncodeError, match="no field 'batery_mv'; did you mean 'battery_mv'"):
        Bench().boot().health(batery_mv=3900)


@pytest.mark.parametrize(
    ("station", "remedy"), [("north", "north_hide"), (99, "0 to 15"), (None, "")]
)
def test_a_station_that_does_not_exist_is_refused(station: Any, remedy: str) -> None:
    with pytest.raises(EncodeError, match=f"there is no station .*{remedy}"):
        Station(CODEC, "lora-eu-868.1", store=Disk(), station=station)


@pytest.mark.parametrize(("attested", "waits"), [(True, False), (None, True)])
def test_an_attested_clock_vouches_for_the_time_without_power(
    attested: bool | None, waits: bool
) -> None:
    bench = Bench(link=TIGHT)
    for hour in (0, 2):
        bench.now_s += hour * 3600
        station = bench.boot(clock_set=attested)
        for label in ("otter", "bittern"):
            station.seen(label)
        bench.run(station, 3)
    assert (len(bench.sent) < 4) is waits


def test_an_orderly_stop_wastes_no_number() -> None:
    bench = Bench()
    for _ in range(3):
        with bench.boot() as station:
            bench.run(station, 70)
    assert numbers(bench) == [0, 1, 2]


def test_a_cut_wastes_at_most_the_leap_and_a_boot_writes_once() -> None:
    bench = Bench()
    bench.run(bench.boot(leap=10), 70)
    bench.run(bench.boot(leap=10), 70)
    assert numbers(bench) == [0, 10]
    writes = [operation for operation in bench.disk.log if operation[1] == "counter"]
    assert len(writes) == 2


def test_a_full_card_stops_neither_the_loop_nor_the_radio_and_is_told() -> None:
    field = '{ name = "sealed", kind = "boolean", optional = true },'
    told = (field, field + '\n{ name = "storage_failed", kind = "boolean" },')
    bench = Bench(codec=codec_of(told))
    station = bench.boot()
    station.health(battery_mv=3900)
    bench.run(station, 60)
    bench.disk.refuse = full
    station.seen("otter")
    bench.run(station, 180)
    assert any("No space left" in words for words in station.troubles)
    health = [r.values["storage_failed"] for r in bench.records() if r.message == "health"]
    assert health == [False, True]
    assert [r.message for r in bench.records()].count("sighting") == 1
    assert [r.message for r in bench.records()].count("summary") == 4
    bench.disk.refuse = fine
    station.seen("bittern")
    bench.run(station, 62)
    assert not station.monitor.storage_failed
    assert b'"unrecorded":true' not in newest(bench)


def newest(bench: Bench) -> bytes:
    data = bench.disk.files["counter"]
    slots = [data[:SLOT_BYTES], data[SLOT_BYTES:]]
    return max(slots, key=lambda slot: int(slot.split(b'"turn":')[1].split(b",")[0]))


def test_after_frames_the_ledger_could_not_record_the_budget_counts_as_spent() -> None:
    bench = Bench(link=TIGHT)
    station = bench.boot()
    bench.run(station, 1)
    bench.disk.refuse = full
    station.seen("otter")
    bench.run(station, 1)
    assert len(bench.sent) == 1
    assert b'"unrecorded":true' in newest(bench)
    bench.disk.refuse = fine
    again = bench.boot()
    again.seen("bittern")
    bench.run(again, 120)
    on_air = [(at_s, bench.airtime_s(frame)) for at_s, _, frame in bench.sent]
    assert len(on_air) > 1
    assert over_the_limit(on_air, 3.6, 3600) == []
    assert on_air[1][0] - on_air[0][0] > 3500


def test_on_a_card_that_cannot_be_written_nothing_is_sent_and_nothing_raised() -> None:
    for before in (0, 90):
        bench = Bench()
        if before:
            station = bench.boot()
            bench.run(station, before)
        bench.disk.refuse = read_only
        sent = len(bench.sent)
        station = bench.boot() if not before else station
        station.health(battery_mv=3900)
        station.seen("otter")
        bench.run(station, 180)
        station.flush()
        assert len(bench.sent) == sent
        assert any("Read-only" in words for words in station.troubles)
        assert station.monitor.storage_failed
        assert len(station.monitor.outbox) > 2
        bench.disk.refuse = fine
        bench.run(station, 180)
        assert len(bench.sent) > sent


@pytest.mark.parametrize("code", [errno.EIO, errno.ENOSPC])
def test_whichever_write_fails_the_station_goes_on(code: int) -> None:
    tried = 0
    for failing in range(60):
        bench = Bench(link=TIGHT)
        calls = iter(range(10**6))

        def refuse(_: Operation, calls: Any = calls, failing: int = failing) -> None:
            if next(calls) == failing:
                raise OSError(code, "as asked")

        bench.disk.refuse = refuse
        for _ in range(2):
            station = bench.boot(leap=3)
            for minute in range(60):
                if minute % 20 == 3:
                    station.seen("otter" if minute > 30 else "bittern")
                bench.run(station, 1)
        tried += station.troubles.total() > 0
        bench.disk.refuse = fine
        bench.run(bench.boot(leap=3), 300, every_s=300)
        assert len(set(numbers(bench))) == len(bench.sent)
        on_air = [(at_s, bench.airtime_s(frame)) for at_s, _, frame in bench.sent]
        assert over_the_limit(on_air, 3.6, 3600) == []
        sightings = [r.values for r in bench.records() if r.message == "sighting"]
        assert {each["species"] for each in sightings} == {"otter", "bittern"}
    assert tried > 5


@pytest.mark.parametrize("name", ["counter", "journal", "ledger"])
def test_a_rotten_file_costs_no_more_than_it_held(name: str) -> None:
    bench = Bench(link=TIGHT)
    for label in ("otter", "bittern", "otter"):
        station = bench.boot(leap=2)
        station.seen(label)
        bench.run(station, 100)
    whole = bench.disk.files[name]
    written = [place for place in range(len(whole)) if whole[place : place + 1] != b" "]
    assert len(set(numbers(bench))) == len(bench.sent) > 4
    for place in written[:: max(1, len(written) // 60)]:
        files = dict(bench.disk.files)
        files[name] = whole[:place] + bytes([whole[place] ^ 0x10]) + whole[place + 1 :]
        again = Bench(Disk(files), link=TIGHT, now_s=bench.now_s, sent=list(bench.sent))
        station = again.boot(leap=2)
        station.seen("bittern")
        again.run(station, 200, every_s=120)
        assert len(set(numbers(again))) == len(again.sent) > len(bench.sent)
        on_air = [(at_s, again.airtime_s(frame)) for at_s, _, frame in again.sent]
        assert over_the_limit(on_air, 3.6, 3600) == []


def test_a_lost_counter_goes_on_far_beyond_and_without_a_journal_not_at_all() -> None:
    bench = Bench()
    bench.run(bench.boot(), 70)
    bench.disk.files["counter"] = b"\0" * 1024
    bench.run(bench.boot(), 70)
    assert numbers(bench)[1] == numbers(bench)[0]  # 16 of its 32 bits
    assert bench.boot().monitor.sender.counter.next > 65_000
    bench.disk.files["counter"] = b"\0" * 1024
    del bench.disk.files["journal"]
    with pytest.raises(RadioError, match="the frame counter does not verify"):
        bench.boot()


def test_records_of_another_schema_are_given_up_and_the_clock_and_mark_are_not() -> None:
    bench = Bench()
    station = bench.boot()
    station.seen("otter", mark=41)
    bench.codec = codec_of(("version = 1", "version = 2"))
    again = bench.boot()
    assert again.mark == 41
    assert again.monitor.clock.known >= at("06:00")
    assert len(again.monitor.outbox) == 0
    assert any("records lost" in words for words in again.troubles)


def test_two_processes_cannot_share_a_store(tmp_path: Path) -> None:
    first = Station(CODEC, "lora-eu-868.1", store=tmp_path, station=1)
    with pytest.raises(RadioError, match="another process holds the store"):
        Station(CODEC, "lora-eu-868.1", store=tmp_path, station=1)
    first.close()
    Station(CODEC, "lora-eu-868.1", store=tmp_path, station=1).close()


def test_a_radio_that_throws_is_outlived_and_used_again() -> None:
    bench = Bench()

    def broken() -> None:
        raise RuntimeError("the module does not answer")

    bench.radio_refuses = broken
    station = bench.boot()
    station.seen("otter")
    bench.run(station, 30)
    assert bench.sent == []
    assert "radio: RuntimeError: the module does not answer" in station.troubles
    bench.radio_refuses = lambda: None
    bench.run(station, 120)
    assert bench.records()[0].message == "sighting"


def test_words_of_trouble_that_are_ever_new_do_not_fill_the_memory() -> None:
    bench = Bench()
    count = iter(range(10**6))

    def broken() -> None:
        raise RuntimeError(f"failure {next(count)}")

    bench.radio_refuses = broken
    station = bench.boot()
    for _ in range(200):
        station.seen("otter")
        bench.run(station, 31)
    assert len(station.troubles) <= 65
    assert station.troubles.total() > 150


class Listening:
    """A radio that hears others talk, some times."""

    def __init__(self, bench: Bench, busy: int) -> None:
        self.bench, self.busy, self.asked = bench, busy, 0

    def __call__(self, frame: bytes) -> None:
        self.bench.radio(frame)

    def listen_before_talk(self) -> bool:
        self.asked += 1
        return self.asked > self.busy


def test_a_busy_channel_is_waited_for_and_costs_nothing() -> None:
    bench = Bench()
    radio = Listening(bench, busy=5)
    station = bench.boot()
    station.seen("otter")
    for _ in range(200):
        bench.now_s += 1
        station.tick(radio=radio)
    assert radio.asked == 6
    assert numbers(bench) == [0]
    assert [operation[1] for operation in bench.disk.log].count("ledger") == 2


def test_a_slow_card_is_given_the_time_it_takes() -> None:
    bench = Bench()

    def slow(operation: Operation) -> None:
        if operation[1] == "ledger":
            bench.now_s += 1.2

    bench.disk.refuse = slow
    station = bench.boot()
    station.seen("otter")
    bench.run(station, 5, every_s=10)
    assert len(bench.sent) == 1
    # The first moment was over when the card had it; the second, longer one was not.
    entered = [operation for operation in bench.disk.log if operation[1] == "ledger"]
    assert len(entered) == 3
    assert numbers(bench) == [1]


def test_detections_from_one_thread_and_time_from_another() -> None:
    bench = Bench()
    station = bench.boot()

    def detect() -> None:
        for _ in range(3000):
            station.seen("coot", at("06:00"))

    threads = [Thread(target=detect) for _ in range(2)]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        station.tick()
    assert station.monitor.summariser.counted == 6000


SECRET = bytes(range(16))


def sealed_codec(keys: dict[int, Key]) -> Codec:
    whole = ("sequence_bits = 16", 'sequence_bits = 18\nseal = "ccm4"')
    return Codec(compile_layout(schema_of(whole)), keys)


def test_a_sealed_station_sends_what_only_its_key_opens() -> None:
    bench = Bench(codec=sealed_codec({1: Key(SECRET)}))
    station = bench.boot()
    station.seen("otter")
    bench.run(station, 70)
    assert [record.message for record in bench.records()] == ["sighting", "summary"]
    with pytest.raises(PackcodecError):
        sealed_codec({1: Key(SECRET[::-1])}).decode(bench.sent[0][2])
    for text in (repr(vars(station)), repr(station.troubles), repr(bench.disk.files)):
        assert SECRET.hex() not in text


def test_a_sealed_schema_without_the_stations_key_is_refused_at_the_start() -> None:
    with pytest.raises(KeysError, match="there is none for station 1; packcodec keys new"):
        Bench(codec=sealed_codec({2: Key(SECRET)})).boot()


def test_a_radio_run_in_its_own_loop_ends_when_told_and_keeps_everything() -> None:
    bench = Bench()
    station = bench.boot()
    station.seen("otter")
    station.seen("coot")
    calls = iter([False, False, True])
    station.run(bench.radio, until=lambda: next(calls), every_s=0)
    assert len(bench.sent) == 1
    assert '"coot"' in bench.disk.files["journal"].decode()


def test_a_summary_that_would_eat_the_reserve_is_cut_and_does_not_stop_the_rest() -> None:
    """After quiet hours there is airtime saved for it, but no window that would let it go."""
    wide = ("low = 1, high = 255", "low = 1, high = 2147483647")
    bench = Bench(codec=codec_of(wide, ("most = 4", "most = 12")), link=TIGHT)
    station = bench.boot()
    bench.run(station, 8 * 60, every_s=600, watching=False)
    for species in ("coot", "teal", "snipe", "lapwing", "rail", "otter", "bittern"):
        station.seen(species, None, 0.9)
    bench.run(station, 12 * 60, every_s=600, watching=False)
    station.seen("coot", None, 0.9)
    bench.run(station, 12 * 60, every_s=600, watching=False)
    told = [record.values for record in bench.records() if record.message == "summary"]
    assert [len(values["rows"]) + values["left_out"] for values in told] == [7, 1]
    assert told[0]["left_out"] > 0


def test_a_report_that_no_window_would_let_go_is_counted_and_stops_nothing() -> None:
    """It has no rows to give up, and 60 bytes at SF12 would eat the reserve for sightings."""
    spare = "".join(
        f'  {{ name = "spare_{n}", kind = "integer", low = 0, high = 4294967295 }},\n'
        for n in range(13)
    )
    field = '  { name = "battery_mv", kind = "integer", low = 2800, high = 4300 },\n'
    bench = Bench(codec=codec_of((field, field + spare)), link=TIGHT)
    station = bench.boot()
    station.health(battery_mv=3900, **{f"spare_{n}": n for n in range(13)})
    station.seen("coot", None, 0.9)
    bench.run(station, 12 * 60, every_s=600, watching=False)
    assert {record.message for record in bench.records()} == {"summary"}
    assert station.monitor.unsendable == {"health": 1}
