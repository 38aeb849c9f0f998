"""Records → a dataset: where and when they belong, and what is missing between them."""

import json
from datetime import timedelta
from itertools import pairwise

import pytest
from small_dataset import (
    DAY,
    dataset,
    demo,
    demo_codec,
    demo_deployments,
    demo_project,
    row,
    sighting,
    small,
    summary,
)

from packcodec.base.untold import Untold
from packcodec.codec.record import AtLeast, AtMost, Record
from packcodec.dataset.build import Heard, build
from packcodec.dataset.effort import station_days, watched_s
from packcodec.dataset.model import Count, Gap
from packcodec.dataset.values import bound
from packcodec.errors import LogError
from packcodec.frozen import replace
from packcodec.schema.model import Integer

HOUR = timedelta(hours=1)


def test_a_summary_becomes_an_interval_and_its_totals() -> None:
    data = dataset(summary(0, 6, row("mallard", AtLeast(15), 3, 600, 1200)))
    (interval,), (total,) = data.intervals, data.totals
    assert (interval.start, interval.end) == (DAY + 6 * HOUR, DAY + 7 * HOUR)
    assert (total.visits, total.most) == (Count(15, at_least=True), Count(3))
    assert (total.first_s, total.last_s, total.clock) == (600, 1200, "trusted")


def test_records_in_json_form_give_the_same_dataset() -> None:
    records = [
        summary(0, 6, row("mallard", AtLeast(15))),
        sighting(1, 6.5, "otter"),
        summary(2, None, row("coot")),
    ]
    plain = [json.loads(json.dumps(each.to_json())) for each in records]
    again = [
        Record(each["message"], each["values"], each["station"], each["sequence"]) for each in plain
    ]
    assert dataset(*again) == dataset(*records)


def test_a_frame_that_never_came_is_a_gap_and_its_hour_unknown() -> None:
    data = small()
    assert data.gaps == (Gap("1-20270401", 1, 1, DAY + 8 * HOUR, DAY + 9 * HOUR),)
    lost = [each for each in data.effort if each.reason == "frames missing"]
    assert [(each.start, each.end, each.state) for each in lost] == [
        (DAY + 8 * HOUR, DAY + 9 * HOUR, "unknown")
    ]


def test_what_was_counted_in_a_frame_that_never_came() -> None:
    total = Integer("sum", 0, 1023, optional=True, total_of="rows.visits")
    schema = demo_codec().schema
    messages = tuple(
        replace(each, fields=(total, *each.fields)) if each.name == "summary" else each
        for each in schema.messages
    )
    records = [
        summary(0, 6, row("coot", 2), sum=1020),
        summary(3, 9, row("coot", AtLeast(15)), sum=18),
        summary(2, None, row("coot"), station=3, sum=5),
    ]
    data = build(
        replace(schema, messages=messages),
        demo_project(),
        demo_deployments(),
        [Heard(each) for each in records],
        created=DAY,
        unsent=[(1, 2)],
    )
    assert data.untold == ((1, Untold("summary", "rows.visits", 1, 3, 1, 7)),)
    assert dataset(*records).untold == ()


def test_a_time_put_right_is_what_counts_and_says_so() -> None:
    """A clock an hour and some seconds behind, from its second summary on."""
    late = timedelta(hours=1, seconds=20)
    records = [summary(at, 6 + at, row("coot")) for at in range(3)]
    heard = [
        Heard(each, corrected=DAY + (6 + at) * HOUR + late if at else None, uncertain_s=90.0 * at)
        for at, each in enumerate(records)
    ]
    data = dataset(*heard)
    assert [each.start - DAY for each in data.intervals] == [6 * HOUR, 8 * HOUR, 9 * HOUR]
    assert [each.clock for each in data.intervals] == ["trusted", "corrected", "corrected"]
    assert [each.start for each in data.totals] == [each.start for each in data.intervals]
    assert (data.tally.corrected, data.tally.uncertain_s) == (2, 180)
    # They still meet: no stretch in between when the station was off.
    assert not [each for each in data.effort if DAY + 8 * HOUR < each.start < DAY + 10 * HOUR]


def test_between_summaries_with_none_missing_the_station_was_off() -> None:
    data = dataset(summary(0, 6), summary(1, 9))
    states = [
        (each.state, each.start - DAY) for each in data.effort if each.deployment == "1-20270401"
    ]
    assert states == [
        ("off", timedelta(hours=-19)),
        ("watching", 6 * HOUR),
        ("off", 7 * HOUR),
        ("watching", 9 * HOUR),
        ("unknown", 10 * HOUR),
    ]


