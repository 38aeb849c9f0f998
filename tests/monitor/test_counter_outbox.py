"""Numbers that are never used twice, and an outbox that makes room by policy."""

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.errors import EncodeError
from packcodec.monitor import Change, Counter, Kept
from packcodec.monitor.outbox import Entry, Outbox

MESSAGES = ("sighting", "health", "summary")


@given(
    leap=st.integers(1, 9),
    lives=st.lists(st.tuples(st.integers(0, 30), st.booleans()), min_size=1, max_size=9),
)
def test_no_number_is_used_twice_over_any_boots(leap: int, lives: list[tuple[int, bool]]) -> None:
    """Each life takes some numbers and ends: by a cut, or in order, giving the rest back."""
    kept, used, writes = 0, [], 0
    for frames, in_order in lives:
        counter = Counter(kept, leap)
        for _ in range(frames):
            if counter.to_reserve is not None:
                kept = counter.reserved = counter.to_reserve
                writes += 1
            used.append(counter.take())
        if in_order:
            kept = counter.next
    assert len(set(used)) == len(used)
    assert used == sorted(used)
    assert max(used, default=0) < len(used) + leap * len(lives)
    assert writes <= len(used) / leap + len(lives)


def test_a_number_that_is_not_reserved_is_refused() -> None:
    counter = Counter(5)
    assert counter.to_reserve == 69
    with pytest.raises(EncodeError, match="5 is not reserved; keep"):
        counter.take()


def test_the_last_numbers_are_used_and_no_more() -> None:
    counter = Counter((1 << 32) - 2)
    counter.reserved = counter.to_reserve or 0
    assert [counter.take(), counter.take()] == [(1 << 32) - 2, (1 << 32) - 1]
    with pytest.raises(EncodeError, match="no number is left: make a new key"):
        counter.take()


def test_sightings_go_first_and_the_oldest_of_each() -> None:
    box = Outbox()
    for message in ("summary", "sighting", "health", "sighting", "summary"):
        box.put(message, b"", 1, 0)
    assert [entry.number for entry in box] == [1, 3, 2, 0, 4]
    first = box.first()
    assert first is not None
    box.remove(first)
    assert [entry.number for entry in box] == [3, 2, 0, 4]


@given(st.lists(st.sampled_from(MESSAGES), max_size=40), st.integers(1, 10))
def test_what_goes_to_make_room_is_wanted_least_and_counted(sent: list[str], most: int) -> None:
    box = Outbox(most=most)
    gone: list[Entry] = []
    for message in sent:
        gone += box.put(message, b"", 1, 0)[1]
        assert len(box) <= most
    assert box.dropped.total() == len(gone) == max(0, len(sent) - most)
    assert sorted([*box, *gone], key=lambda entry: entry.number) == [
        Entry(number, message, b"", 1, 0) for number, message in enumerate(sent)
    ]
    if any(entry.urgent for entry in gone):
        assert all(entry.urgent for entry in box)
    for message in MESSAGES:
        waiting = [entry.number for entry in box if entry.message == message]
        dropped = [entry.number for entry in gone if entry.message == message]
        assert not waiting or not dropped or max(dropped) < min(waiting)


def test_changes_add_up_to_what_is_kept() -> None:
    one, two = Entry(0, "summary", b"\x01", 1, 5), Entry(1, "sighting", b"\xff\x00", 2, -3)
    kept = Kept()
    changes = [
        Change([one], state={"a": 1}),
        Change([two], state={"a": 2}),
        Change(gone=[0], sent=7),
    ]
    for change in changes:
        kept.add(Change.of_json(json.loads(json.dumps(change.to_json()))))
    assert kept == Kept([two], 2, 7, {"a": 2})
    assert Kept.of_json(json.loads(json.dumps(kept.to_json()))) == kept
    assert not Change()
    assert Change(sent=0)
