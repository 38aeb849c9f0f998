"""Visits, rates, and rates by hour."""

from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.dataset.activity import CIRCLE, angle, concentration, overlap, rate_by_hour
from packcodec.dataset.diversity import accumulation, hill
from packcodec.dataset.rates import Seen, independent, rate, resampled
from packcodec.errors import LogError

START = datetime(2027, 4, 2, tzinfo=UTC)


def seen(*minutes: float, species: str = "otter", deployment: str = "1") -> list[Seen]:
    times = [START + timedelta(minutes=each) for each in minutes]
    return [Seen(deployment, species, at, at) for at in times]


def test_exactly_the_interval_starts_a_new_visit() -> None:
    assert len(independent(seen(0, 30), 1800)) == 2
    assert len(independent(seen(0, 29.99), 1800)) == 1


def test_a_herd_that_stays_is_one_visit() -> None:
    (visit,) = independent(seen(*range(0, 121, 20)), 1800)
    assert visit.end - visit.start == timedelta(hours=2)


def test_species_and_stations_do_not_extend_each_others_visits() -> None:
    mixed = [*seen(0, 40), *seen(20, species="coot"), *seen(20, deployment="2")]
    assert len(independent(mixed, 1800)) == 4


@given(st.lists(st.integers(0, 2000), max_size=40), st.integers(1, 100))
def test_order_does_not_matter_and_visits_are_apart(minutes: list[int], apart: int) -> None:
    visits = independent(seen(*minutes), apart * 60)
    assert visits == independent(seen(*reversed(minutes)), apart * 60)
    for one, other in pairwise(visits):
        assert other.start - one.end >= timedelta(minutes=apart)
    assert len(visits) <= len(set(minutes))


def test_a_rate_is_per_100_days_of_24_hours_watched() -> None:
    found = rate([1, 0, 2], [43200, 43200, 86400], seed=1)
    assert found is not None
    assert (found.visits, found.per_100_days) == (3, 150)


def test_the_interval_is_the_same_for_the_same_seed_and_widens_with_fewer_days() -> None:
    many = rate([0, 1] * 50, [86400] * 100, seed=7)
    few = rate([0, 1] * 5, [86400] * 10, seed=7)
    assert many == rate([0, 1] * 50, [86400] * 100, seed=7)
    assert many is not None
    assert few is not None
    assert few.high - few.low > many.high - many.low > 0


def test_the_interval_covers_the_truth_about_as_often_as_it_says() -> None:
    rng = np.random.default_rng(20270401)
    covered = 0
    for trial in range(200):
        days = rng.poisson(1.0, 60)
        found = rate([int(each) for each in days], [86400] * 60, seed=trial)
        assert found is not None
        covered += found.low <= 100 <= found.high
    assert 178 <= covered <= 199  # 95 % of 200 is 190; four standard deviations either way


def test_days_not_watched_do_not_count_and_nothing_watched_has_no_rate() -> None:
    assert rate([0, 3], [0, 0], seed=1) is None
    found = rate([5, 1], [0, 86400], seed=1)
    assert found is not None
    assert (found.visits, found.low, found.high) == (1, 100, 100)


def test_visits_and_effort_go_together() -> None:
    with pytest.raises(LogError, match="2 days of visits and 1 of effort"):
        rate([1, 2], [86400], seed=1)


def test_a_time_of_day_is_by_the_sun() -> None:
    noon = datetime(2027, 4, 2, 12, tzinfo=UTC)
    assert angle(noon, 0) == pytest.approx(np.pi)
    assert angle(noon, 90) == pytest.approx(1.5 * np.pi)
    assert angle(noon, -180) == pytest.approx(0)


def test_twice_the_effort_at_an_hour_halves_its_rate() -> None:
    times = np.linspace(0, CIRCLE, 480, endpoint=False)
    watched = np.where(np.arange(24) < 12, 20.0, 10.0)
    morning, evening = rate_by_hour([np.pi / 2, 1.5 * np.pi], times, watched, nu=200)
    # 20 visits in each hour of the day over 20 and over 10 hours watched.
    assert morning == pytest.approx(1, rel=0.02)
    assert evening == pytest.approx(2, rel=0.02)


def test_an_hour_that_was_not_watched_has_no_rate() -> None:
    watched = np.where(np.arange(24) < 12, 20.0, 0.0)
    day, night = rate_by_hour([np.pi / 2, 1.5 * np.pi], [1.5, 1.6], watched, nu=100)
    assert day > 0
    assert np.isnan(night)


def test_one_time_gives_no_density() -> None:
    with pytest.raises(LogError, match="give 2 or more"):
        concentration([1.0])


def test_an_estimate_lies_in_its_interval_and_repeats() -> None:
    rng = np.random.default_rng(1)
    one, other = rng.vonmises(0, 2, 60), rng.vonmises(1, 2, 60)
    found = resampled(overlap, one, other, seed=3, resamples=99)
    assert found == resampled(overlap, one, other, seed=3, resamples=99)
    assert found.low < found.value < found.high
    mean = resampled(np.mean, list(range(100)), seed=1)
    # The standard error of that mean is 100 / sqrt(12 * 100) = 2.89.
    assert mean.value == 49.5
    assert mean.high - mean.low == pytest.approx(2 * 1.96 * 2.89, rel=0.1)


def test_an_empty_sample_has_no_interval() -> None:
    with pytest.raises(LogError, match="a sample is empty"):
        resampled(np.mean, [], seed=1)


@given(st.integers(1, 60), st.sampled_from([0, 0.5, 1, 2, 3]))
def test_species_equally_common_count_fully(k: int, order: float) -> None:
    assert hill([7] * k, order) == pytest.approx(k)


def test_no_counts_have_no_diversity() -> None:
    with pytest.raises(LogError):
        hill([0, 0], 1)


def test_a_long_season_does_not_overflow() -> None:
    days = [{"common"} | ({"rare"} if n == 700 else set()) for n in range(2000)]
    expected = accumulation(days)
    assert expected[-1] == pytest.approx(2)
    assert expected[0] == pytest.approx(1 + 1 / 2000)
    assert expected == sorted(expected)
