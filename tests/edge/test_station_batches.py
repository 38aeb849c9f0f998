"""Sightings and summaries that share frames: what arrives is what a direct summary says."""

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any, Literal

import pytest
from batch_schema import batch_codec
from fake_disk import Disk, after, cuts
from hypothesis import given, settings
from hypothesis import strategies as st
from small_dataset import demo_project
from small_schema import EPOCH, codec_of
from station_bench import TIGHT, Bench, over_the_limit

from packcodec.base.reconcile import Finding, reconcile
from packcodec.codec.record import Record
from packcodec.dataset.build import Heard, build
from packcodec.dataset.model import Dataset, Deployment
from packcodec.edge.station import Station
from packcodec.frame import Codec
from packcodec.frame.fill import batches_of, unbatched
from packcodec.monitor import Detection, Stretch, summarise
from packcodec.radio.links import find_link

Coding = Literal["fixed", "modelled"]
ANIMALS = ("coot", "teal", "snipe", "lapwing", "rail")
WATCHED_S = 8 * 3600


def detections() -> list[Detection]:
    """Eight hours of a morning: bursts, quiet, six species in one hour, a priority one twice."""
    seen = []
    for minute in range(5, 470, 37):
        seen += [(minute, species) for species in ANIMALS[: 1 + minute % 5]]
        seen += [(minute + 9, species) for species in ANIMALS[: minute % 3]]
    seen += [(100, "otter"), (101, "walker"), (400, "otter")]
    return [
        Detection(1, EPOCH + timedelta(hours=6, minutes=minute), label, 0.9, 1 + minute % 3)
        for minute, label in sorted(seen)
    ]


def live(bench: Bench, station: Station, *, until_s: float = WATCHED_S) -> None:
    """The rest of the morning, minute by minute, from where the bench's time stands."""
    todo = [each for each in detections() if (each.at - EPOCH).total_seconds() > bench.now_s]
    while bench.now_s < 6 * 3600 + until_s:
        bench.now_s += 60
        while todo and (todo[0].at - EPOCH).total_seconds() <= bench.now_s:
            each = todo.pop(0)
            station.seen(each.label, each.at, each.confidence, each.individuals)
        while station.tick(radio=bench.radio):
            pass


def elements(bench: Bench, message: str) -> list[tuple[datetime, dict[str, Any]]]:
    """The elements of all batches of that message, in the order they came."""
    found = []
    for record in bench.records():
        if record.message == message:
            found += unbatched(bench.codec.payloads[message].message.message, record.values)
    return found


def records_of(codec: Codec) -> list[Record]:
    """What a direct summary of the same log says."""
    end = EPOCH + timedelta(seconds=6 * 3600 + WATCHED_S)
    return summarise(codec, detections(), [Stretch(1, EPOCH + timedelta(hours=6), end)]).records


def summaries_of(codec: Codec) -> dict[datetime, dict[str, Any]]:
    """The summaries among them, by their start."""
    told = [record.values for record in records_of(codec) if record.message == "summary"]
    return {values["start"]: values for values in told}


