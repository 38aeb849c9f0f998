"""Path loss, sensitivity and margin: shapes that must hold, and ranges that are refused."""

from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.errors import RadioError
from packcodec.radio.chips import find_chip
from packcodec.radio.propagation import (
    egli_db,
    free_space_db,
    link_margin,
    sensitivity,
    two_ray_db,
    weissberger_db,
    woodland_db,
)


@given(distance_m=st.floats(1, 50_000), factor=st.floats(1.001, 10))
def test_farther_is_never_louder(distance_m: float, factor: float) -> None:
    for loss in (
        lambda d: free_space_db(868e6, d),
        lambda d: two_ray_db(868e6, d, 10, 2),
        lambda d: woodland_db(868e6, d),
    ):
        assert loss(distance_m * factor) >= loss(distance_m)


def test_two_ray_is_free_space_near_and_the_fourth_power_far() -> None:
    assert two_ray_db(868e6, 20, 2, 2) == free_space_db(868e6, 20)
    assert two_ray_db(868e6, 5_000, 10, 2) == pytest.approx(121.9, abs=0.1)
    far = two_ray_db(868e6, 10_000, 2, 2) - two_ray_db(868e6, 1_000, 2, 2)
    assert far == pytest.approx(40)


@pytest.mark.parametrize(
    ("depth_m", "loss_db"), [(10, 1.57), (50, 6.88), (100, 11.74), (200, 17.61), (1_000, 23.47)]
)
def test_woodland_at_868_mhz_saturates(depth_m: float, loss_db: float) -> None:
    assert woodland_db(868e6, depth_m) == pytest.approx(loss_db, abs=0.02)


@pytest.mark.parametrize(
    ("depth_m", "loss_db"), [(10, 4.32), (14, 6.05), (50, 12.75), (100, 19.16), (400, 43.29)]
)
def test_weissberger_at_868_mhz(depth_m: float, loss_db: float) -> None:
    assert weissberger_db(868e6, depth_m) == pytest.approx(loss_db, abs=0.005)


@pytest.mark.parametrize(
    ("call", "problem"),
    [
        (lambda: weissberger_db(868e6, 401), "depth_m: 401 is out of range; give 0 to 400"),
        (lambda: weissberger_db(868, 100), "frequency_hz: 868 is out of range"),
        (lambda: woodland_db(2.4e9, 100), "frequency_hz"),
        (lambda: woodland_db(868e6, -1), "depth_m: -1 is out of range; give at least 0"),
        (lambda: free_space_db(868e6, 0), "distance_m"),
        (lambda: egli_db(868e6, 500, 10, 2), "distance_m"),
        (lambda: two_ray_db(868e6, 500, 0, 2), "transmitter_m"),
        (lambda: sensitivity(13, 125_000), "there is no SF13; give 5 to 12"),
        (lambda: sensitivity(7, 0), "bandwidth_hz"),
        (lambda: link_margin(14, -1, -137), "path_loss_db"),
    ],
)
def test_outside_a_models_range_there_is_no_answer(
    call: Callable[[], object], problem: str
) -> None:
    with pytest.raises(RadioError, match=problem):
        call()


def test_sensitivity_falls_back_to_the_model_and_says_so() -> None:
    told = sensitivity(9, 125_000, chip=find_chip("SX1262"))
    assert told == sensitivity(9, 125_000)
    assert told.source.startswith("model: noise figure 6 dB")
    assert "secondary" in sensitivity(9, 125_000, chip=find_chip("SX1276")).source


def test_a_link_closes_by_what_the_fade_leaves() -> None:
    loss_db = free_space_db(868e6, 5_000) + woodland_db(868e6, 200)
    margin = link_margin(
        14,
        loss_db,
        -137,
        transmitter_gain_dbi=2,
        receiver_gain_dbi=5,
        cable_loss_db=1,
        fade_margin_db=20,
    )
    assert margin.received_dbm == pytest.approx(14 + 2 + 5 - 1 - loss_db)
    assert margin.margin_db == pytest.approx(margin.received_dbm + 137)
    assert margin.spare_db == pytest.approx(margin.margin_db - 20)
    assert margin.closes
    assert not link_margin(14, 160, -137).closes
    assert link_margin(0, 100, -110, fade_margin_db=10).closes
