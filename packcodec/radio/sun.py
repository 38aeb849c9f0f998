"""Sunrise, sunset and the hours of daylight, for monitors that sleep at night.

By the library astral (NOAA's equations, 1901 to 2099; sea-level horizon). Trees and hills take
their part of the light: a clearing wakes later than the almanac says.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from importlib import import_module
from typing import Any, Literal, TypeAlias

from packcodec.errors import MissingPartError, RadioError
from packcodec.radio.quantity import checked

# 34 minutes of arc of refraction and 16 of half the sun's disc: the almanacs' horizon.
RISEN_ZENITH_DEG = 90 + 50 / 60
LONGEST_SEASON_DAYS = 3_660
MINUTES_A_DAY = 1_440

Event: TypeAlias = Literal["RISING", "SETTING"]


@dataclass(frozen=True, slots=True)
class Daylight:
    """One day by mean solar time at the place. Instants are in UTC.

    `sunrise` and `sunset` are None on a day without them: 24 hours of polar day, 0 of polar night.
    """

    day: date
    sunrise: datetime | None
    sunset: datetime | None
    hours: float


def daylight(day: date, latitude_deg: float, longitude_deg: float) -> Daylight:
    """The daylight of one day at a place (north and east positive, degrees).

    On the few days next to polar day on which the sun sets after midnight, it is taken to stay
    up. Raises RadioError out of range, MissingPartError without astral.
    """
    checked("latitude_deg", latitude_deg, -90, 90)
    checked("longitude_deg", longitude_deg, -180, 180)
    checked("year", day.year, 1901, 2099)
    rising = _minutes(day, latitude_deg, longitude_deg, "RISING")
    setting = _minutes(day, latitude_deg, longitude_deg, "SETTING")
    if rising is None or setting is None or setting > MINUTES_A_DAY or rising < 0:
        up = _risen_at_noon(day, latitude_deg)
        return Daylight(day, None, None, 24.0 if up else 0.0)
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    midnight -= timedelta(minutes=MINUTES_A_DAY * longitude_deg / 360)
    return Daylight(
        day,
        midnight + timedelta(minutes=rising),
        midnight + timedelta(minutes=setting),
        (setting - rising) / 60,
    )


def season(
    first: date, last: date, latitude_deg: float, longitude_deg: float
) -> tuple[Daylight, ...]:
    """The daylight of every day from `first` to `last`, both included.

    Raises RadioError where `last` is before `first` or more than ten years after it.
    """
    if not 0 <= (last - first).days < LONGEST_SEASON_DAYS:
        raise RadioError(
            f"{first} to {last} is no season",
            place="season",
            remedy=f"give a first day, then a last one at most {LONGEST_SEASON_DAYS} days on",
        )
    return tuple(daylight(day, latitude_deg, longitude_deg) for day in _days(first, last))


def _days(first: date, last: date) -> Iterator[date]:
    for offset in range((last - first).days + 1):
        yield first + timedelta(days=offset)


def _minutes(day: date, latitude_deg: float, longitude_deg: float, event: Event) -> float | None:
    """Minutes of mean solar time at which the sun rises or sets, None where it does not.

    Worked out at longitude 0, where no event wraps around midnight, for this day and for the next
    or the one before: a place at longitude L has its day L/360 of a day earlier.
    """
    today = _minutes_at_zero(day, latitude_deg, event)
    nearby_day = day - timedelta(days=1 if longitude_deg > 0 else -1)
    nearby = _minutes_at_zero(nearby_day, latitude_deg, event)
    if today is None or nearby is None:
        return today
    return today + (nearby - today) * abs(longitude_deg) / 360


def _minutes_at_zero(day: date, latitude_deg: float, event: Event) -> float | None:
    astral, sun = _part("astral"), _part("astral.sun")
    observer = astral.Observer(latitude_deg, 0.0, 0.0)
    direction = astral.SunDirection[event]
    try:
        moment = sun.time_of_transit(observer, day, RISEN_ZENITH_DEG, direction, False)
    except ValueError:
        return None
    midnight = datetime(day.year, day.month, day.day, tzinfo=UTC)
    return float((moment - midnight).total_seconds() / 60)


def _risen_at_noon(day: date, latitude_deg: float) -> bool:
    astral, sun = _part("astral"), _part("astral.sun")
    observer = astral.Observer(latitude_deg, 0.0, 0.0)
    zenith = sun.zenith(observer, sun.noon(observer, day), with_refraction=False)
    return bool(zenith < RISEN_ZENITH_DEG)


def _part(name: str) -> Any:
    try:
        return import_module(name)
    except ModuleNotFoundError:
        raise MissingPartError(
            "sunrise and sunset need astral", remedy="pip install 'packcodec[desk]'"
        ) from None