def plain(values: dict[str, Any], names: set[str]) -> dict[str, Any]:
    """The fields that a batch has too, its rows in the order of their species."""
    found = {name: value for name, value in values.items() if name in names - {"state"}}
    found["rows"] = sorted(
        (
            {name: row[name] for name in ("species", "visits", "most", "first")}
            for row in found["rows"]
        ),
        key=lambda row: str(row["species"]),
    )
    return found


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_what_arrives_is_what_a_direct_summary_says(coding: Coding) -> None:
    bench = Bench(codec=batch_codec(coding))
    station = bench.boot()
    station.tick()
    live(bench, station)
    station.hurry()
    bench.run(station, 180, watching=False)
    wanted = summaries_of(codec_of())
    # Time on air moves the bench's clock into an hour that nobody asked for.
    arrived = [each for each in elements(bench, "summaries") if each[0] in wanted]
    names = set(arrived[0][1])
    assert [at for at, _ in arrived] == list(wanted)
    for at, values in arrived:
        assert plain(values, names) == plain(wanted[at], names)
    frames = [record for record in bench.records() if record.message == "summaries"]
    # The oldest may wait five hours; the rest was told to hurry.
    assert [len(record.values["hours"]) for record in frames][:2] == [5, 3]
    assert not station.troubles


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_times_that_wrap_are_told_in_batches_all_the_same(coding: Coding) -> None:
    changes = (', beyond = "reject"', ""), ("span_s = 15811200", "span_s = 86400")
    bench = Bench(codec=batch_codec(coding, *changes))
    station = bench.boot()
    station.tick()
    live(bench, station)
    station.hurry()
    bench.run(station, 180, watching=False)
    starts = []
    for at_s, _, frame in bench.sent:
        record = bench.codec.decode(frame, received=EPOCH + timedelta(seconds=at_s))
        if record.message == "summaries":
            message = bench.codec.payloads["summaries"].message.message
            starts += [at for at, _ in unbatched(message, record.values)]
    wanted = list(summaries_of(codec_of()))
    assert [at for at in starts if at in wanted] == wanted
    assert None not in starts


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_visits_share_frames_and_priority_goes_alone(coding: Coding) -> None:
    bench = Bench(codec=batch_codec(coding))
    station = bench.boot()
    live(bench, station)
    station.hurry()
    bench.run(station, 180)
    last: dict[str, datetime] = {}
    wanted = []
    for each in detections():
        if each.label == "walker":
            continue
        if each.label not in last or each.at - last[each.label] >= timedelta(minutes=30):
            wanted.append((each.at, each.label, each.individuals))
        last[each.label] = each.at
    told = [(at, v["species"], v["individuals"]) for at, v in elements(bench, "sightings")]
    alone = [
        (r.values["at"], r.values["species"], r.values["individuals"])
        for r in bench.records()
        if r.message == "sighting"
    ]
    assert [each for each in wanted if each[1] != "otter"] == told
    assert [each for each in wanted if each[1] == "otter"] == alone
    by_frame = [len(r.values["seen"]) for r in bench.records() if r.message == "sightings"]
    assert len(by_frame) < len(told) / 3


def test_a_full_frame_goes_before_its_time() -> None:
    """No room for one more, so nothing is gained by waiting."""
    codec = batch_codec(
        "fixed", ("batch_min = 300", "batch_min = 10080"), ("most = 40", "most = 6")
    )
    bench = Bench(codec=codec)
    live(bench, bench.boot())
    frames = [record for record in bench.records() if record.message == "sightings"]
    assert len(frames) > 2
    assert {len(record.values["seen"]) for record in frames} == {6}


def test_what_comes_after_a_hurry_waits_for_company_again() -> None:
    """Though what was left over from before the power went bears later times of its own clock."""
    bench = Bench(codec=batch_codec())
    bench.radio_refuses = _dead
    live(bench, bench.boot(), until_s=3 * 3600)
    bench.radio_refuses = lambda: None
    station = bench.boot()
    station.hurry()
    live(bench, station, until_s=5 * 3600)
    waiting = [entry.message for entry in station.monitor.outbox]
    assert waiting.count("sightings") > 3
    assert waiting.count("summaries") == 1
    assert len(elements(bench, "summaries")) > 2


def _dead() -> None:
    raise OSError("the radio does not answer")


def test_an_unset_clock_says_how_long_after_one_another() -> None:
    bench = Bench(codec=batch_codec(), wall_offset=timedelta(days=-9000))
    station = bench.boot()
    for species in ("coot", "teal", "snipe"):
        station.seen(species, None, 0.9)
        bench.run(station, 90)
    station.hurry()
    bench.run(station, 60)
    (first, *_) = (record for record in bench.records() if record.message == "sightings")
    assert first.values["at"] is None
    assert [row["after"] for row in first.values["seen"]] == [0, 5400, 5400]


