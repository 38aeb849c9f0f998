"""Source: U.S. Naval Observatory, Astronomical Applications Department, "Rise and Set for the Sun
for 2019", tables for N60 E000, S60 W150 and N80 E000 (universal time; public domain; copies of the
tables as served were read). The promise is two minutes.
"""

from datetime import date, datetime, timedelta

import pytest

from packcodec.radio.sun import daylight

# Month, day, rise, set, as printed.
N60_E000 = """
1 1 0902 1505   1 16 0847 1533   2 1 0815 1613   2 16 0736 1653   3 1 0659 1726   3 16 0615 1804
4 1 0526 1843   4 16 0442 1920   5 1 0359 1957   5 16 0321 2034   6 1 0250 2107   6 21 0236 2128
7 1 0242 2125   7 16 0305 2106   8 1 0340 2031   8 16 0416 1951   9 1 0454 1905   9 16 0529 1819
10 1 0605 1734  10 16 0641 1649  11 1 0721 1605  11 16 0800 1529  12 1 0834 1503  12 22 0902 1455
"""
S60_W150 = """
1 1 1243 0724   2 1 1357 0631   3 1 1512 0514   4 1 1629 0340   5 1 1741 0215   6 1 1847 0110
6 21 1906 0058  7 1 1904 0103   8 1 1815 0157   9 1 1651 0308   10 1 1521 0418  11 1 1350 0536
12 1 1243 0654  12 22 1232 0724
"""
N80_E000 = """
2 21 1120 1310  2 28 0915 1513  3 15 0641 1742  4 1 0358 2017   4 11 0146 2234  8 31 0103 2234
9 15 0422 1923  10 1 0641 1654  10 14 0851 1438 10 21 1103 1223
"""


def rows(table: str) -> list[tuple[int, int, str, str]]:
    cells = table.split()
    return [
        (int(month), int(day), rise, set_)
        for month, day, rise, set_ in zip(
            cells[0::4], cells[1::4], cells[2::4], cells[3::4], strict=True
        )
    ]


def minutes_apart(moment: datetime | None, printed: str) -> float:
    """Between a moment and a time of day, the shorter way around midnight."""
    assert moment is not None
    of_day = moment.hour * 60 + moment.minute + moment.second / 60
    apart = abs(of_day - (int(printed[:2]) * 60 + int(printed[2:])))
    return min(apart, 1440 - apart)


@pytest.mark.parametrize(
    ("table", "latitude_deg", "longitude_deg"),
    [(N60_E000, 60, 0), (S60_W150, -60, -150), (N80_E000, 80, 0)],
    ids=["N60 E000", "S60 W150", "N80 E000"],
)
def test_sunrise_and_sunset_are_the_almanacs_to_two_minutes(
    table: str, latitude_deg: float, longitude_deg: float
) -> None:
    for month, day, rise, set_ in rows(table):
        # The table's sunset at W150 belongs to the day before by local time: a minute or three.
        told = daylight(date(2019, month, day), latitude_deg, longitude_deg)
        earlier = daylight(
            date(2019, month, day) - timedelta(days=1 if longitude_deg < -90 else 0),
            latitude_deg,
            longitude_deg,
        )
        assert minutes_apart(told.sunrise, rise) <= 2, (month, day)
        assert minutes_apart(earlier.sunset, set_) <= 2, (month, day)


@pytest.mark.parametrize(
    ("month", "day", "hours"),
    [(2, 20, 0), (10, 22, 0), (12, 21, 0), (4, 14, 24), (6, 21, 24), (8, 29, 24)],
)
def test_polar_day_and_night_fall_on_the_almanacs_days(month: int, day: int, hours: int) -> None:
    told = daylight(date(2019, month, day), 80, 0)
    assert (told.sunrise, told.sunset, told.hours) == (None, None, hours)
