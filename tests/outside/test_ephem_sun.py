"""Source: the library ephem (XEphem's astronomy, independent of astral), with the almanacs' horizon
of −34 minutes of arc for the upper limb.
"""

from datetime import UTC, date, datetime, timedelta

import ephem
import pytest

from packcodec.radio.sun import season


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg"),
    [(57, -4), (0, 0), (-35, 149), (65, 25), (60, 170), (60, -170), (40, 180), (-50, -90)],
)
def test_every_week_of_a_year_agrees_to_half_a_minute(
    latitude_deg: float, longitude_deg: float
) -> None:
    place = ephem.Observer()
    place.lat, place.lon = str(latitude_deg), str(longitude_deg)
    place.pressure, place.horizon = 0, "-0:34"
    for told in season(date(2027, 1, 1), date(2027, 12, 31), latitude_deg, longitude_deg)[::7]:
        noon = datetime(told.day.year, told.day.month, told.day.day, 12)
        place.date = noon - timedelta(minutes=4 * longitude_deg)
        rise = place.previous_rising(ephem.Sun()).datetime().replace(tzinfo=UTC)
        set_ = place.next_setting(ephem.Sun()).datetime().replace(tzinfo=UTC)
        assert told.sunrise is not None
        assert told.sunset is not None
        assert abs((told.sunrise - rise).total_seconds()) < 30
        assert abs((told.sunset - set_).total_seconds()) < 30
        assert told.hours == pytest.approx((set_ - rise).total_seconds() / 3600, abs=1 / 60)
