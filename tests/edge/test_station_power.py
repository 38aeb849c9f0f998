"""Power cuts: at every operation of the card, and within it, and at random by kill -9.

What was acknowledged is sent or still there, no number is used twice, and no hour holds more time
on air than the rule allows.
"""

from collections import Counter
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import pytest
from fake_disk import Disk, after, cuts
from kill_rounds import faults, rounds
from station_bench import TIGHT, Bench, key, over_the_limit

from packcodec.edge.station import Station


def morning(bench: Bench, station: Station) -> list[tuple[int, set[object], int]]:
    """Three hours of it. After each call that returned: operations so far, the records there are,
    and the visits of coots that a tick has seen."""
    acknowledged = []
    visits = 0
    for minute in range(180):
        bench.now_s += 60
        if minute % 40 == 5:
            station.seen("coot", None, 0.9, 2)
            visits += 1
        if minute in (20, 130):
            station.seen("otter", None, 0.95)
        while station.tick(radio=bench.radio):
            pass
        waiting = {
            key(station.codec.decode(station.codec.encode(_record(station, entry))))
            for entry in station.monitor.outbox
        }
        there = waiting | {key(record) for record in bench.records()}
        acknowledged.append((len(bench.disk.log), there, visits))
    return acknowledged


def _record(station: Station, entry: object) -> dict[str, object]:
    message, payload = entry.message, entry.payload  # type: ignore[attr-defined]
    values = station.codec.payloads[message].unpack_values(payload)
    return {"message": message, "values": values, "station": 1, "sequence": 0}


def short(length: int) -> list[int]:
    return sorted({1, length // 2, length - 1})


@pytest.fixture(scope="module")
def lived() -> tuple[Bench, list[tuple[int, set[object], int]]]:
    bench = Bench(link=TIGHT)
    station = bench.boot(leap=4, checkpoint_s=0)
    station.health(battery_mv=3900)
    return bench, morning(bench, station)


def test_a_cut_at_any_operation_loses_nothing_and_repeats_nothing(
    lived: tuple[Bench, list[tuple[int, set[object], int]]],
) -> None:
    bench, acknowledged = lived
    tried = 0
    for done in range(len(bench.disk.log)):
        before = [(at_s, frame) for at_s, ops, frame in bench.sent if ops <= done]
        there, visits = next(
            ((keys, seen) for ops, keys, seen in reversed(acknowledged) if ops <= done), (set(), 0)
        )
        for partly in cuts(bench.disk.log[done], short):
            tried += 1
            files = after(bench.disk.log, done, partly)
            again = Bench(Disk(files), link=TIGHT)
            again.now_s = max([6 * 3600.0, *(s + again.airtime_s(f) for s, f in before)])
            again.sent = [(at_s, 0, frame) for at_s, frame in before]
            station = again.boot(leap=4)
            # The power is back in the same moment: the worst for the ledger.
            again.run(station, 8 * 60, every_s=600, watching=False)
            records = again.records()
            assert there <= {key(record) for record in records}
            numbers = Counter(record.sequence for record in records)
            assert set(numbers.values()) <= {1}
            on_air = [(s, again.airtime_s(frame)) for s, _, frame in again.sent]
            assert over_the_limit(on_air, 3.6, 3600) == []
            counted = sum(
                row["visits"]
                for record in {key(each): each for each in records}.values()
                if record.message == "summary"
                for row in record.values["rows"]
                if row["species"] == "coot"
            )
            assert counted >= visits
    assert tried > 500


def test_the_audit_sees_an_hour_that_is_over_full() -> None:
    assert over_the_limit([(0, 2), (3000, 1.6)], 3.6, 3600) == []
    assert len(over_the_limit([(0, 2), (3000, 1.7)], 3.6, 3600)) == 1
    assert over_the_limit([(0, 2), (3599, 1.7)], 3.6, 3600) == []


def test_nothing_acknowledged_is_lost_to_kill_9() -> None:
    # What a process writes survives its death in memory as on a disk, and memory is not busy.
    memory = Path("/dev/shm")
    with TemporaryDirectory(dir=memory if memory.is_dir() else None) as folder:
        told = rounds(Path(folder) / "store", 100, Random(5))
        assert faults(Path(folder) / "store", told) == []
    assert len(told.acknowledged) > 300
    assert len(told.sent) > 20
