"""Frames on a byte stream: any frame comes back, however it is cut up and whatever came before."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.edge.framing import FEND, LONGEST_RUN, Cobs, Framing, Kiss

KINDS = pytest.mark.parametrize("kind", [Cobs, Kiss])
FRAMES = st.lists(
    st.lists(st.sampled_from([0, 0xC0, 0xDB, 0xDC, 0xDD, 1, 255]), min_size=1, max_size=300).map(
        bytes
    ),
    max_size=5,
)


@KINDS
@given(frames=FRAMES, cuts=st.lists(st.integers(1, 50), min_size=1))
def test_frames_come_back_however_the_stream_is_cut(
    kind: type[Framing], frames: list[bytes], cuts: list[int]
) -> None:
    stream = b"".join(kind().wrap(frame) for frame in frames)
    line, found = kind(), []
    while stream:
        for cut in cuts:
            found += line.feed(stream[:cut])
            stream = stream[cut:]
    assert found == frames
    assert line.broken == 0


@KINDS
@given(kept=st.integers(0, 20))
def test_what_a_power_cut_left_of_a_frame_does_not_spoil_the_next(
    kind: type[Framing], kept: int
) -> None:
    line = kind()
    line.feed(kind().wrap(b"never whole")[:kept])
    assert line.feed(kind().wrap(b"whole"))[-1:] == [b"whole"]


def test_noise_is_counted_and_passed_over() -> None:
    cobs, kiss = Cobs(), Kiss()
    assert cobs.feed(b"\x09ab\x00" + Cobs().wrap(b"ok")) == [b"ok"]
    assert kiss.feed(FEND + b"\x00a\xdbb" + Kiss().wrap(b"ok")) == [b"ok"]
    assert (cobs.broken, kiss.broken) == (1, 1)


@KINDS
def test_memory_is_bounded_on_a_line_that_never_ends_a_frame(kind: type[Framing]) -> None:
    line = kind()
    for _ in range(50):
        line.feed(b"\x01" * 1000)
    assert line.feed(kind().wrap(b"ok")) == [b"ok"]
    assert len(line._rest) <= LONGEST_RUN
    assert line.broken == 1


def test_other_ports_and_kinds_of_a_tnc_are_passed_over() -> None:
    assert Kiss().feed(FEND + b"\x10data" + FEND + b"\x01\x20" + FEND) == []
