"""Rates and intervals as people write them: 10min, 1h, 3/day, 3/day,5/hour."""

import re
from collections.abc import Callable, Iterable
from fractions import Fraction
from typing import Any

from packcodec.budget.traffic import DAY_S, Random, Rate, Regular
from packcodec.errors import RadioError
from packcodec.monitor.vocabulary import HEALTH, SIGHTING, SUMMARY
from packcodec.schema.model import Schema
from packcodec.schema.remedy import decimal, nearest

UNITS_S = {"s": 1, "min": 60, "h": 3600, "d": DAY_S}
PER_DAY = {"day": 1, "hour": 24}
SIGHTINGS_PER_DAY = 6

_INTERVAL = re.compile(r"(\d{1,9})\s*(s|min|h|d)")
_RATE = re.compile(r"(\d{1,12}(?:\.\d{1,6})?)/(day|hour)")
_BOUND = re.compile(r"(\d{1,12})/hour")


def read_interval(text: str, place: str) -> int:
    """An interval in whole seconds; RadioError naming `place`."""
    found = _INTERVAL.fullmatch(text.strip())
    if found is None:
        raise RadioError(
            f"{text!r} is no interval", place=place, remedy="write it as 30s, 10min, 1h or 1d"
        )
    return int(found[1]) * UNITS_S[found[2]]


def read_rate(text: str, place: str) -> Rate:
    """An interval for what is sent regularly; so many a day, and at most so many an hour, for what
    comes at random. RadioError naming `place`."""
    if _INTERVAL.fullmatch(text.strip()):
        return _placed(place, Regular, read_interval(text, place))
    rate, _, bound = text.partition(",")
    found, most = _RATE.fullmatch(rate.strip()), _BOUND.fullmatch(bound.strip())
    if found is None or (bound and most is None):
        raise RadioError(
            f"{text!r} is no rate",
            place=place,
            remedy="write it as 10min, 3/day, or 3/day,5/hour (at most 5 in an hour)",
        )
    return _placed(
        place,
        Random,
        Fraction(found[1]) * PER_DAY[found[2]],
        None if most is None else int(most[1]),
    )


def _placed(place: str, make: Callable[..., Rate], *figures: Any) -> Rate:
    """A rate of those figures; a refusal names `place`."""
    try:
        return make(*figures)
    except RadioError as error:
        raise RadioError(error.problem, place=place, remedy=error.remedy) from None


def read_rates(schema: Schema, every: Iterable[str], interval_s: int | None) -> dict[str, Rate]:
    """The rate of every message: as said by NAME=RATE, else assumed for the known messages.

    Raises RadioError for a message that the schema lacks, and for one whose rate nobody says.
    """
    names = [message.name for message in schema.messages]
    said: dict[str, Rate] = {}
    for text in every:
        name, _, rate = text.partition("=")
        if name not in names:
            raise RadioError(f"no message {name!r}", place="--every", remedy=nearest(name, names))
        if name in said:
            raise RadioError("is said twice", place=f"--every {name}", remedy="say it once")
        said[name] = read_rate(rate, f"--every {name}")
    rates: dict[str, Rate] = {}
    summary_s = schema.policy.interval_s if interval_s is None else interval_s
    if interval_s is not None:
        if SUMMARY in said:
            raise RadioError(
                "says how often summaries go, and --every does too",
                place="--interval",
                remedy="drop one of them",
            )
        _placed("--interval", Regular, interval_s)
    for name in names:
        rate_of = said.get(name) or assumed(name, summary_s)
        if rate_of is None:
            raise RadioError(
                f"nothing says how often {name!r} is sent",
                place="--every",
                remedy=f"say --every {name}=10min or --every {name}=3/day",
            )
        rates[name] = rate_of
    return rates


def assumed(message: str, interval_s: int) -> Rate | None:
    """What is taken for a message of which nothing is said; None where nothing can be."""
    known: dict[str, Rate] = {
        SUMMARY: Regular(interval_s),
        HEALTH: Regular(DAY_S),
        SIGHTING: Random(Fraction(SIGHTINGS_PER_DAY)),
    }
    return known.get(message)


def rate_in_words(rate: Rate) -> str:
    """The rate as it could be written."""
    if isinstance(rate, Regular):
        unit = next(unit for unit in ("d", "h", "min", "s") if rate.period_s % UNITS_S[unit] == 0)
        return f"every {rate.period_s // UNITS_S[unit]} {unit}"
    bound = "" if rate.most_per_hour is None else f", at most {rate.most_per_hour} an hour"
    return f"{decimal(rate.frames_per_day)} a day at random{bound}"