def test_times_are_put_right_when_the_clock_is_set() -> None:
    bench = Bench(codec=batch_codec(), wall_offset=timedelta(days=-9000))
    station = bench.boot()
    for species in ("coot", "teal"):
        station.seen(species, None, 0.9)
        bench.run(station, 60)
    bench.wall_offset = timedelta()
    station.clock_set(True)
    station.seen("snipe", None, 0.9)
    bench.run(station, 60)
    station.hurry()
    bench.run(station, 60)
    told = [(at, values["species"]) for at, values in elements(bench, "sightings")]
    six = EPOCH + timedelta(hours=6)
    assert told == [
        (six + n * timedelta(hours=1), s) for n, s in enumerate(["coot", "teal", "snipe"])
    ]
    hours = [(at, values["state"]) for at, values in elements(bench, "summaries")]
    assert hours[0] == (six, ("clock_unset",))
    assert hours[2][1] == ()


def test_an_hour_too_rich_for_a_frame_leaves_rows_out_and_counts_them() -> None:
    bench = Bench(codec=batch_codec())
    small = replace(find_link(bench.link), payload_most=22)
    station = Station(bench.codec, small, store=bench.disk, station=1, clocks=bench.clocks)
    live(bench, station, until_s=3 * 3600)
    station.hurry()
    bench.run(station, 300, watching=False)
    arrived = elements(bench, "summaries")[:3]
    assert len(arrived) > 2
    assert max(values["left_out"] for _, values in arrived) > 1
    for at, values in arrived:
        wanted = summaries_of(codec_of())[at]
        assert len(values["rows"]) + values["left_out"] == len(wanted["rows"]) + wanted["left_out"]


def morning(coding: Coding) -> tuple[Bench, list[tuple[int, set[datetime], set[tuple[Any, ...]]]]]:
    """A life on a tight link. After each tick: operations so far, and what is sent or waits."""
    bench = Bench(codec=batch_codec(coding), link=TIGHT)
    station = bench.boot(leap=4, checkpoint_s=0)
    acknowledged = []
    for until_s in range(300, 5 * 3600, 300):
        live(bench, station, until_s=until_s)
        acknowledged.append((len(bench.disk.log), *there(bench, station)))
    return bench, acknowledged


