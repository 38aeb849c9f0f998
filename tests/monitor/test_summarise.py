"""Visits, intervals, effort and policy, each example worked by hand."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from small_schema import EPOCH, at, codec_of, saw, schema_of, watched

from packcodec.codec import AtLeast, Record
from packcodec.errors import SchemaError
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.monitor import Detection, Health, Refusal, Stretch, Summariser, summarise


@pytest.fixture(scope="module")
def codec() -> Codec:
    return codec_of()


def told(records: list[Record], message: str) -> list[dict[str, Any]]:
    return [record.values for record in records if record.message == message]


def visits(records: list[Record]) -> dict[tuple[datetime | None, str], int]:
    """Visits by start of the interval and species."""
    return {
        (values["start"], row["species"]): row["visits"]
        for values in told(records, "summary")
        for row in values["rows"]
    }


@pytest.mark.parametrize(
    ("clocks", "number"),
    [
        (("06:00:00",), 1),
        (("06:00:00", "06:29:59"), 1),
        (("06:00:00", "06:30:00"), 2),  # the exact interval starts a new visit
        (("06:00:00", "06:20:00", "06:40:00"), 1),  # a chain: since the last, not the first
        (("06:00:00", "06:29:59", "06:59:59"), 2),
        (("06:00:00", "06:00:00"), 1),
    ],
)
def test_a_visit_starts_when_the_last_detection_is_long_enough_ago(
    codec: Codec, clocks: tuple[str, ...], number: int
) -> None:
    seen = [saw(clock, "coot", image=str(n)) for n, clock in enumerate(clocks)]
    assert visits(summarise(codec, seen).records) == {(at("06:00"), "coot"): number}


def test_visits_are_of_one_species_at_one_station(codec: Codec) -> None:
    seen = [saw("06:00", "coot"), saw("06:10", "teal"), saw("06:20", "coot", station=2)]
    records = summarise(codec, seen).records
    assert [(r.station, [row["species"] for row in r.values["rows"]]) for r in records] == [
        (1, ["coot", "teal"]),
        (2, ["coot"]),
    ]


def test_a_visit_belongs_to_the_interval_in_which_it_began(codec: Codec) -> None:
    seen = [saw("23:50", "coot"), saw("00:10", "coot", day=1), saw("00:40", "coot", day=1)]
    assert visits(summarise(codec, seen).records) == {
        (at("23:00"), "coot"): 1,
        (at("00:00", day=1), "coot"): 1,  # only the one at 00:40, 30 min after 00:10
    }


def test_a_visit_that_goes_on_is_seen_in_the_next_interval_and_begins_nothing(
    codec: Codec,
) -> None:
    records = summarise(codec, [saw("23:50", "coot"), saw("00:10", "coot", 3, day=1)]).records
    (row,) = told(records, "summary")[1]["rows"]
    assert (row["visits"], row["most"], row["first"], row["detections"]) == (0, 3, 600, 1)


def test_an_instant_on_the_edge_opens_the_next_interval(codec: Codec) -> None:
    seen = [saw("06:59:59", "coot"), saw("07:00:00", "teal")]
    assert visits(summarise(codec, seen).records) == {
        (at("06:00"), "coot"): 1,
        (at("07:00"), "teal"): 1,
    }


def test_a_row_tells_most_first_last_mean_and_detections(codec: Codec) -> None:
    seen = [
        saw("06:05:59", "coot", 2, confidence=0.6),
        saw("06:07:00", "coot", 5, confidence=0.7),
        saw("06:59:59", "coot", 1, confidence=0.8),
    ]
    (values,) = told(summarise(codec, seen).records, "summary")
    assert values["rows"] == [
        {
            "species": "coot",
            "visits": 2,
            "most": 5,
            "first": 300,
            "last": 3540,
            "confidence": 0.7,
            "detections": 3,
        }
    ]


def test_days_as_intervals() -> None:
    codec = codec_of(
        ("interval_min = 60", "interval_min = 1440"),
        ("high_s = 3600", "high_s = 86400"),
        ("high_s = 3540", "high_s = 86340"),
    )
    seen = [saw("00:00", "coot"), saw("23:59:59", "coot"), saw("00:00", "coot", day=1)]
    stretches = [watched("00:00", "24:00"), watched("00:00", "00:30", day=1)]
    first, second = told(summarise(codec, seen, stretches).records, "summary")
    assert (first["start"], first["watched"], first["rows"][0]["last"]) == (EPOCH, 86400, 86340)
    assert (second["start"], second["rows"][0]["visits"]) == (at("00:00", day=1), 0)


def test_a_priority_species_is_told_at_the_start_of_each_visit_and_summarised(
    codec: Codec,
) -> None:
    seen = [saw("06:00:30", "otter", 2), saw("06:10", "otter", 3), saw("06:40", "otter", 12)]
    records = summarise(codec, seen).records
    assert [record.message for record in records] == ["sighting", "sighting", "summary"]
    assert [record.sequence for record in records] == [0, 1, 2]
    first, second = told(records, "sighting")
    assert (first["at"], first["individuals"], first["state"]) == (at("06:00"), 2, ())
    assert (second["at"], second["individuals"]) == (at("06:40"), AtLeast(8))
    assert visits(records) == {(at("06:00"), "otter"): 2}


def test_people_are_counted_by_visits_or_not_at_all(codec: Codec) -> None:
    seen = [
        saw("06:00", "walker", 7),
        saw("06:10", "walker"),
        saw("06:40", "walker"),
        saw("06:50", "human"),
    ]
    summary = summarise(codec, seen)
    (values,) = told(summary.records, "summary")
    assert (values["people"], values["rows"], values["dropped"]) == (2, [], 0)
    assert (summary.counted, summary.refused[Refusal.NEVER]) == (3, 1)


def test_people_without_a_field_for_them_are_in_no_record() -> None:
    codec = codec_of(
        (
            '{ name = "people", kind = "integer", low = 0, high = 15, above = "clamp", '
            "optional = true },",
            "",
        )
    )
    summary = summarise(codec, [saw("06:00", "walker")])
    assert summary.records == []
    assert summary.refused[Refusal.NO_FIELD] == 1


def test_what_is_not_counted_is_said_by_reason(codec: Codec) -> None:
    twice = saw("06:00", "coot")
    seen = [
        *(twice, twice),
        saw("06:01", "coot", confidence=0.49),
        saw("06:02", "coot", confidence=0.5),
        saw("06:03", "heron"),
        saw("06:04", "dodo"),
        saw("06:05", "human"),
    ]
    summary = summarise(codec, seen, [watched("06:00", "07:00")])
    assert dict(+summary.refused) == {
        Refusal.DUPLICATE: 1,
        Refusal.LOW_CONFIDENCE: 1,
        Refusal.RETIRED: 1,
        Refusal.UNKNOWN_LABEL: 1,
        Refusal.NEVER: 1,
    }
    assert (summary.detections, summary.counted) == (7, 2)
    assert summary.unknown_labels == {"dodo": 1}
    (values,) = told(summary.records, "summary")
    assert values["dropped"] == 3  # what is never reported and what was written twice is not told


def test_effort_is_what_was_watched_within_the_interval(codec: Codec) -> None:
    stretches = [watched("06:50:00", "08:00:20"), watched("08:30:00", "08:40:20")]
    summaries = told(summarise(codec, [], stretches).records, "summary")
    assert [(v["start"], v["watched"], v["rows"]) for v in summaries] == [
        (at("06:00"), 600, []),
        (at("07:00"), 3600, []),
        (at("08:00"), 660, []),  # 20 s and 620 s are 640 s: the nearest minute, not two rounded
    ]


def test_an_hour_without_effort_has_no_summary_unless_something_was_seen(codec: Codec) -> None:
    seen = [saw("09:15", "coot"), saw("10:15", "dodo")]
    summary = summarise(codec, seen, [watched("06:00", "07:00")])
    summaries = told(summary.records, "summary")
    assert [(v["start"], v["watched"]) for v in summaries] == [
        (at("06:00"), 3600),
        (at("09:00"), None),
    ]
    assert summary.outside == 1


def test_overlapping_stretches_count_once(codec: Codec) -> None:
    stretches = [watched("06:00", "06:30"), watched("06:20", "06:40"), watched("06:40", "06:50")]
    summary = summarise(codec, [], stretches)
    (values,) = told(summary.records, "summary")
    assert (values["watched"], summary.joined) == (3000, 1)


def test_without_effort_a_required_watched_is_refused() -> None:
    codec = codec_of(("high_s = 3600, optional = true", "high_s = 3600"))
    with pytest.raises(SchemaError, match=r"message\.summary\.watched.*--watched"):
        summarise(codec, [saw("06:00", "coot")])
    assert len(summarise(codec, [saw("06:00", "coot")], []).records) == 1


WRONG = datetime(2000, 1, 1, tzinfo=UTC)


def unset(start_h: float, end_h: float) -> Stretch:
    return Stretch(1, WRONG + timedelta(hours=start_h), WRONG + timedelta(hours=end_h), False)


def test_an_unset_clock_gives_intervals_without_a_time_in_their_true_order(codec: Codec) -> None:
    seen = [
        saw("06:10", "coot"),
        Detection(1, WRONG + timedelta(minutes=50), "otter", 0.9),
        Detection(1, WRONG + timedelta(minutes=70), "otter", 0.9),
        saw("09:10", "coot"),
    ]
    stretches = [watched("06:00", "07:00"), unset(0, 2), watched("09:00", "10:00")]
    records = summarise(codec, reversed(seen), stretches).records
    assert [(r.message, r.values["state"]) for r in records] == [
        ("summary", ()),
        ("sighting", ("clock_unset", "restarted")),
        ("summary", ("clock_unset", "restarted")),
        ("summary", ("clock_unset",)),
        ("summary", ()),
    ]
    summaries = told(records, "summary")
    assert [v["start"] for v in summaries] == [at("06:00"), None, None, at("09:00")]
    assert [row["visits"] for v in summaries for row in v["rows"]] == [1, 1, 0, 1]
    assert told(records, "sighting")[0]["at"] is None


def test_a_visit_does_not_span_a_change_of_the_clock(codec: Codec) -> None:
    summariser = Summariser(codec, 1)
    summariser.seen(saw("06:10", "coot"), clock_trusted=False)
    summariser.seen(saw("06:11", "coot"))
    (values,) = told(summariser.close(), "summary")
    assert values["rows"][0]["visits"] == 1


def test_records_that_cannot_say_their_time_are_not_made_and_counted() -> None:
    codec = codec_of(('beyond = "reject", optional = true', 'beyond = "reject"'))
    summary = summarise(codec, [Detection(1, WRONG, "otter", 0.9)], [unset(0, 1)])
    assert summary.records == []
    assert {place: unmade.count for place, unmade in summary.unmade.items()} == {
        "message.sighting.at": 1,
        "message.summary.start": 1,
    }
    assert "optional" in summary.unmade["message.summary.start"].first


def test_a_time_past_the_span_is_not_made_and_counted(codec: Codec) -> None:
    summary = summarise(codec, [saw("06:00", "coot", day=183)])
    assert summary.records == []
    assert summary.unmade["message.summary.start"].count == 1
    assert summary.counted == 1


def test_health_says_restarted_when_its_count_grew(codec: Codec) -> None:
    rows = [
        Health(1, at("12:00", day=day), {"battery_mv": 4000, "restarts": restarts})
        for day, restarts in enumerate((3, 3, 4, 4))
    ]
    records = summarise(codec, [], [], reversed(rows)).records
    assert [(v["at"], v["state"]) for v in told(records, "health")] == [
        (at("12:00", day=0), ()),
        (at("12:00", day=1), ()),
        (at("12:00", day=2), ("restarted",)),
        (at("12:00", day=3), ()),
    ]


def test_health_that_its_message_cannot_carry_is_counted(codec: Codec) -> None:
    rows = [
        Health(1, at("12:00"), {"battery_mv": 9000}),
        Health(1, at("13:00"), {"battery_mv": 4000, "batery": 1}),
        Health(1, at("14:00"), {"battery_mv": 4000}, clock_trusted=False),
    ]
    summary = summarise(codec, [], [], rows)
    assert set(summary.unmade) == {"message.health.battery_mv", "message.health.batery"}
    (values,) = told(summary.records, "health")
    assert (values["at"], values["state"]) == (None, ("clock_unset",))


def test_messages_may_be_missing() -> None:
    def without(*names: str) -> Codec:
        schema = schema_of()
        kept = tuple(message for message in schema.messages if message.name not in names)
        return Codec(compile_layout(replace(schema, messages=kept)))

    seen = [saw("06:00", "otter"), saw("06:01", "coot")]
    health = [Health(1, at("12:00"), {"battery_mv": 4000})]

    def made(codec: Codec) -> tuple[list[str], int]:
        summary = summarise(codec, seen, None, health)
        return [record.message for record in summary.records], summary.refused[Refusal.NO_FIELD]

    assert made(without("sighting")) == (["summary", "health"], 0)
    assert made(without("summary")) == (["sighting", "health"], 1)
    assert made(without("health")) == (["sighting", "summary"], 0)
    assert made(without("sighting", "summary")) == (["health"], 2)


def test_a_station_first_heard_of_with_an_unset_clock_has_not_restarted(codec: Codec) -> None:
    (values,) = told(summarise(codec, [], [unset(0, 1)]).records, "summary")
    assert values["state"] == ("clock_unset",)


def test_an_unset_clock_that_runs_through_times_already_watched(codec: Codec) -> None:
    stretches = [watched("06:00", "08:00"), Stretch(1, at("06:00"), at("07:00"), False)]
    health = [Health(1, at("06:30"), {"battery_mv": 4000}, clock_trusted=False)]
    records = summarise(codec, [], stretches, health).records
    assert [(r.message, "clock_unset" in r.values["state"]) for r in records] == [
        ("summary", False),
        ("summary", False),
        ("health", True),
        ("summary", True),
    ]


def test_of_what_was_seen_at_once_the_most_confident_is_told(codec: Codec) -> None:
    seen = [saw("06:00", "otter", confidence=score) for score in (0.6, 0.95, 0.7)]
    (values,) = told(summarise(codec, seen).records, "sighting")
    assert values["confidence"] == 0.95


def test_a_detection_at_either_end_of_a_stretch_lies_in_it(codec: Codec) -> None:
    seen = [saw("06:00", "coot"), saw("06:30", "coot"), saw("06:30:01", "coot")]
    assert summarise(codec, seen, [watched("06:00", "06:30")]).outside == 1


def test_people_who_go_on_passing_are_no_news_where_effort_is_unknown(codec: Codec) -> None:
    records = summarise(codec, [saw("06:50", "walker"), saw("07:10", "walker")]).records
    assert [record.values["people"] for record in records] == [1]


class TestAsItComes:
    """The engine alone, fed as a station feeds it."""

    def test_a_summary_is_ready_when_its_interval_is_over(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)
        assert summariser.seen(saw("06:00", "coot")) == []
        assert summariser.watching(at("06:00"), at("07:00")) == []
        assert summariser.close(at("06:59:59")) == []
        (record,) = summariser.close(at("07:00"))
        assert (record.values["start"], record.values["watched"]) == (at("06:00"), 3600)
        assert summariser.close() == []

    def test_what_comes_late_is_counted_and_opens_nothing(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)
        summariser.seen(saw("06:00", "coot"))
        summariser.close(at("07:00"))
        assert summariser.seen(saw("06:30", "coot")) == []
        assert summariser.watching(at("06:00"), at("06:30")) == []
        summariser.seen(saw("07:30", "coot"))
        assert summariser.seen(saw("06:40", "coot")) == []
        assert summariser.refused[Refusal.LATE] == 2
        assert summariser.late_effort == timedelta(minutes=30)
        (record,) = summariser.close()
        assert (record.values["dropped"], record.values["rows"][0]["detections"]) == (0, 1)

    def test_a_little_disorder_within_an_interval_is_put_right(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)
        for clock in ("06:20", "06:10", "06:45"):
            summariser.seen(saw(clock, "coot"))
        summariser.seen(saw("06:40", "coot"))
        (record,) = summariser.close()
        (row,) = record.values["rows"]
        assert (row["visits"], row["first"], row["last"]) == (1, 600, 2700)

    def test_after_close_a_clock_set_back_starts_afresh(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)
        summariser.seen(saw("09:00", "coot"))
        assert len(summariser.close()) == 1
        summariser.seen(saw("06:00", "coot"))
        (record,) = summariser.close()
        assert (record.values["start"], record.values["rows"][0]["visits"]) == (at("06:00"), 1)

    def test_restarted_is_told_once_by_every_message(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)
        summariser.restarted()
        records = [
            *summariser.seen(saw("06:00", "otter")),
            *summariser.seen(saw("06:30", "otter")),
            *summariser.seen(saw("07:30", "coot")),
            *summariser.close(),
        ]
        assert [(record.message, record.values["state"]) for record in records] == [
            ("sighting", ("restarted",)),
            ("sighting", ()),
            ("summary", ("restarted",)),
            ("summary", ()),
        ]

    def test_nothing_grows_with_the_number_of_detections(self, codec: Codec) -> None:
        summariser = Summariser(codec, 1)

        def size() -> int:
            held = [vars(summariser)]
            count = 0
            while held:
                each = held.pop()
                values = list(each.values()) if isinstance(each, dict) else list(each)
                count += len(values)
                held += [value for value in values if isinstance(value, dict | list | set)]
            assert summariser._open is not None
            return count + len(summariser._open.rows) + len(summariser._open.counts)

        labels = ["coot", "teal", "otter", "walker", "dodo", "human", "heron"]

        def feed(n: int) -> None:
            for step in range(n):
                label = labels[step % len(labels)]
                summariser.seen(saw("06:30", label if label != "dodo" else f"dodo{step}"))

        feed(100)
        before = size()
        feed(2000)
        assert size() == before
        assert summariser.counted + summariser.refused.total() == 2100
