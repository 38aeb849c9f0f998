"""The account: every counter from the first to the last is heard, recovered or missing."""

from dataclasses import replace
from datetime import timedelta
from random import Random

import pytest
from frame_stream import CODEC, EPOCH, frames_of, summary
from hypothesis import given
from hypothesis import strategies as st

from packcodec.base import (
    Accepted,
    Base,
    Contradicted,
    Duplicate,
    Event,
    Gap,
    Missing,
    Recovered,
    Rejected,
    Restart,
    Unsent,
    Why,
)
from packcodec.base.account import WINDOW
from packcodec.errors import CarrierError
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema import Repair

HOUR = timedelta(hours=1)


def wide_codec(sequence_bits: int = 32, repair: Repair | None = CODEC.schema.repair) -> Codec:
    frame = replace(CODEC.schema.frame, sequence_bits=sequence_bits)
    return Codec(compile_layout(replace(CODEC.schema, frame=frame, repair=repair)))


def all_events(base: Base, arrivals: list[tuple[bytes, float]]) -> list[Event]:
    return [event for frame, at in arrivals for event in base.heard(frame, EPOCH + at * HOUR)]


def test_a_clean_run_is_accepted_whole() -> None:
    base = Base([CODEC])
    frames = frames_of(1500)
    events = all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    assert [event.counter for event in events if isinstance(event, Accepted)] == [*range(1500)]
    assert len(events) == 1500
    assert base.stations[3].missing() == []


@given(
    seed=st.integers(0, 2**32),
    loss=st.floats(0, 0.6),
    shuffle=st.integers(0, 30),
    twice=st.floats(0, 0.5),
    first=st.sampled_from([0, 900, 5000]),
)
def test_heard_recovered_and_gaps_are_all_there_is(
    seed: int, loss: float, shuffle: int, twice: float, first: int
) -> None:
    draw = Random(seed)
    count = 160
    frames = frames_of(count, first=first)
    kept = [at for at in range(count) if draw.random() >= loss] or [0]
    copies = kept + [at for at in kept if draw.random() < twice]
    copies.sort(key=lambda at: (at + draw.randrange(shuffle + 1), at))
    base = Base([CODEC])
    events = base.heard(frames[kept[0]], EPOCH + kept[0] * HOUR)
    shift = (base.stations[3].highest or 0) - kept[0]
    events += all_events(base, [(frames[at], at) for at in copies])
    account = base.stations[3]
    heard = {e.counter for e in events if isinstance(e, Accepted)}
    won = {e.counter for e in events if isinstance(e, Recovered | Unsent)}
    gaps = account.missing()
    missing = {at for first_, end in gaps for at in range(first_, end)}
    assert heard == {at + shift for at in kept}
    assert gaps == sorted(gaps)
    assert not missing & heard
    assert not missing & won
    known = heard | won | missing
    assert known == set(range(min(known), max(heard) + 1))
    duplicates = sum(isinstance(event, Duplicate) for event in events)
    assert duplicates == len(copies) - len(kept) + 1
    for event in events:
        if isinstance(event, Recovered):
            sent = CODEC.decode(frames[event.counter - shift])
            assert event.record == sent


@given(st.lists(st.tuples(st.binary(max_size=60), st.integers(0, 50)), max_size=20))
def test_no_bytes_make_it_raise(junk: list[tuple[bytes, int]]) -> None:
    base = Base([CODEC])
    for frame, at in junk:
        assert all(isinstance(each, Rejected) for each in base.heard(frame, EPOCH + at * HOUR))


@given(seed=st.integers(0, 2**32))
def test_damage_is_refused_and_changes_nothing(seed: int) -> None:
    draw = Random(seed)
    frames = frames_of(6)
    base = Base([CODEC])
    all_events(base, [(frames[at], at) for at in (0, 1)])
    spoiled = bytearray(frames[2])
    spoiled[draw.randrange(len(spoiled))] ^= 1 << draw.randrange(8)
    [event] = base.heard(bytes(spoiled), EPOCH + 2 * HOUR)
    assert isinstance(event, Rejected)
    assert event.why in (Why.DAMAGED, Why.UNKNOWN_SCHEMA)
    assert base.stations[3].highest == 1


def test_a_gap_is_said_once_and_a_late_frame_fills_it() -> None:
    codec = wide_codec(sequence_bits=10, repair=None)
    base = Base([codec])
    frames = [codec.encode(summary(at, 1), station=3, sequence=at) for at in range(10)]
    events = all_events(base, [(frames[0], 0), (frames[4], 4), (frames[2], 4.1)])
    assert events[1] == Gap(3, 1, 4, Missing.LOST)
    late = events[3]
    assert isinstance(late, Accepted)
    assert (late.counter, late.late) == (2, True)
    assert base.stations[3].missing() == [(1, 2), (3, 4)]


def test_a_second_base_is_a_duplicate_however_late_its_capture() -> None:
    base = Base([CODEC])
    frames = frames_of(1000)
    all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    again = all_events(base, [(frame, at + 0.001) for at, frame in enumerate(frames)])
    assert {type(event) for event in again} == {Duplicate}