def there(bench: Bench, station: Station) -> tuple[set[datetime], set[tuple[Any, ...]]]:
    """Hours and visits that are sent or wait."""
    hours = {at for at, _ in elements(bench, "summaries")}
    visits = {(at, values["species"]) for at, values in elements(bench, "sightings")}
    for entry in station.monitor.outbox:
        payload = bench.codec.payloads[entry.message]
        if entry.message in ("summaries", "sightings"):
            values = payload.unpack_values(entry.payload)
            for at, element in unbatched(payload.message.message, values):
                if entry.message == "summaries":
                    hours.add(at)
                else:
                    visits.add((at, element["species"]))
    return hours, visits


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_a_cut_at_any_operation_loses_no_element(coding: Coding) -> None:
    bench, acknowledged = morning(coding)
    assert any(len(hours) > 3 and len(visits) > 10 for _, hours, visits in acknowledged)
    for done in range(0, len(bench.disk.log), 4 if coding == "fixed" else 11):
        before = [(at_s, frame) for at_s, ops, frame in bench.sent if ops <= done]
        hours, visits = next(
            ((h, v) for ops, h, v in reversed(acknowledged) if ops <= done), (set(), set())
        )
        for partly in cuts(bench.disk.log[done], lambda length: [length // 2]):
            again = Bench(Disk(after(bench.disk.log, done, partly)), codec=bench.codec, link=TIGHT)
            again.now_s = max([6 * 3600.0, *(s + again.airtime_s(f) for s, f in before)])
            again.sent = [(at_s, 0, frame) for at_s, frame in before]
            station = again.boot(leap=4)
            again.run(station, 10 * 60, every_s=600, watching=False)
            assert hours <= {at for at, _ in elements(again, "summaries")}
            assert visits <= {(at, v["species"]) for at, v in elements(again, "sightings")}
            numbers = [record.sequence for record in again.records()]
            assert len(set(numbers)) == len(numbers)
            on_air = [(s, again.airtime_s(frame)) for s, _, frame in again.sent]
            assert over_the_limit(on_air, 3.6, 3600) == []


def test_batches_of_elements_come_apart_as_they_were_joined() -> None:
    codec = batch_codec()
    message = codec.payloads["sightings"].message.message
    seen = {"species": "coot", "individuals": 1, "confidence": 0.5}
    # Thirty seconds are half a step: what is cut off of each must not add up.
    elements = [(EPOCH + timedelta(seconds=90 * n), seen) for n in range(30)]
    for values in batches_of(codec, "sightings", elements, 30):
        for (said, _), (at, _) in zip(unbatched(message, values), elements, strict=True):
            assert abs(said - at) <= timedelta(seconds=30)


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
def test_the_desk_reads_a_batch_as_what_it_holds(coding: Coding) -> None:
    codec = batch_codec(coding)
    bench = Bench(codec=codec)
    station = bench.boot()
    station.tick()
    live(bench, station)
    station.hurry()
    bench.run(station, 180, watching=False)
    card = records_of(codec)
    found = reconcile(codec.schema, card, bench.records())
    assert {each.finding for each in found.compared} == {Finding.AGREED}
    assert len(found.compared) == len(card) > 30
    joined, alone = desk(codec, bench.records()), desk(codec, card)
    assert joined.intervals[: len(alone.intervals)] == alone.intervals
    # Which row is worth more may differ by what was seen in the same minute.
    assert set(joined.totals) >= set(alone.totals)
    seen = [[(s.start, s.species) for s in data.sightings] for data in (joined, alone)]
    assert sorted(seen[0], key=str) == sorted(seen[1], key=str)
    assert len({each.id for each in joined.sightings}) == len(joined.sightings)
    assert not joined.gaps


def desk(codec: Codec, records: list[Record]) -> Dataset:
    """The dataset of one deployment all day."""
    day = EPOCH + timedelta(days=1)
    home = Deployment("d", 1, "hide", "north", 57.0, 1.0, EPOCH, day)
    heard = [Heard(record) for record in records]
    return build(codec.schema, demo_project(), [home], heard, created=day)


@pytest.mark.parametrize("coding", ["fixed", "modelled"])
@settings(max_examples=15)
@given(
    drawn=st.lists(
        st.tuples(st.integers(0, 2000), st.sampled_from(ANIMALS), st.integers(1, 7)), max_size=20
    ),
    cut_after=st.integers(0, 20),
)
def test_any_visits_arrive_once_and_in_order(
    coding: Coding, drawn: list[tuple[int, str, int]], cut_after: int
) -> None:
    """Through a power cut: gaps longer than a duration can say, and many in one minute."""
    bench = Bench(codec=batch_codec(coding))
    station = bench.boot(checkpoint_s=0)
    last: dict[str, float] = {}
    wanted = []
    for number, (minutes, species, individuals) in enumerate(drawn):
        bench.now_s += 60 * minutes
        if number == cut_after:
            bench.disk = Disk(dict(bench.disk.files))
            station = bench.boot(checkpoint_s=0)
        station.seen(species, None, 0.9, individuals)
        if species not in last or bench.now_s - last[species] >= 1800:
            wanted.append((bench.now_s, species, individuals))
        last[species] = bench.now_s
        bench.now_s += 1
        while station.tick(radio=bench.radio):
            pass
    station.hurry()
    bench.run(station, 60)
    told = elements(bench, "sightings")
    assert [(values["species"], values["individuals"]) for _, values in told] == [
        (species, individuals) for _, species, individuals in wanted
    ]
    for (at, _), (now_s, _, _) in zip(told, wanted, strict=True):
        assert abs((at - EPOCH).total_seconds() - now_s) <= 60
