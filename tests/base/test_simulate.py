"""The simulator: its loss models lose what they say, and its code gives nothing wrong."""

from itertools import pairwise
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from packcodec.base.simulate import (
    asked,
    bound,
    bursts,
    coded,
    independent,
    losses,
    outage,
    plain,
    repeated,
)
from packcodec.layout.model import RepairLayout
from packcodec.schema import Repair

DEFAULT = RepairLayout(Repair(("summary",)), 6, 13, 10)


@pytest.mark.parametrize("loss", [0.1, 0.3])
def test_the_models_lose_the_share_they_are_told(loss: float) -> None:
    for model in (
        independent(loss, Random(1).random),
        bursts(loss, 4, Random(1).random),
        bursts(loss, 12, Random(1).random),
    ):
        assert plain(losses(model, 40_000)).share == pytest.approx(1 - loss, abs=0.02)


def test_bad_spells_are_as_long_as_they_are_told() -> None:
    lost = losses(bursts(0.2, 12, Random(2).random), 60_000)
    starts = sum(now and not before for before, now in pairwise(lost))
    assert sum(lost) / starts == pytest.approx(12, rel=0.1)


def test_an_outage_is_whole() -> None:
    lost = losses(outage(0, 24, 100, Random(1).random), 300)
    assert [at for at, gone in enumerate(lost) if gone] == [*range(100, 124), *range(200, 224)]


def test_repetition_and_the_bound() -> None:
    lost = [False, True, False, True, True, False]
    assert repeated(lost, 1).delivered == 5
    assert repeated(lost, 2).delivered == 4
    assert bound(lost, 1 / 2).delivered == 6
    assert bound(lost, 1).delivered == 3
    assert repeated(lost, 1).delay(0.5) == 0


@settings(max_examples=20)
@given(
    seed=st.integers(0, 2**32),
    loss=st.floats(0, 0.7),
    turn=st.sampled_from([(1, 1), (2, 1), (4, 3)]),
)
def test_the_code_gives_no_less_than_was_heard_and_nothing_wrong(
    seed: int, loss: float, turn: tuple[int, int]
) -> None:
    repair = RepairLayout(Repair(("summary",), None, 8, 2, *turn), 4, 5, 10)
    lost = losses(independent(loss, Random(seed).random), 300)
    outcome = coded(repair, lost, Random(seed).random)
    assert plain(lost).delivered <= outcome.delivered <= 300
    assert outcome.wrong == 0


@settings(max_examples=20)
@given(seed=st.integers(0, 2**32), loss=st.floats(0, 0.6), coding=st.booleans())
def test_asking_gives_no_less_than_was_heard_and_nothing_wrong(
    seed: int, loss: float, coding: bool
) -> None:
    repair = RepairLayout(Repair(("summary",), None, 8, 2, 1), 4, 5, 10)
    lost = losses(independent(loss, Random(seed).random), 300)
    code = (repair, Random(seed).random) if coding else None
    deaf = asked(lost, independent(1, Random(seed).random), 24, 51, code)
    assert (
        deaf.delivered
        == (coded(repair, lost, Random(seed).random) if code else plain(lost)).delivered
    )
    assert deaf.again == 0
    code = (repair, Random(seed).random) if coding else None
    outcome = asked(lost, independent(loss, Random(seed + 1).random), 24, 51, code)
    assert deaf.delivered <= outcome.delivered <= 300
    # With the code, one that comes again may be what another one was solved by.
    assert coding or outcome.delivered - deaf.delivered <= outcome.again
    assert outcome.wrong == 0
    assert len(outcome.delays) == outcome.delivered


def test_asking_gets_back_all_but_the_last_days_and_costs_what_is_sent_again() -> None:
    lost = losses(independent(0.2, Random(3).random), 24 * 200)
    lost += [False] * 24 * 5
    outcome = asked(lost, independent(0.2, Random(4).random), 24, 51)
    assert outcome.delivered == len(lost)
    # Each lost frame goes again until it comes: 1/(1 - loss) times.
    assert outcome.again == pytest.approx(sum(lost) / 0.8, rel=0.05)
    assert 12 < outcome.delay(0.95) < 96


def test_the_one_before_the_highest_is_asked_for_as_well() -> None:
    outcome = asked([False, True, False, False], independent(0, Random(1).random), 3, 51)
    assert (outcome.delivered, outcome.again) == (4, 1)


def test_a_short_list_asks_for_less() -> None:
    lost = losses(independent(0.3, Random(3).random), 24 * 60)
    shares = [
        asked(lost, independent(0, Random(4).random), 24, most).share for most in (11, 14, 51)
    ]
    assert plain(lost).share < shares[0] < shares[1] < shares[2]


@pytest.mark.parametrize(
    ("loss", "mean", "least"),
    [(0.2, None, 0.9995), (0.3, None, 0.999), (0.2, 4, 0.998), (0.3, 4, 0.99)],
)
def test_the_default_code_delivers(loss: float, mean: float | None, least: float) -> None:
    """The last span is left out of the count: what follows it could still win it back."""
    draw = Random(7).random
    model = independent(loss, draw) if mean is None else bursts(loss, mean, draw)
    lost = losses(model, 12_000)
    lost += [False] * DEFAULT.repair.span
    outcome = coded(DEFAULT, lost, Random(1).random)
    assert (outcome.delivered - DEFAULT.repair.span) / 12_000 >= least
    assert outcome.wrong == 0
