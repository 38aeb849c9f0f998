"""The replay window against the algorithm of RFC 6479 (anti-replay without bit shifting), which
does what RFC 4303, section 3.4.3 asks. Both from memory; the algorithm is known through public code
that names it.

The account tells two things apart: a copy of a frame inside the window is a duplicate, what lies
behind the window a replay.
"""

from dataclasses import replace
from datetime import timedelta
from functools import cache

import pytest
from frame_stream import CODEC, EPOCH, summary
from hypothesis import given
from hypothesis import strategies as st

from packcodec.base import Accepted, Base, Duplicate, Gap, Rejected, Why
from packcodec.base.account import WINDOW
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout

WORD_BITS = 64
# A power of two of words; the usable window is all of them but one at the least.
WORDS = 32


class CircularWindow:
    """RFC 6479, section 2: blocks are cleared as the window moves on, and nothing is shifted."""

    def __init__(self, size: int) -> None:
        self.size = size
        self.words = [0] * WORDS
        self.top = -1

    def check_and_update(self, number: int) -> str:
        if self.top - number >= self.size:
            return "behind"
        word, bit = divmod(number, WORD_BITS)
        if number > self.top:
            passed = min(word - self.top // WORD_BITS, WORDS)
            for step in range(1, passed + 1):
                self.words[(self.top // WORD_BITS + step) % WORDS] = 0
            self.top = number
        elif self.words[word % WORDS] >> bit & 1:
            return "copy"
        self.words[word % WORDS] |= 1 << bit
        return "new"


@cache
def codec() -> Codec:
    frame = replace(CODEC.schema.frame, sequence_bits=32)
    return Codec(compile_layout(replace(CODEC.schema, frame=frame, repair=None)))


@cache
def frame_of(counter: int) -> bytes:
    return codec().encode(summary(counter % 4000, 1), station=3, sequence=counter)


def verdict(base: Base, counter: int, at: int) -> str:
    events = base.heard(frame_of(counter), EPOCH + timedelta(seconds=at))
    [event] = [event for event in events if not isinstance(event, Gap)]
    match event:
        case Accepted():
            return "new"
        case Duplicate():
            return "copy"
        case Rejected(why=Why.REPLAY):
            return "behind"
    pytest.fail(f"{event}")


@given(
    steps=st.lists(st.integers(-WINDOW - 40, 300) | st.sampled_from([1, 1, 1, -WINDOW, 5000])),
    start=st.sampled_from([2000, 100_000]),
)
def test_every_verdict_is_the_same(steps: list[int], start: int) -> None:
    base, reference = Base([codec()]), CircularWindow(WINDOW)
    counter = start
    for at, step in enumerate([0, *steps]):
        number = max(0, counter + step)
        assert verdict(base, number, at) == reference.check_and_update(number), (at, number)
        counter = max(counter, number)


def test_the_edge_of_the_window_is_exact() -> None:
    base, reference = Base([codec()]), CircularWindow(WINDOW)
    for at, number in enumerate([5000, 5000 - WINDOW, 5000 - WINDOW + 1, 5000 - WINDOW + 1, 5001]):
        assert verdict(base, number, at) == reference.check_and_update(number)
    assert verdict(base, 5000 - WINDOW + 1, 9) == "behind"
