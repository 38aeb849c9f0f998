"""Times put right by the clock's fit, held against the true times that only a test knows."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from random import Random

import pytest
from frame_stream import CSV, EPOCH, TOML

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from sqlalchemy import select

from packcodec.base.clock import time_steps
from packcodec.edge.dataset_source import read_source
from packcodec.edge.heard import Heard
from packcodec.edge.store import Store
from packcodec.edge.tables import frame, from_us, to_us
from packcodec.frame.codec import Codec
from packcodec.frozen import replace
from packcodec.layout import compile_layout
from packcodec.schema import read_schema

REPAIR = TOML[TOML.index("[repair]") : TOML.index("[message.sighting]")]
CODEC = Codec(compile_layout(read_schema(TOML.replace(REPAIR, ""), CSV)))
DAYS = 40


@dataclass
class Sent:
    true: datetime
    heard: Heard
    message: str


def season(
    seed: int,
    ppm: float,
    *,
    ahead_s: float = 0.0,
    set_on: int | None = None,
    first_day: int = 30,
    state: Sequence[str] = (),
) -> list[Sent]:
    """Hourly summaries and some sightings by a clock that gains `ppm` and is `ahead_s` at first.

    On the day `set_on` somebody sets it right, and it goes on gaining. `state` is what the
    summaries say of the station.
    """
    draw, sent = Random(seed), []
    put_right = EPOCH + timedelta(days=first_day + (DAYS if set_on is None else set_on))
    for hour in range(24 * first_day, 24 * (first_day + DAYS)):
        since, ahead = hour - 24 * first_day, ahead_s
        if set_on is not None and since >= 24 * set_on:
            since, ahead = since - 24 * set_on, 0.0
        error = timedelta(seconds=ahead + since * 3600 * ppm * 1e-6)
        # The interval of the station's own hour, over when its clock says so.
        start = EPOCH + timedelta(hours=hour)
        over = start + timedelta(hours=1) - error
        if start < put_right < over:
            # There was no such hour: the clock was set within it.
            continue
        values = {"start": start, "watched": 3600, "state": state, "rows": []}
        sent.append(_sent(len(sent), "summary", values, start - error, over, draw))
        if draw.random() < 0.3:
            true = over + timedelta(seconds=draw.randrange(60, 3000))
            values = {"at": true + error, "species": "otter", "individuals": 1}
            sent.append(_sent(len(sent), "sighting", values, true, true, draw))
    return sent


def _sent(
    number: int, message: str, values: dict[str, object], true: datetime, at: datetime, draw: Random
) -> Sent:
    # Most are heard within the minute, some wait for hours.
    delay_s = 5 + 40 * draw.random() if draw.random() < 0.8 else 7200 * draw.random()
    bytes_ = CODEC.encode({"message": message, "values": values}, station=3, sequence=number)
    return Sent(true, Heard(bytes_, at + timedelta(seconds=delay_s), "base"), message)


def stored(sent: list[Sent], path: Path) -> tuple[Store, list[tuple[Sent, object]]]:
    store = Store.open(str(path), [CODEC])
    for at in range(0, len(sent), 97):
        batch = sorted(sent[at : at + 97], key=lambda each: each.heard.received)
        store.ingest([each.heard for each in batch])
    store.refit()
    return store, rows(store, sent)


def rows(store: Store, sent: list[Sent]) -> list[tuple[Sent, object]]:
    with store.engine.connect() as connection:
        found = connection.execute(select(frame).order_by(frame.c.counter)).all()
    assert len(found) == len(sent)
    return list(zip(sent, found, strict=True))


@pytest.mark.parametrize(
    ("ppm", "ahead_s"),
    [(60, 0), (-60, 0), (35, 1800), (-35, -1800), (0, 7200), (0, -7200)],
)
def test_a_drifting_clock_is_put_right_within_what_is_said(
    tmp_path: Path, ppm: float, ahead_s: float
) -> None:
    corrected = 0
    for sent, row in stored(season(1, ppm, ahead_s=ahead_s), tmp_path / "s.db")[1]:
        off_s = abs((from_us(row.said_us) - sent.true).total_seconds())
        if row.corrected_us is None:
            assert off_s <= 60 + 120
            continue
        corrected += 1
        error_s = abs((from_us(row.corrected_us) - sent.true).total_seconds())
        assert error_s <= row.uncertain_us / 1e6 <= 180
        assert error_s <= off_s + 60
    # By 60 ppm a clock is off by two minutes after 23 days.
    assert corrected > (600 if ahead_s else 200)


def test_a_clock_that_is_right_is_left_alone(tmp_path: Path) -> None:
    found = stored(season(2, 0.5), tmp_path / "s.db")[1]
    assert all((row.corrected_us, row.uncertain_us) == (None, None) for _, row in found)


def test_intervals_of_another_length_than_the_policys_tell_nothing(tmp_path: Path) -> None:
    """The base's schema file says 30 minutes, the station was set out with 60."""
    schema = CODEC.schema
    other = Codec(compile_layout(replace(schema, policy=replace(schema.policy, interval_s=1800))))
    assert other.layout.identity == CODEC.layout.identity
    summaries = [each.heard for each in season(7, 0) if each.message == "summary"]
    store = Store.open(str(tmp_path / "s.db"), [other])
    store.ingest(sorted(summaries, key=lambda each: each.received))
    assert store.refit() == 0


