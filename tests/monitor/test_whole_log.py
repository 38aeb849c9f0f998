"""Whole logs, drawn at random and the demonstration's."""

from collections import defaultdict
from datetime import timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_schema import EPOCH, codec_of

from packcodec.codec import Record
from packcodec.edge.files import load
from packcodec.edge.logs import opened, read_detections, read_health, read_watches
from packcodec.frame import Codec
from packcodec.monitor import Detection, Refusal, Stretch, Summariser, Summary, summarise
from packcodec.monitor.interval import pieces

DEMO = Path(__file__).resolve().parents[2] / "packcodec" / "edge" / "demo_data"
CODEC = codec_of()
PEOPLE = ("human", "walker")
LABELS = ("otter", "coot", "teal", "heron", "bittern", "dodo", *PEOPLE)

detections = st.builds(
    Detection,
    station=st.sampled_from([1, 2]),
    at=st.integers(0, 4 * 3600).map(lambda s: EPOCH + timedelta(hours=22, seconds=s)),
    label=st.sampled_from(LABELS),
    confidence=st.sampled_from([0.3, 0.5, 0.75, 1.0]),
    individuals=st.integers(1, 20),
)
stretches = st.builds(
    lambda station, start, minutes: Stretch(station, start, start + timedelta(minutes=minutes)),
    st.sampled_from([1, 2]),
    st.integers(0, 240).map(lambda m: EPOCH + timedelta(hours=22, minutes=m)),
    st.integers(1, 100),
)
logs = st.lists(detections, max_size=40)
efforts = st.one_of(st.none(), st.lists(stretches, max_size=4))


@given(logs, efforts, st.randoms(use_true_random=False))
def test_the_order_of_rows_does_not_matter(log, effort, random) -> None:  # type: ignore[no-untyped-def]
    shuffled, turned = random.sample(log, len(log)), effort and random.sample(effort, len(effort))
    assert summarise(CODEC, shuffled, turned) == summarise(CODEC, log, effort)


@given(logs, efforts)
def test_totals_add_up(log: list[Detection], effort: list[Stretch] | None) -> None:
    summary = summarise(CODEC, log, effort)
    assert summary.detections == len(log) == summary.counted + summary.refused.total()
    assert summary.unmade == {}
    summaries = [record.values for record in summary.records if record.message == "summary"]
    told = sum(row["detections"] for values in summaries for row in values["rows"])
    people = {each for each in log if each.label == "walker" and each.confidence >= 0.5}
    assert all(values["left_out"] == 0 for values in summaries)
    assert told == summary.counted - len(people)
    assert summary.refused[Refusal.LATE] == 0
    if effort is not None:
        assert sum(v["watched"] or 0 for v in summaries) == _union_s(effort)


def _union_s(effort: list[Stretch]) -> int:
    """Minutes that somebody watched, one by one, in seconds."""
    minutes = set()
    for stretch in effort:
        steps = (stretch.end - stretch.start) // timedelta(minutes=1)
        minutes |= {(stretch.station, stretch.start + timedelta(minutes=n)) for n in range(steps)}
    return 60 * len(minutes)


@given(logs, efforts)
def test_sightings_are_the_visits_of_priority_species(
    log: list[Detection], effort: list[Stretch] | None
) -> None:
    sightings: dict[tuple[int | None, str], int] = defaultdict(int)
    visits: dict[tuple[int | None, str], int] = defaultdict(int)
    for record in summarise(CODEC, log, effort).records:
        if record.message == "sighting":
            sightings[record.station, record.values["species"]] += 1
        else:
            for row in record.values["rows"]:
                visits[record.station, row["species"]] += row["visits"]
    priority = ("otter", "bittern")
    assert sightings == {key: n for key, n in visits.items() if key[1] in priority and n}


@given(logs, efforts)
def test_visits_are_as_a_plain_count_finds_them(
    log: list[Detection], effort: list[Stretch] | None
) -> None:
    found: dict[tuple[int, str], int] = defaultdict(int)
    for station in (1, 2):
        for label in ("otter", "coot", "teal", "bittern"):
            times = sorted(
                each.at
                for each in log
                if (each.station, each.label) == (station, label) and each.confidence >= 0.5
            )
            gaps = [b - a for a, b in pairwise(times)]
            if times:
                found[station, label] = 1 + sum(gap >= timedelta(minutes=30) for gap in gaps)
    told: dict[tuple[int | None, str], int] = defaultdict(int)
    for record in summarise(CODEC, log, effort).records:
        if record.message == "summary":
            for row in record.values["rows"]:
                told[record.station, row["species"]] += row["visits"]
    assert told == found


