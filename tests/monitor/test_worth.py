"""What is left out when not everything fits, and that it is counted."""

from typing import Any

import pytest
from small_schema import at, codec_of, saw

from packcodec.codec import AtLeast, Record
from packcodec.errors import EncodeError
from packcodec.frame import Codec
from packcodec.frame.fill import frame_bytes
from packcodec.monitor import Summariser, fit, summarise


@pytest.fixture(scope="module")
def codec() -> Codec:
    return codec_of()


def species(record: Record) -> list[str]:
    return [row["species"] for row in record.values["rows"]]


def test_rows_stand_in_order_of_worth(codec: Codec) -> None:
    summariser = Summariser(codec, 1, season={"coot": 50, "teal": 3, "otter": 9, "rail": 3})
    for label, individuals in (("coot", 9), ("teal", 2), ("rail", 1), ("otter", 1)):
        summariser.seen(saw("06:00", label, individuals))
    (record,) = [r for r in summariser.close() if r.message == "summary"]
    # Priority; then the rarer; of two as rare, the larger group.
    assert species(record) == ["otter", "teal", "rail", "coot"]


def test_what_is_new_this_season_comes_before_what_is_rare(codec: Codec) -> None:
    summariser = Summariser(codec, 1, season={"teal": 1})
    seen = [saw("06:00", "teal"), *(saw("06:01", "snipe", image=str(n)) for n in range(9))]
    for detection in seen:
        summariser.seen(detection)
    (record,) = summariser.close()
    assert species(record) == ["snipe", "teal"]
    summariser.seen(saw("07:00", "snipe"))
    summariser.seen(saw("07:00", "teal"))
    (record,) = summariser.close()
    assert species(record) == ["teal", "snipe"]


def test_rows_past_the_most_are_counted_as_left_out(codec: Codec) -> None:
    labels = ["coot", "teal", "snipe", "lapwing", "rail", "bittern", "otter"]
    common = [saw(f"05:{n:02}", label, image=str(n)) for n, label in enumerate(labels[:3] * 4)]
    records = summarise(codec, common + [saw("06:00", label) for label in labels]).records
    (record,) = [r for r in records if r.values.get("start") == at("06:00")]
    assert species(record) == ["otter", "bittern", "lapwing", "rail"]
    assert record.values["left_out"] == 3


def full(codec: Codec, left_out: Any = 0) -> Record:
    seen = [saw("06:00", label) for label in ("otter", "coot", "teal", "snipe")]
    (record,) = [r for r in summarise(codec, seen).records if r.message == "summary"]
    return Record("summary", {**record.values, "left_out": left_out}, 1, 7)


def test_what_fits_is_not_touched(codec: Codec) -> None:
    record = full(codec)
    assert fit(codec, record, frame_bytes(codec, record)) is record
    assert frame_bytes(codec, record) == len(codec.encode(record))


def test_times_go_before_species_and_the_last_row_first(codec: Codec) -> None:
    record = full(codec)
    shorter = fit(codec, record, frame_bytes(codec, record) - 1)
    assert species(shorter) == species(record)
    gone = [row["first"] is None for row in shorter.values["rows"]]
    assert gone == sorted(gone)
    assert (gone[0], gone[-1]) == (False, True)
    assert all(row["last"] is not None for row in shorter.values["rows"])
    assert shorter.values["left_out"] == 0
    assert len(codec.encode(shorter)) == frame_bytes(codec, record) - 1


def test_every_limit_is_kept_and_everything_left_out_is_counted(codec: Codec) -> None:
    record = full(codec, left_out=2)
    least = frame_bytes(codec, Record("summary", {**record.values, "rows": []}, 1, 7))
    for limit in range(least, frame_bytes(codec, record) + 1):
        shorter = fit(codec, record, limit)
        frame = codec.encode(shorter)
        assert len(frame) <= limit
        assert codec.decode(frame) == shorter
        kept = species(shorter)
        assert kept == species(record)[: len(kept)]
        assert shorter.values["left_out"] == 2 + 4 - len(kept)
        for name in ("start", "watched", "state", "dropped"):
            assert shorter.values[name] == record.values[name]
    with pytest.raises(EncodeError, match=rf"message\.summary: takes {least} bytes at the least"):
        fit(codec, record, least - 1)


def test_a_count_that_was_a_bound_stays_one(codec: Codec) -> None:
    record = full(codec, left_out=AtLeast(15))
    assert fit(codec, record, frame_bytes(codec, record) - 20).values["left_out"] == AtLeast(15)


def test_a_record_without_rows_fits_or_is_refused(codec: Codec) -> None:
    (record, _) = summarise(codec, [saw("06:00", "otter")]).records
    size = frame_bytes(codec, record)
    assert fit(codec, record, size) is record
    with pytest.raises(EncodeError, match=r"message\.sighting"):
        fit(codec, record, size - 1)
