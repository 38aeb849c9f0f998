"""A base that hears sealed frames: nothing moves before a tag has been verified."""

from datetime import datetime, timedelta
from pathlib import Path

from small_schema import at, schema_of

from packcodec.base.account import Base
from packcodec.base.events import Accepted, Duplicate, Rejected, Why
from packcodec.codec.record import Record
from packcodec.edge.heard import Heard
from packcodec.edge.store import Store
from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

# Ten bits of the counter on the air: a turn of the circle every 1,024 frames.
SHORT = ("sequence_bits = 16", 'sequence_bits = 10\nseal = "ccm4"')
TAGLESS = ("tag_bits = 8", "tag_bits = 0")
LAYOUT = compile_layout(schema_of(SHORT, TAGLESS))
CODEC = Codec(LAYOUT, {1: Key(bytes(16))})
FORGER = Codec(LAYOUT, {1: Key(bytes(range(16)))})


def frame(counter: int, codec: Codec = CODEC) -> bytes:
    values = {"battery_mv": 3900, "state": [], "at": None, "restarts": 2, "sealed": None}
    return codec.encode(Record("health", values, 1, counter))


def when(counter: int) -> datetime:
    return at("06:00") + timedelta(hours=counter)


HEARD = [*range(0, 3000, 400), 3001, 3002]


def test_the_whole_counter_is_followed_through_many_turns_of_the_circle() -> None:
    base = Base([CODEC])
    for counter in HEARD:
        events = base.heard(frame(counter), when(counter))
        assert [each.counter for each in events if isinstance(each, Accepted)] == [counter]


def test_a_replayed_frame_opens_no_more_and_changes_nothing() -> None:
    base = Base([CODEC])
    for counter in HEARD:
        base.heard(frame(counter), when(counter))
    account = base.stations[1]
    for old in (0, 400, 1200):
        (event,) = base.heard(frame(old), when(3003))
        assert isinstance(event, Rejected)
        assert account.highest == 3002
    assert base.heard(frame(3001), when(3003)) == [Duplicate(1, 3001)]


def test_a_forged_frame_moves_no_counter() -> None:
    base = Base([CODEC])
    base.heard(frame(10), when(10))
    for counter in (11, 300, 500):
        (event,) = base.heard(frame(counter, FORGER), when(11))
        assert isinstance(event, Rejected)
        assert event.why == Why.DAMAGED
    assert base.stations[1].highest == 10
    (accepted,) = base.heard(frame(11), when(11))
    assert isinstance(accepted, Accepted)


def test_the_store_follows_the_counter_over_a_restart(tmp_path: Path) -> None:
    for counter in HEARD:
        store = Store.open(str(tmp_path / "base.db"), [CODEC])
        (events,) = store.ingest([Heard(frame(counter), when(counter), "base")])
        assert [each.counter for each in events if isinstance(each, Accepted)] == [counter]
        (again,) = store.ingest([Heard(frame(counter), when(counter), "base")])
        assert again == [Duplicate(1, counter)]
        store.close()


def test_frames_that_come_again_do_not_lead_the_store_astray(tmp_path: Path) -> None:
    """Half the circle back, and then half the circle forth of what had been reached: in batches of
    their own, and in one."""
    store = Store.open(str(tmp_path / "base.db"), [CODEC])
    batches = [range(600, 1100), [*range(589, 600)], [1099 + 500], [1110, 1599 + 505]]
    for number, counters in enumerate(batches):
        heard = [
            Heard(frame(each), when(1100 * (number + 1) + at), "base")
            for at, each in enumerate(counters)
        ]
        events = [event for each in store.ingest(heard) for event in each]
        assert [e.counter for e in events if isinstance(e, Accepted)] == [*counters]
    store.close()


def test_a_long_capture_opens_in_one_batch_and_its_replay_changes_nothing(tmp_path: Path) -> None:
    """Three turns of the circle at once; then the same again, when the station is far ahead."""
    capture = [Heard(frame(counter), when(counter), "base") for counter in range(0, 3100, 3)]
    store = Store.open(str(tmp_path / "base.db"), [CODEC])
    events = [event for each in store.ingest(capture) for event in each]
    assert [e.counter for e in events if isinstance(e, Accepted)] == [*range(0, 3100, 3)]
    again = [event for each in store.ingest(capture) for event in each]
    assert again == [Duplicate(1, counter) for counter in range(0, 3100, 3)]
    part = [event for each in store.ingest(capture[40:60]) for event in each]
    assert part == [Duplicate(1, counter) for counter in range(120, 180, 3)]
    store.close()