@given(logs, efforts)
def test_people_leave_no_trace_but_a_count(
    log: list[Detection], effort: list[Stretch] | None
) -> None:
    def records(kept: list[Detection]) -> list[Record]:
        return summarise(CODEC, kept, effort).records

    assert records([each for each in log if each.label != "human"]) == records(log)
    for record in records(log):
        said = str(record.to_json())
        assert not any(label in said for label in PEOPLE)
    known = [each for each in log if each.label not in PEOPLE]
    assert sightings(records(known)) == sightings(records(log))


def sightings(records: list[Record]) -> list[tuple[int | None, dict[str, Any]]]:
    return [(each.station, each.values) for each in records if each.message == "sighting"]


@given(logs)
def test_as_it_comes_is_as_a_whole_log(log: list[Detection]) -> None:
    """Minute by minute, as a station would, against the whole log at once."""
    mine = {each for each in log if each.station == 1}
    start, end = EPOCH + timedelta(hours=22), EPOCH + timedelta(hours=27)
    summariser, records = Summariser(CODEC, 1), []
    for piece in pieces(Stretch(1, start, end), EPOCH, timedelta(minutes=1)):
        inside = [each for each in mine if piece.start <= each.at < piece.end]
        for each in sorted(inside, key=lambda d: (d.at, d.label, -d.confidence, d.individuals)):
            records += summariser.seen(each)
        records += summariser.watching(piece.start, piece.end)
        records += summariser.close(piece.end)
    whole = summarise(CODEC, mine, [Stretch(1, start, end)])
    assert records == [Record(r.message, r.values, r.station) for r in whole.records]


@pytest.fixture(scope="module")
def demo_codec() -> Codec:
    return load(DEMO / "schema.toml")


@pytest.fixture(scope="module")
def demo(demo_codec: Codec) -> Summary:
    found = []
    for name, read in (
        ("detections.csv", read_detections),
        ("watch.csv", read_watches),
        ("health.csv", read_health),
    ):
        with opened(str(DEMO / name)) as lines:
            found.append(read(lines, demo_codec.schema, name).rows)  # type: ignore[operator]
    return summarise(demo_codec, *found)


def test_every_record_of_the_demo_comes_back_from_its_frame(
    demo_codec: Codec, demo: Summary
) -> None:
    assert demo.unmade == {}
    for record in demo.records:
        assert demo_codec.decode(demo_codec.encode(record)) == record


def test_the_demo_log_is_accounted_for(demo: Summary) -> None:
    readme = (DEMO / "README.txt").read_text(encoding="utf-8")
    assert "- rows in all: 5606\n" in readme
    assert "- rows whose time is no RFC 3339 time: 2 " in readme
    assert demo.detections == 5604 == demo.counted + demo.refused.total()
    assert f"- rows written twice, one after the other: {demo.refused[Refusal.DUPLICATE]}\n" in (
        readme
    )
    assert demo.unknown_labels == {"coypu": 4, "raccoon_dog": 3, "egret": 2}
    assert demo.outside == demo.joined == 0


def test_the_demo_has_a_health_record_a_day_and_a_summary_an_hour_watched(demo: Summary) -> None:
    lines = (DEMO / "watch.csv").read_text(encoding="utf-8").splitlines()[1:]
    hours = set()
    for line in lines:
        station, start, end, _ = line.split(",")
        first, last = int(start[11:13]), int(end[11:13])
        days = 0 if start[:10] == end[:10] else 24
        hours |= {(station, start[:10], hour) for hour in range(first, last + days + 1)}
    messages = [record.message for record in demo.records]
    assert messages.count("health") == 84
    watched = sum(
        record.values["watched"] for record in demo.records if record.message == "summary"
    )
    # An unset clock's hours at 23 and at 0 belong to the days on both sides of its midnight.
    assert messages.count("summary") == len(hours)
    assert watched > 0


def test_the_demo_marks_the_lost_clock_and_the_restarts(demo: Summary) -> None:
    unset = [r for r in demo.records if "clock_unset" in r.values["state"]]
    assert {r.station for r in unset} == {4}
    assert all(r.values.get("at") is None and r.values.get("start") is None for r in unset)
    numbers = [r.sequence for r in unset]
    assert numbers == list(range(numbers[0], numbers[0] + len(unset)))  # type: ignore[operator]
    restarted = [(r.station, r.message) for r in demo.records if "restarted" in r.values["state"]]
    assert restarted == [(3, "health"), (4, "summary"), (4, "sighting"), (4, "health")]


def test_the_busiest_hour_of_the_demo_leaves_out_eight_common_species(demo: Summary) -> None:
    left_out = [r for r in demo.records if r.values.get("left_out")]
    assert [(r.station, r.values["left_out"], len(r.values["rows"])) for r in left_out] == [
        (1, 8, 12)
    ]
