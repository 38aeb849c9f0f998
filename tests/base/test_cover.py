"""Stretches: one after the other, from the first counter to the last, without gap or overlap."""

from itertools import pairwise

from hypothesis import given
from hypothesis import strategies as st

from packcodec.base import Counted, State, stretches

KNOWN = (State.HEARD, State.RECOVERED, State.UNSENT, State.UNPROTECTED)


@given(
    st.dictionaries(
        st.integers(0, 80), st.tuples(st.sampled_from(KNOWN), st.booleans()), max_size=40
    )
)
def test_every_counter_is_in_exactly_one_stretch(known: dict[int, tuple[State, bool]]) -> None:
    counted = [Counted(at, *known[at]) for at in sorted(known)]
    found = list(stretches(counted))
    assert [at for each in found for at in range(each.first, each.end)] == (
        [*range(min(known), max(known) + 1)] if known else []
    )
    assert all(one.state != other.state for one, other in pairwise(found))
    for stretch in found:
        for at in range(stretch.first, stretch.end):
            if at in known:
                assert stretch.state == known[at][0]
            else:
                after = known[min(other for other in known if other > at)]
                assert stretch.state == (State.RESTART if after[1] else State.LOST)
