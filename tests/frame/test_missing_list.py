"""The missing list: what goes in comes out, and what is not for this station changes nothing."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.missing import (
    LEAST_BYTES,
    MissingList,
    decode_list,
    encode_list,
    reach,
)
from packcodec.frame.seal import Key

KEY, OTHER = Key(bytes(range(16))), Key(bytes(16))
LAST = (1 << 32) - 1

numbers = st.integers(0, LAST)
spread = st.lists(st.integers(0, 600), min_size=1, unique=True).map(sorted)


@given(
    station=numbers,
    number=numbers,
    first=st.integers(0, LAST - 1000),
    ahead=st.integers(601, 3000),
    offsets=spread,
    most=st.integers(LEAST_BYTES, 255),
    lost=st.integers(0, 4000),
)
def test_a_list_comes_back_as_it_went(
    station: int, number: int, first: int, ahead: int, offsets: list[int], most: int, lost: int
) -> None:
    missing = [first + each for each in offsets]
    frame, covered = encode_list(KEY, station, number, missing, most)
    assert len(frame) <= most
    assert covered
    assert covered == tuple(missing[: len(covered)])
    after = None if lost > number else number - lost - 1
    if after is None and number >= 16 * 256:
        return  # a first list of more than eleven years after the epoch
    after = after if after is None or after >= 0 else None
    back = decode_list(KEY, station, frame, after=after, following=first + ahead)
    assert back == MissingList(number, covered)


def test_room_grows_with_the_limit() -> None:
    missing = list(range(100, 500))
    covered = [len(encode_list(KEY, 1, 0, missing, most)[1]) for most in (11, 12, 51)]
    assert covered == [16, 24, 336]
    assert encode_list(KEY, 1, 0, [5, 100], 11)[1] == (5,)
    assert len(encode_list(KEY, 1, 0, [5, 100], 51)[0]) == 23


@given(frame=st.binary(max_size=300), after=st.none() | numbers, following=numbers)
def test_any_bytes_are_no_list(frame: bytes, after: int | None, following: int) -> None:
    with pytest.raises(DecodeError) as said:
        decode_list(KEY, 3, frame, after=after, following=following)
    fits = LEAST_BYTES <= len(frame) <= 255
    assert said.value.reason == (Reason.FAILED_CHECK if fits else Reason.WRONG_LENGTH)


def test_what_is_damaged_forged_or_for_another_station_is_none() -> None:
    frame, _ = encode_list(KEY, 3, 9, [4, 6, 20], 51)
    for bit in range(8 * len(frame)):
        broken = bytearray(frame)
        broken[bit // 8] ^= 1 << bit % 8
        with pytest.raises(DecodeError):
            decode_list(KEY, 3, bytes(broken), after=None, following=50)
    for key, station in ((OTHER, 3), (KEY, 4)):
        with pytest.raises(DecodeError):
            decode_list(key, station, frame, after=None, following=50)
    for wrong in (frame[:-1], frame + b"\0", frame[1:]):
        with pytest.raises(DecodeError):
            decode_list(KEY, 3, wrong, after=None, following=50)


def test_a_list_is_taken_once_and_older_ones_never() -> None:
    frames = [encode_list(KEY, 3, number, [4], 11)[0] for number in range(300, 310)]
    for after, taken in ((299, range(10)), (304, range(5, 10)), (309, range(0))):
        for at, frame in enumerate(frames):
            if at in taken:
                assert decode_list(KEY, 3, frame, after=after, following=9).number == 300 + at
            else:
                with pytest.raises(DecodeError):
                    decode_list(KEY, 3, frame, after=after, following=9)


def test_no_more_numbers_are_tried_than_is_said() -> None:
    frame, _ = encode_list(KEY, 3, 10 + 16 * 256, [4], 11)
    assert decode_list(KEY, 3, frame, after=10, following=9).number == 4106
    with pytest.raises(DecodeError):
        decode_list(KEY, 3, frame, after=9, following=9)


def test_counters_that_the_station_never_used_are_left_out() -> None:
    frame, _ = encode_list(KEY, 3, 0, [10, 11, 15, 30], 51)
    assert decode_list(KEY, 3, frame, after=None, following=15).counters == (10, 11)
    # Far behind, `first` would lie before the station's first frame.
    assert decode_list(KEY, 3, frame, after=None, following=5).counters == ()


@pytest.mark.parametrize(
    ("number", "missing", "most", "place"),
    [
        (0, [4], 10, "limit"),
        (0, [4], 256, "limit"),
        (LAST + 1, [4], 11, "number"),
        (0, [], 11, "missing"),
        (0, [5, 4], 11, "missing"),
        (0, [-1], 11, "missing"),
    ],
)
def test_what_is_no_list_is_refused(number: int, missing: list[int], most: int, place: str) -> None:
    with pytest.raises(EncodeError) as said:
        encode_list(KEY, 1, number, missing, most)
    assert said.value.place == place


def test_no_bytes_at_all_are_refused() -> None:
    with pytest.raises(CarrierError):
        decode_list(KEY, 1, "00" * 11, after=None, following=5)  # type: ignore[arg-type]


@pytest.mark.parametrize(("bits", "frames"), [(0, 0), (1, 0), (6, 31), (10, 511), (16, 512)])
def test_no_frame_is_kept_that_would_be_taken_for_another(bits: int, frames: int) -> None:
    assert reach(bits) == frames
