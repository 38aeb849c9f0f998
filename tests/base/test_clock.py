"""Clock offset and drift from reception times, against clocks whose error is known."""

from datetime import timedelta
from random import Random

import pytest
from frame_stream import EPOCH
from hypothesis import given
from hypothesis import strategies as st

from packcodec.base.clock import LEAST_POINTS, Clock, ClockError, ClockFit, clock_error


def heard(
    clock: Clock,
    *,
    offset_s: float,
    drift_ppm: float,
    days: range,
    seed: int = 1,
    longest_delay_s: float = 30,
) -> None:
    draw = Random(seed)
    for hour in range(24 * days.start, 24 * days.stop):
        true_s = 3600.0 * hour
        said_s = true_s * (1 + drift_ppm * 1e-6) - offset_s
        delay_s = 0.2 + draw.random() ** 2 * longest_delay_s
        said = EPOCH + timedelta(seconds=said_s)
        clock.heard("sighting", said, EPOCH + timedelta(seconds=true_s + delay_s))


def fit_of(clock: Clock) -> ClockFit:
    [fit] = clock.fits()
    return fit


@given(
    offset_s=st.floats(-4000, 4000),
    drift_ppm=st.floats(-40, 40),
    seed=st.integers(0, 2**32),
)
def test_a_known_error_is_found(offset_s: float, drift_ppm: float, seed: int) -> None:
    clock = Clock()
    heard(clock, offset_s=offset_s, drift_ppm=drift_ppm, days=range(0, 30), seed=seed)
    fit = fit_of(clock)
    assert fit.drift_ppm == pytest.approx(drift_ppm, abs=2)
    end_s = 86400.0 * 30
    said = EPOCH + timedelta(seconds=end_s * (1 + drift_ppm * 1e-6) - offset_s)
    error = (fit.corrected(said) - (EPOCH + timedelta(seconds=end_s))).total_seconds()
    assert abs(error - 0.2) < 5
    assert fit.jumps == 0


def test_the_line_never_runs_above_a_delay() -> None:
    clock = Clock()
    heard(clock, offset_s=10, drift_ppm=5, days=range(0, 10))
    fit = fit_of(clock)
    assert fit.uncertainty_s >= 0
    assert fit.points == 240


def test_a_clock_set_right_is_a_jump_and_starts_anew() -> None:
    clock = Clock()
    heard(clock, offset_s=7200, drift_ppm=3, days=range(0, 5))
    heard(clock, offset_s=0, drift_ppm=3, days=range(5, 10))
    fit = fit_of(clock)
    assert fit.jumps == 1
    assert fit.points == 120
    assert fit.offset_s < 10


def test_too_few_points_are_no_fit() -> None:
    clock = Clock()
    for hour in range(LEAST_POINTS - 1):
        clock.heard("sighting", EPOCH, EPOCH + timedelta(hours=hour))
    assert clock.fits() == []


def test_minutes_are_too_short_for_a_fit() -> None:
    clock = Clock()
    for minute in range(200):
        when = EPOCH + timedelta(minutes=minute)
        clock.heard("sighting", when, when + timedelta(seconds=1))
    assert clock.fits() == []


def fit(message: str, offset_s: float) -> ClockFit:
    return ClockFit(message, EPOCH, offset_s, 0.0, 5.0, 100, 0)


def test_only_what_goes_at_once_tells_the_clock_s_error() -> None:
    fits = [fit("health", 700), fit("summary", 4250), fit("summaries", 3000), fit("own", -50)]
    error = clock_error(fits, 3600)
    assert error == ClockError(EPOCH, 650, 0.0, 65)
    assert error.correction_s(86400) == 650
    assert clock_error(fits, None) == ClockError(EPOCH, 700, 0.0, 65)
    assert clock_error(fits[2:], 3600) is None


def test_a_clock_that_may_be_right_is_not_put_right() -> None:
    error = ClockError(EPOCH, 0.0, 10, 65)
    assert error.correction_s(6e6) is None
    assert error.correction_s(7e6) == pytest.approx(-70)


def test_a_record_without_a_time_says_nothing() -> None:
    clock = Clock()
    clock.heard("sighting", None, EPOCH)
    assert clock.fits() == []
