"""What a base asks for: what it misses and a station may still have, once a day, not for ever."""

from datetime import UTC, datetime, timedelta

import pytest
from frame_stream import CODEC as FRAMES
from frame_stream import EPOCH, frames_of
from hypothesis import given
from hypothesis import strategies as st
from small_schema import schema_of

from packcodec.base.account import WINDOW, Base
from packcodec.base.ask import MOST_TIMES, Asked, ask, never_used, worth_asking
from packcodec.base.events import Accepted, Duplicate
from packcodec.errors import CarrierError, EncodeError, KeysError
from packcodec.frame import Codec
from packcodec.frame.missing import KEPT_FRAMES, decode_list, reach
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout
from packcodec.schema.model import Message

KEY = Key(bytes(range(16)))
SCHEMA = schema_of()
FIELDS = """fields = [
  { name = "last_sent", kind = "integer", low = 0, high = 1023, optional = true },
  { name = "first_number", kind = "integer", low = 0, high = 1023 },
"""


def days(number: float) -> datetime:
    return SCHEMA.epoch + timedelta(days=number)


def health(*changes: tuple[str, str]) -> Message:
    schema = schema_of(("code = 2\nfields = [\n", "code = 2\n" + FIELDS), *changes)
    return next(each for each in schema.messages if each.name == "health")


def test_a_list_asks_for_what_is_missing_and_is_the_days_own() -> None:
    made = ask(KEY, 1, SCHEMA, [3, 4, 9], 12, [], days(40.3), 51)
    assert made is not None
    frame, asked = made
    assert asked == Asked(40, days(40.3), (3, 4, 9))
    assert decode_list(KEY, 1, frame, after=None, following=13).counters == (3, 4, 9)


def test_one_a_day_and_never_a_number_twice() -> None:
    before: list[Asked] = []
    for at in (0.1, 0.9, 1.0, 1.5, 2.2, 2.1, 7.0, 3.0, 3.1, -400.0, 8.0):
        made = ask(KEY, 1, SCHEMA, [3], 12, list(before), days(at), 51)
        before += [] if made is None else [made[1]]
        before = [Asked(each.number, each.at, ()) for each in before]
    assert [each.number for each in before] == [0, 1, 2, 7, 8, 9, 10]
    assert [each.at for each in before] == [days(d) for d in (0.1, 1.0, 2.2, 7.0, 3.0, -400.0, 8.0)]


def test_nothing_is_asked_for_where_nothing_is_missing() -> None:
    assert ask(KEY, 1, SCHEMA, [], 12, [], days(1), 51) is None


def test_without_a_key_no_station_is_asked() -> None:
    with pytest.raises(KeysError, match=r"there is none for station 1; .*packcodec keys new"):
        ask(None, 1, SCHEMA, [3], 12, [], days(1), 51)
    with pytest.raises(CarrierError, match="offset"):
        ask(KEY, 1, SCHEMA, [3], 12, [], datetime(2027, 5, 1), 51)
    with pytest.raises(EncodeError, match="11 to 255"):
        ask(KEY, 1, SCHEMA, [3], 12, [], days(1), 10)


@given(
    missing=st.lists(st.integers(0, 3000), unique=True).map(sorted),
    highest=st.integers(3001, 3500),
    bits=st.sampled_from([0, 4, 8, 10, 16, 32]),
    times=st.integers(0, MOST_TIMES + 1),
)
def test_what_a_station_no_longer_keeps_is_never_asked_for(
    missing: list[int], highest: int, bits: int, times: int
) -> None:
    before = [Asked(number, days(number), tuple(missing[::2])) for number in range(times)]
    wanted = worth_asking(missing, highest, bits, (each.counters for each in before))
    assert all(highest - reach(bits) < each <= highest for each in wanted)
    inside = {each for each in missing if each > highest - reach(bits)}
    given_up = set(missing[::2]) if times >= MOST_TIMES else set()
    assert wanted == sorted(inside - given_up)


def test_what_a_health_report_declares_never_used_is_not_asked_for() -> None:
    message = health()
    assert never_used(message, {"last_sent": 17, "first_number": 64}, 64, ()) == range(18, 64)
    assert never_used(message, {"last_sent": 17, "first_number": 64}, 90, ()) == range(18, 64)
    # Modulo 1,024, as the fields are.
    assert never_used(message, {"last_sent": 1000, "first_number": 30}, 2100, ()) == range(
        2025, 2078
    )
    assert never_used(message, {"last_sent": None, "first_number": 64}, 64, ()) == range(0)
    assert never_used(message, {"last_sent": 63, "first_number": 64}, 64, ()) == range(64, 64)
    # Of a start more than a circle ago the fields say nothing: what was heard was used.
    assert never_used(message, {"last_sent": 17, "first_number": 64}, 3000, {2100}) == range(0)
    clamped = health(("high = 1023 }", 'high = 1023, above = "clamp" }'))
    assert never_used(clamped, {"last_sent": 17, "first_number": 64}, 90, ()) == range(18, 64)
    assert never_used(clamped, {"last_sent": 17, "first_number": 64}, 60, ()) == range(0)