def test_effort_counts_only_what_the_base_knows() -> None:
    data = dataset(summary(0, 6), summary(1, 7, watched=1800), summary(4, 10))
    assert watched_s(data.intervals) == {"1-20270401": 9000}
    assert station_days(watched_s(data.intervals)) == pytest.approx(9000 / 86400)


def test_stretches_meet_from_start_to_end_of_every_deployment() -> None:
    for home in demo().deployments:
        own = [each for each in demo().effort if each.deployment == home.id]
        assert (own[0].start, own[-1].end) == (home.start, home.end)
        assert all(one.end == other.start for one, other in pairwise(own))


def test_an_unset_clock_is_dated_by_a_reception_only_if_the_frame_came_straight() -> None:
    received = DAY + 12 * HOUR
    told = summary(0, None, row("coot"))
    direct = dataset(Heard(told, received)).intervals[0]
    late = dataset(Heard(told, received, "recovered")).intervals[0]
    unheard = dataset(told).intervals[0]
    assert (direct.start, direct.end, direct.clock) == (received - HOUR, received, "corrected")
    assert (late.start, late.clock) == (None, "unset")
    assert (unheard.start, unheard.clock) == (None, "unset")


def test_what_an_unset_clock_hid_is_unknown_effort() -> None:
    data = dataset(summary(0, 6), summary(1, None), summary(2, 12))
    hidden = [each for each in data.effort if each.reason == "clock unset"]
    assert [(each.start, each.end) for each in hidden] == [(DAY + 7 * HOUR, DAY + 12 * HOUR)]


def test_people_and_vehicles_leave_no_trace() -> None:
    with_people = dataset(
        summary(0, 6, row("human"), row("mallard"), row("vehicle"), people=3, vehicles=2),
        sighting(1, 6.5, "human"),
    )
    without = dataset(summary(0, 6, row("mallard")), summary(1, 7))
    assert with_people.totals == without.totals
    assert with_people.sightings == ()
    assert "human" not in repr(with_people)
    assert with_people.tally.unknown_codes == 0


def test_a_code_that_the_table_lacks_is_counted_and_left_out() -> None:
    data = dataset(summary(0, 6, row("#60"), row("mallard")))
    assert [each.species for each in data.totals] == ["mallard"]
    assert data.tally.unknown_codes == 1


def test_a_record_outside_every_deployment_is_counted_not_placed() -> None:
    data = dataset(summary(0, 24 * 200), summary(1, 6), summary(0, 6, station=9))
    assert len(data.intervals) == 1
    assert data.tally.unplaced == 2


def test_the_counter_runs_on_when_its_bits_wrap() -> None:
    data = dataset(summary(1022, 6), summary(1023, 7), summary(1, 9))
    (before, within) = data.gaps
    assert (before.missing, before.after) == (1022, None)
    assert (within.missing, within.after, within.before) == (1, DAY + 8 * HOUR, DAY + 9 * HOUR)


def test_a_record_recovered_late_takes_its_place() -> None:
    late = Heard(summary(1, 7), DAY + 20 * HOUR, "recovered")
    data = dataset(summary(0, 6), summary(2, 8), late)
    assert data.gaps == ()
    assert [each.start for each in data.intervals] == [DAY + n * HOUR for n in (6, 7, 8)]
    assert data.tally.recovered == 1


def test_a_message_of_another_schema_is_refused() -> None:
    with pytest.raises(LogError, match="'weather'"):
        dataset(Record("weather", {}, 1, 0))


@pytest.mark.parametrize(
    "values",
    [
        {"start": "yesterday"},
        {"start": {"at": 1}, "watched": "long"},
        {"rows": 5},
        {"rows": [5]},
        {"rows": [{"species": "coot", "visits": "many"}]},
        {"left_out": [1]},
    ],
)
def test_a_value_of_the_wrong_kind_is_refused_with_its_record(values: dict[str, object]) -> None:
    with pytest.raises(LogError, match="summary of station 1, sequence 7"):
        dataset(summary(7, 6, **values))


def test_bounds_are_read_in_either_form() -> None:
    assert bound(AtLeast(3)) == bound({"at_least": 3}) == (3, "at least")
    assert bound(AtMost(3)) == bound({"at_most": 3}) == (3, "at most")
    assert bound(3) == (3, "")


def test_the_demonstration_comes_whole() -> None:
    data = demo()
    assert data.gaps == ()
    assert replace(data.tally, undated_sightings=0).records == data.tally.records
    assert data.tally.records == len(data.intervals) + len(data.sightings) + len(data.health)
    assert data.tally.unplaced == 0
