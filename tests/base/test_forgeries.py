"""Frames that name a station and do not verify: bounded in the store, and somebody is told."""

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from random import Random

import pytest
from small_schema import schema_of

from packcodec.base import failures
from packcodec.base.account import Base
from packcodec.base.events import Accepted, Event, Forgeries, Rejected, Why
from packcodec.base.failures import (
    ALARM_A_DAY,
    MOST_KEPT_A_DAY,
    Failures,
    day_of,
    in_words,
    is_recent,
)
from packcodec.codec.record import Record
from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from sqlalchemy import event

from packcodec.edge.heard import Heard
from packcodec.edge.store import Store
from packcodec.edge.store_failures import failures as counted

LAYOUT = compile_layout(schema_of(("sequence_bits = 16", 'sequence_bits = 18\nseal = "ccm4"')))
KEY, OTHER = Key(bytes(range(16))), Key(bytes(16))
CODEC, FORGER = Codec(LAYOUT, {1: KEY}), Codec(LAYOUT, {1: OTHER, 2: OTHER})
NOON = datetime(2027, 5, 3, 12, tzinfo=UTC)
DAY = NOON.date()
SECOND = timedelta(seconds=1)


def frame(counter: int, codec: Codec = CODEC, station: int = 1) -> bytes:
    values = {"battery_mv": 3900, "state": [], "at": None, "restarts": 2, "sealed": None}
    return codec.encode(Record("health", values, station, counter))


def forged(count: int, *, first: int = 0, start: datetime = NOON, station: int = 1) -> list[Heard]:
    return [
        Heard(frame(first + at, FORGER, station), start + at * SECOND / 100, "air")
        for at in range(count)
    ]


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(str(tmp_path / "base.db"), [CODEC])
    yield opened
    opened.close()


def kept(tmp_path: Path) -> int:
    with sqlite3.connect(tmp_path / "base.db") as connection:
        return int(connection.execute("SELECT count(*) FROM stray").fetchone()[0])


def flat(events: list[list[Event]]) -> list[Event]:
    return [event for each in events for event in each]


def test_a_flood_takes_bounded_room_and_every_real_frame_is_taken(
    store: Store, tmp_path: Path
) -> None:
    """A forged frame for every 1,000th of a real one, a day long, in batches."""
    draw, alarms, taken = Random(2), [], 0
    batch = forged(MOST_KEPT_A_DAY + 1500)
    for number, at in enumerate(sorted(draw.sample(range(len(batch)), 40))):
        batch.insert(at, Heard(frame(number), batch[at].received, "air"))
    for start in range(0, len(batch), 500):
        events = flat(store.ingest(batch[start : start + 500]))
        alarms += [event for event in events if isinstance(event, Forgeries)]
        taken += sum(isinstance(event, Accepted) for event in events)
        assert kept(tmp_path) <= MOST_KEPT_A_DAY
    assert taken == 40
    assert kept(tmp_path) == MOST_KEPT_A_DAY
    assert [(each.station, each.day) for each in alarms] == [(1, DAY)]
    assert counted(store.engine) == [Forgeries(1, DAY, MOST_KEPT_A_DAY)]


def test_the_same_capture_again_alarms_nobody_and_keeps_nothing_more(
    store: Store, tmp_path: Path
) -> None:
    few = forged(ALARM_A_DAY - 1)
    for _ in range(3):
        events = flat(store.ingest(few))
        assert {type(event) for event in events} == {Rejected}
    assert counted(store.engine) == [Forgeries(1, DAY, ALARM_A_DAY - 1)]
    more = forged(5, first=9000, start=NOON + timedelta(hours=1))
    alarms = [event for event in flat(store.ingest(more)) if isinstance(event, Forgeries)]
    assert alarms == [Forgeries(1, DAY, ALARM_A_DAY + 4)]
    assert {type(event) for event in flat(store.ingest(more))} == {Rejected}
    assert kept(tmp_path) == ALARM_A_DAY + 4


def test_the_frame_that_makes_it_an_alarm_says_so(store: Store) -> None:
    events = store.ingest(forged(ALARM_A_DAY))
    assert all(len(each) == 1 for each in events[:-1])
    assert events[-1][1:] == [Forgeries(1, DAY, ALARM_A_DAY)]
    later = forged(ALARM_A_DAY + 10, start=NOON + timedelta(days=1))
    [alarm] = [event for event in flat(store.ingest(later)) if isinstance(event, Forgeries)]
    assert alarm == Forgeries(1, DAY + timedelta(days=1), ALARM_A_DAY + 10)


def test_what_names_no_station_with_a_key_is_kept_for_a_key_to_come(
    store: Store, tmp_path: Path
) -> None:
    """Of another station, or damaged beyond its tag: it may be real, and be read later."""
    strangers = forged(MOST_KEPT_A_DAY + 5, station=2)
    events = flat(store.ingest(strangers))
    assert {each.station for each in events if isinstance(each, Rejected)} == {None}
    assert not any(isinstance(each, Forgeries) for each in events)
    assert kept(tmp_path) == len(strangers)
    later = Store.open(str(tmp_path / "base.db"), [FORGER])
    assert sum(isinstance(each[0], Accepted) for each in later.redecode()) == len(strangers)
    later.close()