def test_what_a_health_report_does_not_say_for_sure_declares_nothing() -> None:
    message = health()
    # The last number that was sent is none that there was: of a counter before 0.
    assert never_used(message, {"last_sent": 1000, "first_number": 30}, 40, ()) == range(0)
    clamped = health(("high = 1023 }", 'high = 1023, above = "clamp" }'))
    bound = {"at_least": 1023}
    assert never_used(clamped, {"last_sent": 17, "first_number": bound}, 2000, ()) == range(0)
    shifted = health(
        ('"last_sent", kind = "integer", low = 0', '"last_sent", kind = "integer", low = 1')
    )
    assert never_used(shifted, {"last_sent": 17, "first_number": 64}, 64, ()) == range(0)


def test_a_frame_that_comes_again_is_late_and_fills_its_gap() -> None:
    """As far back as a station keeps frames, and a day or more later."""
    base, frames = Base([FRAMES]), frames_of(KEPT_FRAMES + 200)
    lost = {150, 151, 152, *range(300, 420), 690}
    for at, frame in enumerate(frames):
        if at not in lost:
            base.heard(frame, EPOCH + timedelta(hours=at))
    account = base.stations[3]
    missing = [each for first, end in account.missing() for each in range(first, end)]
    assert set(missing) <= lost
    assert len(missing) > 20, "more than the code wins back"
    now = EPOCH + timedelta(hours=len(frames) + 5)
    made = ask(KEY, 3, FRAMES.schema, missing, len(frames) - 1, [], now, 51)
    assert made is not None
    counters = decode_list(KEY, 3, made[0], after=None, following=len(frames) + 2).counters
    assert list(counters) == [each for each in missing if each > len(frames) - 512]
    for counter in counters:
        events = base.heard(frames[counter], now)
        accepted = next(each for each in events if isinstance(each, Accepted))
        assert (accepted.counter, accepted.late) == (counter, True)
        assert base.heard(frames[counter], now) == [Duplicate(3, counter)]
    assert not {*counters} & {c for first, end in account.missing() for c in range(first, end)}
    assert KEPT_FRAMES < WINDOW


def test_a_late_frames_times_are_those_of_when_it_would_have_come() -> None:
    """A sighting says the time of day alone: a day later it would be of the wrong day."""
    base = Base([FRAMES])
    frames = []
    for counter in range(60):
        at = EPOCH + timedelta(hours=counter, minutes=7)
        values = {"at": at, "species": "otter", "individuals": 1}
        record = {"message": "sighting", "values": values}
        frames.append(FRAMES.encode(record, station=3, sequence=counter))
    for counter, frame in enumerate(frames):
        if counter not in (20, 21):
            base.heard(frame, EPOCH + timedelta(hours=counter, minutes=9))
    for counter in (21, 20):
        (event,) = base.heard(frames[counter], EPOCH + timedelta(hours=60))
        assert isinstance(event, Accepted)
        assert event.record.values["at"] == EPOCH + timedelta(hours=counter, minutes=7)


def test_sealed_frames_come_again_as_well() -> None:
    sealed = Codec(
        compile_layout(
            schema_of(
                ("sequence_bits = 16", 'sequence_bits = 10\nseal = "ccm4"'),
                ("tag_bits = 8", "tag_bits = 0"),
            )
        ),
        {1: KEY},
    )
    base = Base([sealed])
    values = {"battery_mv": 3900, "state": [], "at": None, "restarts": 2, "sealed": None}
    frames = [
        sealed.encode({"message": "health", "values": values}, station=1, sequence=counter)
        for counter in range(2000)
    ]
    when = datetime(2027, 5, 1, tzinfo=UTC)
    oldest = 2000 - reach(10)
    for counter, frame in enumerate(frames):
        if counter not in (oldest, 1700):
            base.heard(frame, when + timedelta(hours=counter))
    for counter in (1700, oldest):
        (event,) = base.heard(frames[counter], when + timedelta(hours=2001))
        assert isinstance(event, Accepted)
        assert event.counter == counter
    # One frame further back and it would be taken for a later one, and not open.
    (event,) = base.heard(frames[oldest - 1], when + timedelta(hours=2001))
    assert not isinstance(event, Accepted)


def test_the_oldest_that_a_station_keeps_is_still_asked_for() -> None:
    oldest = 2000 + 1 - reach(16)
    missing = [oldest - 1, oldest, 1999]
    assert worth_asking(missing, 2000, 16, []) == [oldest, 1999]
