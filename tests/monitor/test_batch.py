"""When a batch goes, and which elements it takes."""

from datetime import datetime, timedelta

import pytest
from batch_schema import batch_codec
from small_schema import EPOCH

from packcodec.monitor.batch import Batcher
from packcodec.monitor.outbox import Entry

CODEC = batch_codec()
BATCH_US = 300 * 60 * 1_000_000
ROOM_BYTES = 240


def entry(number: int, at: datetime | None, *, mono_us: int = 0, boot: int = 1) -> Entry:
    seen = {"after": 0, "species": "coot", "individuals": 1, "confidence": 0.9}
    values = {"at": at, "seen": [seen]}
    return Entry(
        number, "sightings", CODEC.payloads["sightings"].pack_values(values), boot, mono_us
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