def test_a_base_without_a_store_alarms_once_a_day() -> None:
    base = Base([CODEC])
    events = [base.heard(each.frame, each.received) for each in forged(3 * ALARM_A_DAY)]
    alarms = [at for at, each in enumerate(events) if len(each) > 1]
    assert alarms == [ALARM_A_DAY - 1]
    assert events[alarms[0]][1] == Forgeries(1, DAY, ALARM_A_DAY)
    assert all(
        isinstance(each[0], Rejected) and (each[0].why, each[0].station) == (Why.DAMAGED, 1)
        for each in events
    )
    (accepted,) = base.heard(frame(7), NOON)
    assert isinstance(accepted, Accepted)


def test_days_are_counted_apart_and_an_older_one_is_not_counted_anew() -> None:
    watch, told = Failures(), []
    for day in (0, 1, 0, 2):
        found = [watch.failed(1, NOON + timedelta(days=day)) for _ in range(ALARM_A_DAY)]
        told += [each.day for each in found if each is not None]
        assert found[0] is None
    assert told == [DAY + timedelta(days=day) for day in (0, 1, 2)]
    assert watch.failed(None, NOON) is None


def test_another_schema_at_hand_hides_no_forgery() -> None:
    """One that reads nothing without its carrier, before and after the one that is forged."""
    carried = compile_layout(
        schema_of(("tag_bits = 8", "tag_bits = 0"), ("station_bits = 4", "station_bits = 0"))
    )
    other = Codec(carried)
    for codecs in ([CODEC, other], [other, CODEC]):
        events = [
            each for one in forged(ALARM_A_DAY) for each in Base(codecs).heard(one.frame, NOON)
        ]
        assert {each.station for each in events if isinstance(each, Rejected)} == {1}


def test_an_unsealed_schema_has_no_forgeries_only_damage() -> None:
    plain = Codec(compile_layout(schema_of()), {1: KEY})
    base = Base([plain])
    values = {"battery_mv": 3900, "state": [], "at": None, "restarts": 2, "sealed": None}
    good = plain.encode(Record("health", values, 1, 5))
    for _ in range(ALARM_A_DAY + 5):
        (event,) = base.heard(good[:-1] + bytes([good[-1] ^ 1]), NOON)
        assert isinstance(event, Rejected)
        assert event.station is None


def test_a_flood_asks_the_database_a_few_times_a_batch_and_not_for_each_frame(
    store: Store,
) -> None:
    store.ingest([Heard(frame(at), NOON + at * SECOND, "air") for at in range(5)])
    asked: list[str] = []
    event.listen(store.engine, "before_cursor_execute", lambda *said: asked.append(said[2]))
    store.ingest(forged(1000, start=NOON + timedelta(minutes=1)))
    assert 0 < len(asked) < 20


def test_a_forger_below_the_alarm_has_the_chance_that_the_page_says() -> None:
    page = (Path(__file__).parents[2] / "spec" / "seal.md").read_text(encoding="utf-8")
    a_year = (ALARM_A_DAY - 1) * 365.25 / 2**32
    assert f"{a_year:.1e} a year".replace("e-06", "e-6") in page
    assert f"{ALARM_A_DAY} a day" in page
    assert f"{MOST_KEPT_A_DAY:,} a day" in page
    assert failures.ALARM_A_DAY < MOST_KEPT_A_DAY


@pytest.mark.parametrize(("days", "recent"), [(-2, False), (-1, True), (0, True), (1, False)])
def test_an_alarm_is_recent_on_its_day_and_the_next(days: int, recent: bool) -> None:
    day = (NOON + timedelta(days=days)).date()
    assert is_recent(Forgeries(1, day, ALARM_A_DAY), NOON) is recent
    assert not is_recent(Forgeries(1, day, ALARM_A_DAY - 1), NOON)


def test_the_first_moment_of_a_day_counts_for_it_alone(store: Store) -> None:
    midnight = NOON.replace(hour=0) + timedelta(days=1)
    store.ingest(forged(3, start=midnight))
    store.ingest(forged(1, start=midnight - timedelta(hours=1)))
    assert {each.day: each.count for each in counted(store.engine)} == {
        midnight.date(): 3,
        midnight.date() - timedelta(days=1): 1,
    }


def alarms(events: list[list[Event]]) -> list[Forgeries]:
    return [event for event in flat(events) if isinstance(event, Forgeries)]


def test_the_day_after_does_not_make_an_alarm(store: Store) -> None:
    midnight = NOON.replace(hour=0) + timedelta(days=1)
    store.ingest(forged(1, start=midnight))
    before = forged(ALARM_A_DAY - 1, first=1, start=midnight - timedelta(hours=1))
    assert not alarms(store.ingest(before))
    last = forged(1, first=ALARM_A_DAY, start=midnight - timedelta(minutes=1))
    assert [each.day for each in alarms(store.ingest(last))] == [before[0].received.date()]


def test_the_day_is_that_of_utc() -> None:
    evening = datetime(2027, 5, 3, 20, tzinfo=timezone(timedelta(hours=-5)))
    assert day_of(evening) == evening.date() + timedelta(days=1)


@pytest.mark.parametrize(
    ("count", "words"),
    [(MOST_KEPT_A_DAY - 1, "1999 frames of"), (MOST_KEPT_A_DAY, "2000 frames or more of")],
)
def test_a_count_that_ended_is_told_as_the_least_it_may_be(count: int, words: str) -> None:
    assert words in in_words(Forgeries(1, DAY, count))