def test_before_and_after_a_clock_was_set(tmp_path: Path) -> None:
    sent = season(3, 10, ahead_s=-3600, set_on=20)
    for each, row in stored(sent, tmp_path / "s.db")[1]:
        said = from_us(row.said_us if row.corrected_us is None else row.corrected_us)
        assert abs((said - each.true).total_seconds()) <= 180


def test_a_refit_knows_what_was_heard_since_and_changes_nothing_else(tmp_path: Path) -> None:
    sent = season(4, 50, ahead_s=900)
    store, early = stored(sent[:30], tmp_path / "s.db")
    late = Store.open(str(tmp_path / "s.db"), [CODEC])
    late.ingest([each.heard for each in sorted(sent[30:], key=lambda each: each.heard.received)])
    assert late.refit() > 0
    assert late.refit() == 0
    assert late.refit(everything=True) == 0
    for (_, before), (_, now) in zip(early, rows(store, sent), strict=False):
        assert before[:-2] == now[:-2]
        assert now.corrected_us is not None


def test_an_export_takes_the_time_that_was_put_right(tmp_path: Path) -> None:
    found = stored(season(6, 0, ahead_s=-7200), tmp_path / "s.db")[1]
    told = read_source(str(tmp_path / "s.db"), CODEC)
    assert len(told.heard) == len(found)
    for (sent, row), each in zip(found, told.heard, strict=True):
        assert each.corrected is not None
        assert abs((each.corrected - sent.true).total_seconds()) <= each.uncertain_s
        assert each.uncertain_s == row.uncertain_us / 1e6


def test_too_few_frames_put_nothing_right(tmp_path: Path) -> None:
    found = stored(season(5, 0, ahead_s=7200)[:5], tmp_path / "s.db")[1]
    assert all(row.corrected_us is None for _, row in found)


def by_reception(sent: list[Sent], path: Path) -> list[tuple[Sent, object]]:
    """What `stored` gives, of frames that may come days late."""
    store = Store.open(str(path), [CODEC])
    store.ingest(sorted((each.heard for each in sent), key=lambda heard: heard.received))
    store.refit()
    return rows(store, sent)


def test_a_late_frame_is_put_right_as_the_clock_was_when_it_was_sent(tmp_path: Path) -> None:
    sent = season(3, 10, ahead_s=-3600, set_on=20)
    for each in sent[560:563]:
        each.heard = replace(each.heard, received=EPOCH + timedelta(days=30 + 22))
    for each, row in by_reception(sent, tmp_path / "s.db")[560:563]:
        assert row.received_us == to_us(each.heard.received)
        assert abs((from_us(row.corrected_us) - each.true).total_seconds()) <= 180


def test_late_frames_tell_nothing_of_the_clock(tmp_path: Path) -> None:
    """Seven that came in order are one too few, however many are got back in the evening."""
    sent = [each for each in season(8, 0) if each.message == "summary"][:11]
    for each in sent[1:5]:
        each.heard = replace(each.heard, received=sent[-1].heard.received + timedelta(hours=9))
    assert {row.corrected_us for _, row in by_reception(sent, tmp_path / "s.db")} == {None}


def test_a_clock_that_is_not_set_is_not_put_right(tmp_path: Path) -> None:
    sent = season(9, 0, ahead_s=-7200, state=["clock_unset"])
    summaries = [each for each in sent if each.message == "summary"][:100]
    found = by_reception(summaries, tmp_path / "s.db")
    assert all(row.said_us is not None for _, row in found)
    assert {row.corrected_us for _, row in found} == {None}


def test_a_time_cut_to_a_step_is_uncertain_by_that_step(tmp_path: Path) -> None:
    uncertain = {
        each.message: row.uncertain_us
        for each, row in stored(season(6, 0, ahead_s=-7200)[:300], tmp_path / "s.db")[1]
    }
    step_us = 1e6 * time_steps(CODEC.schema)["sighting"]
    assert uncertain["sighting"] - uncertain["summary"] == step_us > 0
