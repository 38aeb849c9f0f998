"""When a batch goes, and which elements it takes."""

from datetime import datetime, timedelta

import pytest
from batch_schema import batch_codec
from small_schema import EPOCH

from packcodec.frame import Codec
from packcodec.monitor.batch import Batcher
from packcodec.monitor.outbox import Entry

CODEC = batch_codec()
BATCH_US = 300 * 60 * 1_000_000
ROOM_BYTES = 240


def entry(
    number: int, at: datetime | None, *, mono_us: int = 0, boot: int = 1, codec: Codec = CODEC
) -> Entry:
    seen = {"after": 0, "species": "coot", "individuals": 1, "confidence": 0.9}
    values = {"at": at, "seen": [seen]}
    return Entry(
        number, "sightings", codec.payloads["sightings"].pack_values(values), boot, mono_us
    )


def taken(entries: list[Entry], now_us: int) -> int | None:
    joined = Batcher(CODEC, boots=1).joined(entries, ROOM_BYTES, now_us, restarted=False)
    return None if joined is None else joined[1]


@pytest.mark.parametrize(("waited_us", "goes"), [(BATCH_US - 1, None), (BATCH_US, 1)])
def test_a_batch_waits_for_company_and_no_longer(waited_us: int, goes: int | None) -> None:
    assert taken([entry(0, EPOCH, mono_us=77)], 77 + waited_us) == goes


def test_a_full_list_does_not_wait() -> None:
    entries = [entry(at, EPOCH + timedelta(minutes=at)) for at in range(40)]
    assert taken(entries[:39], 0) is None
    assert taken(entries, 0) == 40


@pytest.mark.parametrize("first", [EPOCH, None])
def test_elements_by_a_clock_that_is_set_and_by_one_that_is_not_part(
    first: datetime | None,
) -> None:
    other = None if first else EPOCH
    assert taken([entry(0, first), entry(1, first), entry(2, other)], BATCH_US) == 2


def test_elements_without_times_of_another_start_part() -> None:
    assert taken([entry(0, None, boot=0), entry(1, None, boot=1)], BATCH_US) == 1
    assert taken([entry(0, EPOCH, boot=0), entry(1, EPOCH, boot=1)], BATCH_US) == 2


def test_the_first_element_says_that_the_station_restarted() -> None:
    hour = {"after": 0, "watched": 60, "left_out": 0, "people": 0, "dropped": 0}
    values = {"start": EPOCH, "hours": [{**hour, "state": [], "rows": []}]}
    payload = CODEC.payloads["summaries"].pack_values(values)
    entries = [Entry(at, "summaries", payload, 1, 0) for at in range(2)]
    batcher, told = Batcher(CODEC, boots=1), []
    for restarted in (False, True):
        joined = batcher.joined(entries, ROOM_BYTES, BATCH_US, restarted=restarted)
        assert joined is not None
        told.append([list(each["state"]) for each in joined[0]["hours"]])
    assert told == [[[], []], [["restarted"], []]]


def test_what_one_batch_waits_for_is_not_asked_of_the_next() -> None:
    batcher = Batcher(CODEC, boots=1)
    entries = [entry(at, EPOCH + timedelta(minutes=at)) for at in range(9)]
    assert batcher.joined(entries[:1], ROOM_BYTES, 0, restarted=False) is None
    joined = batcher.joined(entries[1:8], 22, 0, restarted=False)
    assert joined is not None
    assert 0 < joined[1] < 7


def test_times_that_wrap_go_on_over_midnight() -> None:
    changes = (', beyond = "reject"', ""), ("span_s = 15811200", "span_s = 86400")
    codec = batch_codec("fixed", *changes)
    evening = EPOCH + timedelta(days=5, hours=20)
    entries = [entry(at, evening + timedelta(hours=3 * at), codec=codec) for at in range(3)]
    joined = Batcher(codec, boots=1).joined(entries, ROOM_BYTES, BATCH_US, restarted=False)
    assert joined is not None
    after = [each["after"] for each in joined[0]["seen"]]
    assert after == [0, 3 * 3600, 3 * 3600]
