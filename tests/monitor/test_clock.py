"""Which clock is believed: boots in 1970 and 2000, jumps, drift, and a night without power."""

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_schema import EPOCH, at

from packcodec.monitor import Clock, Reading
from packcodec.monitor.clock import FURTHEST, SLACK, mono_of, when

HOUR_US = 3_600_000_000
NONE = timedelta()


def started(wall: datetime, known: datetime | None = None, **options: bool) -> Clock:
    clock = Clock(EPOCH, known, **options)
    clock.read(Reading(wall, 0))
    return clock


@pytest.mark.parametrize("year", [1970, 2000, 2026])
def test_a_clock_before_the_epoch_is_not_believed_until_it_is_set(year: int) -> None:
    clock = started(datetime(year, 1, 1, tzinfo=UTC))
    assert not clock.trusted
    assert clock.read(Reading(datetime(year, 1, 1, 1, tzinfo=UTC), HOUR_US)) == NONE
    assert not clock.trusted
    step = clock.read(Reading(at("09:00"), 2 * HOUR_US))
    assert clock.trusted
    assert step == at("09:00") - datetime(year, 1, 1, 2, tzinfo=UTC)


def test_a_clock_that_ran_on_through_the_night_is_believed() -> None:
    assert started(at("05:00", 1), known=at("20:00")).trusted


def test_a_clock_that_went_back_over_night_is_not() -> None:
    assert not started(at("08:00"), known=at("20:00")).trusted
    assert started(at("20:00") - SLACK, known=at("20:00")).trusted


def test_a_clock_absurdly_far_on_is_not_and_an_attestation_says_otherwise() -> None:
    later = at("20:00") + FURTHEST + timedelta(hours=1)
    clock = started(later, known=at("20:00"))
    assert not clock.trusted
    clock.read(Reading(later, 1, attested=True))
    assert clock.trusted
    assert clock.known == later


def test_a_station_set_out_long_after_its_schemas_epoch_believes_its_clock() -> None:
    assert started(at("08:00", 4000)).trusted


def test_a_denied_clock_is_not_believed_whatever_it_shows() -> None:
    clock = started(at("08:00"))
    clock.read(Reading(at("08:00"), 1, attested=False))
    assert not clock.trusted
    assert clock.known == at("08:00")


def test_an_attestation_frees_a_clock_that_had_been_set_far_ahead() -> None:
    clock = started(at("08:00", 300))
    assert clock.known == at("08:00", 300)
    clock.read(Reading(at("08:00"), 1, attested=True))
    assert clock.known == at("08:00")
    clock.read(Reading(at("08:00"), 2))
    assert clock.trusted


def test_a_clock_that_stands_still_without_power_waits_to_be_set() -> None:
    clock = started(at("20:00"), known=at("20:00"), keeps_time=False)
    assert not clock.trusted
    clock.read(Reading(at("21:00"), HOUR_US))
    assert not clock.trusted
    assert clock.read(Reading(at("05:00", 1), HOUR_US)) == timedelta(hours=8)
    assert clock.trusted


@given(st.lists(st.tuples(st.integers(0, 10**11), st.floats(-1e-4, 1e-4)), max_size=20))
def test_drift_is_no_step(run: list[tuple[int, float]]) -> None:
    clock, wall, mono = started(at("08:00")), at("08:00"), 0
    for step_us, rate in run:
        mono += step_us
        wall += timedelta(microseconds=round(step_us * (1 + rate)))
        assert clock.read(Reading(wall, mono)) == NONE
        assert clock.trusted


@given(st.integers(0, 10**11), st.integers(3, 10**6), st.booleans())
def test_a_step_is_told_to_the_second(run_us: int, step_s: int, back: bool) -> None:
    step = timedelta(seconds=-step_s if back else step_s) + timedelta(
        microseconds=run_us // 1000 * (-1 if back else 1)
    )
    clock = started(at("08:00"))
    wall = at("08:00") + timedelta(microseconds=run_us) + step
    assert clock.read(Reading(wall, run_us)) == step


def test_an_instant_keeps_its_place_on_the_monotonic_clock() -> None:
    now = Reading(at("08:00"), HOUR_US)
    assert mono_of(at("07:30"), now) == HOUR_US // 2
    after_setting = Reading(at("09:00", 3), 2 * HOUR_US)
    assert when(HOUR_US // 2, after_setting) == at("07:30", 3)
