"""The shared channel: loss by stations, the most stations, and jitter against a simulation."""

import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from packcodec.errors import RadioError
from packcodec.radio.channel import STATIONS_MOST, frame_loss, jitter_us, most_stations

TEN_MINUTES_US = 600_000_000


@pytest.mark.parametrize(
    ("airtime_us", "stations", "kept"),
    [
        (205_824, 10, 0.9938),
        (205_824, 50, 0.9669),
        (205_824, 100, 0.9343),
        (205_824, 500, 0.7101),
        (1_482_752, 10, 0.9565),
        (1_482_752, 50, 0.7849),
        (1_482_752, 100, 0.6131),
    ],
)
def test_25_octets_every_ten_minutes_at_sf9_and_sf12(
    airtime_us: int, stations: int, kept: float
) -> None:
    loss = frame_loss(stations, airtime_us, TEN_MINUTES_US)
    assert 1 - loss == pytest.approx(kept, abs=0.00005)


def test_a_station_alone_loses_nothing() -> None:
    assert frame_loss(1, 205_824, TEN_MINUTES_US) == 0


@given(
    loss=st.floats(0, 0.99),
    airtime_us=st.integers(1_000, 3_000_000),
    period_us=st.integers(3_000_000, 10**10),
    channels=st.integers(1, 64),
)
def test_one_station_more_than_the_most_is_too_many(
    loss: float, airtime_us: int, period_us: int, channels: int
) -> None:
    most = most_stations(loss, airtime_us, period_us, channels=channels)
    assume(most < STATIONS_MOST)
    assert most >= 1
    assert frame_loss(most, airtime_us, period_us, channels=channels) <= loss
    assert frame_loss(most + 1, airtime_us, period_us, channels=channels) > loss


def test_twice_the_channels_carry_twice_the_rivals() -> None:
    one = frame_loss(51, 205_824, TEN_MINUTES_US)
    assert frame_loss(101, 205_824, TEN_MINUTES_US, channels=2) == pytest.approx(one)


def test_the_jitter_keeps_simultaneous_wakers_to_the_loss_asked_for() -> None:
    airtime, stations, asked = 200_000, 20, 0.1
    span = jitter_us(stations, airtime, asked)
    draw = random.Random(4)
    lost = 0
    rounds = 3_000
    for _ in range(rounds):
        first, *others = (draw.randrange(span) for _ in range(stations))
        lost += any(abs(first - other) < airtime for other in others)
    # The edges of the span, where rivals are on one side only, make it a little better still.
    assert asked * 0.8 < lost / rounds < asked * 1.1


def test_jitter_is_never_below_ten_airtimes() -> None:
    assert jitter_us(1, 100, 0.5) == 1_000
    assert jitter_us(2, 100, 0.99) == 1_000


@pytest.mark.parametrize(
    ("stations", "airtime_us", "period_us", "place"),
    [(0, 1, 1, "stations"), (2, 0, 1, "airtime_us"), (2, 10, 9, "period_us")],
)
def test_figures_out_of_range_are_named(
    stations: int, airtime_us: int, period_us: int, place: str
) -> None:
    with pytest.raises(RadioError, match=place):
        frame_loss(stations, airtime_us, period_us)


def test_a_million_stations_is_the_most_that_is_counted() -> None:
    """Beyond it figures lose their meaning, and a float its last digit."""
    assert most_stations(0.999, 1, 10**15) == STATIONS_MOST
    assert jitter_us(STATIONS_MOST, 100_000, 0.01) > 10**9
    for stations in (STATIONS_MOST + 1, 10**26, 10**400):
        with pytest.raises(RadioError, match="stations"):
            jitter_us(stations, 100_000, 0.01)
