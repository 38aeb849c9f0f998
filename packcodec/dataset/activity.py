"""When in the day: circular kernel densities, how two species overlap, and rates by hour.

Times of day are angles, 2 pi times seconds of the day over 86400, in mean solar time (UTC plus
longitude over 15 hours): civil time jumps in spring. M. S. Ridout & M. Linkie, Estimating overlap
of daily activity patterns from camera trap data, JABES 14 (2009) 322-337 (from memory; formulas
confirmed in the text of an implementation by its authors' group); J. M. Rowcliffe et al., MEE 5
(2014) 1170-1179 for the activity level (formula confirmed likewise).
"""

from datetime import UTC, datetime
from typing import TypeAlias

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import ive

from packcodec.errors import LogError

Floats: TypeAlias = NDArray[np.float64]

CIRCLE = 2 * np.pi
DAY_S = 86400
HIGHEST_MOMENT = 3
GREATEST_KAPPA = 500.0
GRID = 128


def angle(at: datetime, longitude: float) -> float:
    """The time of day of an instant, 0 to 2 pi, in mean solar time at `longitude` (degrees)."""
    utc = at.astimezone(UTC)
    seconds = utc.hour * 3600 + utc.minute * 60 + utc.second + longitude / 360 * DAY_S
    return float(seconds % DAY_S / DAY_S * CIRCLE)


def concentration(times: ArrayLike) -> float:
    """The kernel's concentration for `times` (radians): the rule of Taylor (2008).

    nu = (3 n k^2 I2(2k) / (4 sqrt(pi) I0(k)^2))^(2/5), k the greatest that one of the first three
    trigonometric moments gives. Raises LogError for fewer than 2 times.
    """
    told = _times(times)
    moments = [abs(np.exp(1j * m * told).mean()) for m in range(1, HIGHEST_MOMENT + 1)]
    return concentration_of_moments(told.size, moments)


def concentration_of_moments(n: int, moments: list[float]) -> float:
    """The same from the mean resultant lengths of the times' first multiples."""
    k = max(_kappa(moment, order) for order, moment in enumerate(moments, start=1))
    # Bessel functions of scipy's ive are scaled by exp(-x): the scales cancel, and none overflows.
    return float((3 * n * k**2 * ive(2, 2 * k) / (4 * np.sqrt(np.pi) * ive(0, k) ** 2)) ** 0.4)


def density(at: ArrayLike, times: ArrayLike, nu: float) -> Floats:
    """The kernel density of `times` at the angles `at`, per radian: the mean of von Mises laws."""
    places = np.atleast_1d(np.asarray(at, float))
    mean: Floats = _kernel(places, _times(times), nu).mean(axis=1)
    return mean


def overlap_small(one: ArrayLike, other: ArrayLike) -> float:
    """Delta 1, 0 to 1: for where one sample has fewer than 50 times. On a grid, nu over 0.8."""
    grid = np.linspace(0, CIRCLE, GRID)[1:]
    f, g = (density(grid, each, concentration(each) / 0.8) for each in (one, other))
    return float(np.minimum(f / f.sum(), g / g.sum()).sum())


def overlap_large(one: ArrayLike, other: ArrayLike) -> float:
    """Delta 4, 0 to 1: for where both samples have 50 times or more. At the times themselves."""
    nu, nv = concentration(one), concentration(other)
    halves = []
    for here, own, there, theirs in ((one, nu, other, nv), (other, nv, one, nu)):
        ratio = density(here, there, theirs) / density(here, here, own)
        halves.append(np.minimum(1, ratio).mean() / 2)
    return float(sum(halves))


def overlap(one: ArrayLike, other: ArrayLike) -> float:
    """How far two species share the day, 0 to 1, by the estimator that their numbers ask for."""
    least = min(_times(one).size, _times(other).size)
    return (overlap_small if least < 50 else overlap_large)(one, other)


def activity_level(times: ArrayLike) -> float:
    """The share of the day a species is active, 0 to 1, if all are active at the peak."""
    grid = np.linspace(0, CIRCLE, 512, endpoint=False)
    return level_of(density(grid, times, concentration(times)))


def level_of(densities: Floats) -> float:
    """The same from densities per radian: 1 / (2 pi max f)."""
    return float(1 / (CIRCLE * densities.max()))


def rate_by_hour(
    at: ArrayLike,
    times: ArrayLike,
    watched: ArrayLike,
    *,
    nu: float,
    weights: ArrayLike | None = None,
) -> Floats:
    """Visits per hour watched at the angles `at`: smoothed visits over equally smoothed effort.

    `watched` is the hours watched in each of equal slices of the day, midnight first. NaN where a
    slice was watched for less than one whole day's worth: nothing is known there, which is not
    zero. A ratio of two kernel estimates (common practice, no source). `weights` says how many
    visits each time stands for, 1 where it is None; rows of weights give rows of rates.
    """
    places = np.atleast_1d(np.asarray(at, float))
    hours = np.atleast_1d(np.asarray(watched, float))
    finer = -(-GRID // hours.size)
    middles = (np.arange(hours.size * finer) + 0.5) / (hours.size * finer) * CIRCLE
    effort = _kernel(places, middles, nu) @ np.repeat(hours / finer, finer)
    told = np.asarray(times, float)
    many = np.ones(told.size) if weights is None else np.asarray(weights, float)
    visits = many @ _kernel(places, told, nu).T
    days_watched = hours * hours.size / 24
    own_slice = (places % CIRCLE / CIRCLE * hours.size).astype(int) % hours.size
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(days_watched[own_slice] >= 1, visits / effort, np.nan)


def _kernel(at: Floats, centres: Floats, nu: float) -> Floats:
    """The von Mises law around each centre (columns) at each angle (rows)."""
    # exp(nu cos d) / (2 pi I0(nu)), both scaled by exp(-nu) so that neither overflows.
    apart = np.cos(at[:, None] - centres[None, :]) - 1
    return np.asarray(np.exp(nu * apart) / (CIRCLE * ive(0, nu)), np.float64)


def _kappa(moment: float, order: int) -> float:
    """The concentration at which the von Mises law's moment of that order is `moment`."""

    def miss(kappa: float) -> float:
        return float(ive(order, kappa) / ive(0, kappa) - moment)

    if miss(GREATEST_KAPPA) <= 0:
        return GREATEST_KAPPA
    return float(brentq(miss, 0.0, GREATEST_KAPPA)) if moment > 0 else 0.0


def _times(times: ArrayLike) -> Floats:
    told = np.asarray(times, float)
    if told.ndim != 1 or told.size < 2 or not np.isfinite(told).all():
        raise LogError(
            f"{told.size} times of day give no density", place="times", remedy="give 2 or more"
        )
    return told
