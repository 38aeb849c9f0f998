"""A summariser taken up again after a cut says what one that never stopped would have said."""

import json
from typing import Any

from hypothesis import given
from hypothesis import strategies as st
from small_schema import at, codec_of, saw

from packcodec.codec.record import Record
from packcodec.monitor import Summariser

CODEC = codec_of()
LABELS = ("otter", "coot", "teal", "walker", "human", "heron", "nobody")
EVENTS = st.lists(
    st.tuples(st.integers(0, 40), st.sampled_from(LABELS), st.integers(1, 9), st.booleans()),
    max_size=40,
)


def told(events: list[tuple[int, str, int, bool]], cuts: set[int]) -> list[Record]:
    """The records of events so many minutes apart, the power cut before some of them."""
    summariser, minute, records = Summariser(CODEC, 1), 0, list[Record]()
    for number, (later, label, individuals, watched) in enumerate(events):
        if number in cuts:
            kept: dict[str, Any] = json.loads(json.dumps(summariser.kept()))
            summariser = Summariser(CODEC, 1)
            records += summariser.resume(kept)
        before, minute = minute, minute + later
        clock = f"{minute // 60}:{minute % 60}"
        if watched and later:
            records += summariser.watching(at(f"{before // 60}:{before % 60}"), at(clock))
        records += summariser.seen(saw(clock, label, individuals))
    return records + summariser.close()


@given(EVENTS, st.sets(st.integers(0, 40), max_size=5))
def test_a_cut_changes_nothing(events: list[tuple[int, str, int, bool]], cuts: set[int]) -> None:
    assert told(events, cuts) == told(events, set())


def test_what_is_kept_of_people_is_nothing_but_what_the_schema_counts() -> None:
    summariser = Summariser(CODEC, 1)
    summariser.seen(saw("06:00", "human", 3))
    nothing = summariser.kept()
    assert nothing["season"] == {}
    assert nothing["open"] is None
    summariser.seen(saw("06:00", "walker", 3))
    assert summariser.kept()["open"]["counts"] == {"people": 1}
