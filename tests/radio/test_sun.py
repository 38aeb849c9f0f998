"""Daylight as a schedule: the season, the dateline, polar days, and astral not installed."""

import sys
from datetime import date, timedelta
from itertools import pairwise

import pytest

from packcodec.errors import MissingPartError, RadioError
from packcodec.radio.sun import daylight, season


def test_a_season_at_57_north_is_longest_at_midsummer() -> None:
    days = season(date(2027, 4, 1), date(2027, 9, 30), 57, -4)
    assert len(days) == 183
    longest = max(days, key=lambda told: told.hours)
    assert abs(longest.day - date(2027, 6, 21)) <= timedelta(days=1)
    assert longest.hours == pytest.approx(17.9, abs=0.1)


@pytest.mark.parametrize("longitude_deg", [-180, -179, -90, -1, 0, 1, 90, 179, 180])
def test_the_day_lies_around_the_places_own_noon(longitude_deg: float) -> None:
    told = daylight(date(2027, 3, 20), 57, longitude_deg)
    assert told.sunrise is not None
    assert told.sunset is not None
    middle = told.sunrise + (told.sunset - told.sunrise) / 2
    solar_noon_h = middle.hour + middle.minute / 60 + longitude_deg / 15
    # The equation of time: about −7.5 minutes in late March, so noon comes at 12:07.
    assert solar_noon_h % 24 == pytest.approx(12.12, abs=0.05)
    local_day = (middle + timedelta(hours=longitude_deg / 15)).date()
    assert local_day == date(2027, 3, 20)


def test_hours_change_without_a_jump_up_to_polar_day() -> None:
    hours = [told.hours for told in season(date(2027, 3, 1), date(2027, 6, 1), 70, 25)]
    assert hours == sorted(hours)
    assert hours[-1] == 24
    # The almanac jumps too: at 80° N from 21 h 37 min on 12 April 2019 to a sun that stays up.
    assert max(b - a for a, b in pairwise(hours)) < 1.5


@pytest.mark.parametrize(("latitude_deg", "hours"), [(90, 24), (-90, 0)])
def test_the_poles(latitude_deg: float, hours: float) -> None:
    assert daylight(date(2027, 6, 21), latitude_deg, 0).hours == hours


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "place"),
    [(91, 0, "latitude_deg"), (0, 181, "longitude_deg"), (float("nan"), 0, "latitude_deg")],
)
def test_a_place_not_on_earth_is_refused(
    latitude_deg: float, longitude_deg: float, place: str
) -> None:
    with pytest.raises(RadioError, match=place):
        daylight(date(2027, 6, 21), latitude_deg, longitude_deg)


def test_a_season_backwards_is_refused() -> None:
    with pytest.raises(RadioError, match="is no season; give a first day"):
        season(date(2027, 9, 30), date(2027, 4, 1), 57, -4)


def test_without_astral_one_line_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "astral", None)
    with pytest.raises(MissingPartError, match=r"pip install 'packcodec\[desk\]'"):
        daylight(date(2027, 6, 21), 57, -4)