def test_an_old_frame_sent_again_is_refused() -> None:
    """A counter of 32 bits tells it for sure; see the next test for fewer."""
    codec = wide_codec()
    base = Base([codec])
    frames = frames_of(WINDOW + 3, codec=codec)
    all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    [event] = base.heard(frames[1], EPOCH + (WINDOW + 10) * HOUR)
    assert isinstance(event, Rejected)
    assert event.why == Why.REPLAY
    [event] = base.heard(frames[10], EPOCH + (WINDOW + 10) * HOUR)
    assert event == Duplicate(3, 10)


def test_another_frame_with_a_counter_in_use_is_refused() -> None:
    base = Base([CODEC])
    frames = frames_of(5)
    all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    forged = CODEC.encode(summary(4, 12), station=3, sequence=4)
    [event] = base.heard(forged, EPOCH + 5 * HOUR)
    assert isinstance(event, Rejected)
    assert event.why == Why.CONFLICT


def test_a_counter_that_starts_anew_and_says_so_loses_nothing() -> None:
    base = Base([CODEC])
    frames = frames_of(5)
    all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    anew = CODEC.encode(summary(6, 1, restarted=True), station=3, sequence=0)
    gap, restart, accepted = base.heard(anew, EPOCH + 6 * HOUR)
    assert gap == Gap(3, 5, 1024, Missing.RESTART)
    assert restart == Restart(3, 1024)
    assert isinstance(accepted, Accepted)
    after = CODEC.encode(summary(7, 1), station=3, sequence=1)
    [accepted] = base.heard(after, EPOCH + 7 * HOUR)
    assert isinstance(accepted, Accepted)
    assert accepted.counter == 1025


def test_a_ring_that_was_lost_in_silence_is_noticed() -> None:
    """The same number twice with other sums: what was won back is called in doubt."""
    base = Base([CODEC])
    frames = frames_of(40)
    other = frames_of(40, rows=lambda at: (at + 1) % 5)
    events = all_events(base, [(frames[at], at) for at in range(30) if at not in (20, 21)])
    assert {e.counter for e in events if isinstance(e, Recovered)} == {20, 21}
    events = base.heard(other[20], EPOCH + 20 * HOUR)
    assert Contradicted(3, (21,)) in events


def test_a_schema_found_later_reads_what_was_kept() -> None:
    [event] = Base([wide_codec()]).heard(frames_of(1)[0], EPOCH)
    assert isinstance(event, Rejected)
    [event] = Base([wide_codec(), CODEC]).heard(frames_of(1)[0], EPOCH)
    assert isinstance(event, Accepted)
    assert event.identity == CODEC.layout.identity


def test_without_a_number_there_is_no_account() -> None:
    codec = wide_codec(sequence_bits=0, repair=None)
    frame = codec.encode(summary(0, 1), station=3)
    [event] = Base([codec]).heard(frame, EPOCH)
    assert isinstance(event, Rejected)
    assert event.why == Why.UNNUMBERED
    [event] = Base([codec]).heard(frame, EPOCH, sequence=70000)
    assert isinstance(event, Accepted)
    assert event.counter == 70000


def test_a_reception_time_without_an_offset_is_the_callers_mistake() -> None:
    with pytest.raises(CarrierError, match="no offset"):
        Base([CODEC]).heard(frames_of(1)[0], EPOCH.replace(tzinfo=None))


def test_what_a_small_account_forgot_it_does_not_guess() -> None:
    base = Base([CODEC])
    frames = frames_of(2 * WINDOW + 2)
    all_events(base, [(frame, at) for at, frame in enumerate(frames)])
    [event] = base.heard(frames[5], EPOCH + 5 * HOUR)
    assert isinstance(event, Rejected)
    assert event.why == Why.REPLAY


def test_frames_seconds_apart_do_not_make_an_alarm_of_a_minute() -> None:
    base = Base([CODEC])
    all_events(base, [(frame, at / 3600) for at, frame in enumerate(frames_of(20))])
    assert base.stations[3].cadence.overdue_from == EPOCH + timedelta(minutes=15, seconds=19)


@pytest.mark.parametrize("lost", [range(10, 12), range(10, 40)])
def test_overdue_is_not_the_same_as_nothing_seen(lost: range) -> None:
    base = Base([CODEC])
    frames = frames_of(60, rows=lambda _: 0)
    events = all_events(base, [(frames[at], at) for at in range(60) if at not in lost])
    cadence = base.stations[3].cadence
    assert cadence.next_expected == EPOCH + 60 * HOUR
    assert cadence.overdue_from == EPOCH + 60.5 * HOUR
    empty = [e.record for e in events if isinstance(e, Accepted) and not e.record.values["rows"]]
    assert len(empty) == 60 - len(lost), "watched and saw none is a record"
    assert Gap(3, lost.start, lost.stop, Missing.LOST) in events, "no report is a gap"
