"""The fullest sliding window: against brute force, the ledger, and the counts people can check."""

from fractions import Fraction
from math import exp, factorial

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.budget.traffic import (
    DAY_S,
    HOUR_US,
    Expected,
    Logged,
    Random,
    Regular,
    Sent,
    poisson_bound,
)
from packcodec.errors import RadioError
from packcodec.radio.ledger import Ledger
from packcodec.radio.limits import WindowLimit

S = 1_000_000


def brute_fullest_us(emissions: list[tuple[int, int]], window_us: int) -> int:
    """The most time on air in any window, by trying every end at which the slope can change."""
    edges = {edge for start, length in emissions for edge in (start, start + length)}
    ends = edges | {edge + window_us for edge in edges}
    return max(
        sum(
            max(0, min(start + length, end) - max(start, end - window_us))
            for start, length in emissions
        )
        for end in ends
    )


def serial(sent: list[Sent], airtime_us: dict[int, int]) -> list[tuple[int, int]]:
    emissions: list[tuple[int, int]] = []
    for each in sorted(sent, key=lambda frame: frame.at_s):
        free_us = sum(emissions[-1]) if emissions else each.at_s * S
        emissions.append((max(each.at_s * S, free_us), airtime_us[each.frame_bytes]))
    return emissions


frames = st.lists(
    st.builds(
        Sent,
        station=st.just(1),
        at_s=st.integers(-20, 60),
        message=st.just("m"),
        frame_bytes=st.integers(1, 4),
    ),
    min_size=1,
    max_size=12,
)


@given(frames, st.integers(1, 40 * S), st.lists(st.integers(1, 9 * S), min_size=4, max_size=4))
def test_a_logs_fullest_window_is_the_brute_force_one(
    sent: list[Sent], window_us: int, airtimes: list[int]
) -> None:
    airtime_us = dict(enumerate(airtimes, start=1))
    fullest = Logged(tuple(sent)).fullest(window_us, lambda _, size: airtime_us[size or 1])
    assert fullest.used_us == brute_fullest_us(serial(sent, airtime_us), window_us)
    assert fullest.longest_us == max(airtime_us[each.frame_bytes] for each in sent)


def test_stations_do_not_share_a_window() -> None:
    log = Logged(tuple(Sent(station, 0, "m", 10) for station in range(5)))
    assert log.fullest(HOUR_US, lambda *_: S).used_us == S


def test_a_log_counts_station_days_with_a_frame() -> None:
    log = Logged((Sent(1, 0, "m", 10), Sent(1, DAY_S - 1, "m", 12), Sent(2, DAY_S, "m", 10)))
    assert log.station_days == 2
    assert log.per_day("m") == Fraction(3, 2)
    assert log.sizes("m") == {10: 2, 12: 1}


def test_an_empty_log_is_refused() -> None:
    with pytest.raises(RadioError, match="no frame"):
        Logged(())


@pytest.mark.parametrize(
    ("period_s", "watch_h", "a_day"),
    [(3600, 24, 24), (3600, 14, 14), (600, 24, 144), (DAY_S, 14, 1), (2 * DAY_S, 14, 0.5)],
)
def test_regular_frames_a_day(period_s: int, watch_h: int, a_day: float) -> None:
    assert Regular(period_s).per_day(watch_h * 3600) == a_day


def test_an_hour_of_hourly_frames_holds_two_when_one_is_late() -> None:
    assert Regular(3600).most_in(HOUR_US, DAY_S) == 2
    assert Regular(600).most_in(HOUR_US, DAY_S) == 7
    assert Regular(DAY_S).most_in(HOUR_US, DAY_S) == 1


@given(
    st.integers(60, 4000),
    st.lists(st.integers(0, 30), min_size=40, max_size=40),
    st.integers(1, 4 * 3600),
)
def test_late_regular_frames_stay_within_the_count(
    period_s: int, late_s: list[int], window_s: int
) -> None:
    """Each frame up to 30 s late: no window holds more than is planned for."""
    starts = [n * period_s + late for n, late in enumerate(late_s)]
    most = max(sum(start <= other < start + window_s for other in starts) for start in starts)
    planned = Regular(period_s).most_in(window_s * S, DAY_S)
    allowed = planned + (window_s % period_s > period_s - 30)
    assert most <= allowed


@pytest.mark.parametrize("mean", [0.0, 0.25, 3.0, 40.0])
def test_the_poisson_bound_is_the_least_that_holds(mean: float) -> None:
    def beyond(n: int) -> float:
        return 1 - sum(exp(-mean) * mean**k / factorial(k) for k in range(n + 1))

    bound = poisson_bound(mean, 1e-4)
    assert beyond(bound) <= 1e-4
    assert bound == 0 or beyond(bound - 1) > 1e-4


def test_random_frames_gather_in_the_watch() -> None:
    """Six a day in eight hours are as dense as eighteen in a day."""
    dense = Random(Fraction(6)).most_in(HOUR_US, 8 * 3600)
    assert dense == Random(Fraction(18)).most_in(HOUR_US, DAY_S)
    assert dense == poisson_bound(6 / 8, 1e-4)


def test_a_known_bound_replaces_the_guess() -> None:
    burst = Random(Fraction(6), most_per_hour=2)
    assert burst.most_in(HOUR_US, DAY_S) == 2
    assert burst.most_in(20 * S, DAY_S) == 2
    assert burst.most_in(3 * HOUR_US, DAY_S) == 6


def test_expected_rates_meet_in_one_window() -> None:
    traffic = Expected({"a": Regular(600), "b": Random(Fraction(6), 2), "c": Regular(DAY_S)})
    cost = {"a": 100, "b": 1000, "c": 10_000}
    fullest = traffic.fullest(HOUR_US, lambda name, _: cost[name])
    assert (fullest.used_us, fullest.frames, fullest.longest_us) == (
        700 + 2000 + 10_000,
        10,
        10_000,
    )


@given(st.integers(120, 7200), st.integers(0, 7199), st.integers(S // 10, 3 * S))
def test_a_ledger_never_makes_a_regular_plan_wait(
    period_s: int, phase_s: int, airtime_us: int
) -> None:
    """What the fullest window allows, the station's own account allows as well, at once."""
    traffic = Expected({"m": Regular(period_s), "daily": Regular(DAY_S)})
    fullest = traffic.fullest(HOUR_US, lambda *_: airtime_us)
    ledger = Ledger([WindowLimit("band", max(fullest.used_us, 1), HOUR_US)], 0)
    due_us = sorted([*(n * period_s * S for n in range(30)), phase_s * S])
    now_us = 0
    for ready_us in due_us:
        now_us = max(now_us, ready_us)
        assert ledger.earliest_start(airtime_us, now_us, ["band"]) == now_us
        ledger.record(now_us, airtime_us, ["band"])
        now_us += airtime_us


@pytest.mark.parametrize(
    "make",
    [
        lambda: Regular(0),
        lambda: Regular(400 * DAY_S),
        lambda: Random(Fraction(-1)),
        lambda: Random(Fraction(1), 0),
        lambda: Expected({}, 0),
        lambda: Expected({}, DAY_S + 1),
    ],
)
def test_a_rate_out_of_range_is_refused(make: object) -> None:
    with pytest.raises(RadioError):
        make()  # type: ignore[operator]
