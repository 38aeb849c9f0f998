"""Outside sources for times of day.

1. The published example of the R package overlap 0.3.9 (Meredith & Ridout): its simulated times
   (100 and 80) give kernel concentrations 29.9064 and 10.4207. The data are under the GPL and not
   copied: the trigonometric moments below were computed from them, and determine these figures.
   With the data at hand densities 0.02440435, 0.44522913, 0.02179983, 0.50513539 and Delta 1 =
   0.29086 were met to every published digit, and Delta 4 = 0.26890 where 0.26920 is published,
   which interpolates on 128 points; that was done once by hand and is not repeated here.
2. Rowcliffe et al. 2014: the activity level of von Mises laws, exact values.
3. astropy (circular mean and variance), a second library.
"""

import numpy as np
import pytest
from scipy.special import iv
from scipy.stats import vonmises

from packcodec.dataset.activity import (
    CIRCLE,
    activity_level,
    concentration_of_moments,
    density,
    level_of,
    overlap,
    overlap_large,
    overlap_small,
)

GRID = np.linspace(0, CIRCLE, 4096, endpoint=False)


@pytest.mark.parametrize(
    ("n", "moments", "published"),
    [
        (100, [0.05024044603161767, 0.6864695724421915, 0.03425751516895758], 29.9065),
        (80, [0.7670842646485261, 0.32126125262099015, 0.0620497962362209], 10.4207),
    ],
)
def test_the_kernels_concentration_is_the_published_one(
    n: int, moments: list[float], published: float
) -> None:
    assert concentration_of_moments(n, moments) == pytest.approx(published, rel=1e-5)


@pytest.mark.parametrize(
    ("kappa", "level"), [(0.5, 0.645035), (1, 0.465760), (2, 0.308509), (5, 0.183541)]
)
def test_the_activity_level_of_a_von_mises_law(kappa: float, level: float) -> None:
    assert level_of(vonmises.pdf(GRID, kappa)) == pytest.approx(level, abs=1e-6)


def test_an_even_day_is_all_active() -> None:
    assert level_of(np.full(GRID.size, 1 / CIRCLE)) == pytest.approx(1)
    assert activity_level(np.linspace(0, CIRCLE, 400, endpoint=False)) == pytest.approx(1, abs=1e-3)


def quantiles(kappa: float, centre: float, n: int) -> np.ndarray:
    """The sample that has least to do with chance: evenly spaced probabilities."""
    return np.asarray(vonmises.ppf((np.arange(n) + 0.5) / n, kappa, loc=centre))


@pytest.mark.parametrize(("n", "estimate"), [(40, overlap_small), (150, overlap_large)])
@pytest.mark.parametrize("apart", [0.0, 0.5, 1.5, 3.0])
def test_the_overlap_of_known_laws(n: int, estimate: object, apart: float) -> None:
    """The true overlap is an integral; the estimate smooths, which blurs it a little."""
    f, g = vonmises.pdf(GRID, 3, loc=2), vonmises.pdf(GRID, 3, loc=2 + apart)
    true = np.minimum(f, g).mean() * CIRCLE
    one, other = quantiles(3, 2, n), quantiles(3, 2 + apart, n)
    assert estimate(one, other) == pytest.approx(true, abs=0.06)  # type: ignore[operator]
    assert overlap(one, other) == estimate(one, other)  # type: ignore[operator]


def test_the_density_by_another_formula() -> None:
    """A kernel sum is the times' Fourier series, each term damped by I_m(nu) / I_0(nu)."""
    times, nu = quantiles(2, 1, 30), 12.0
    series = np.full(GRID.size, 1 / CIRCLE)
    for m in range(1, 40):
        weight = iv(m, nu) / iv(0, nu) / np.pi
        series += weight * np.cos(m * (GRID[:, None] - times[None, :])).mean(axis=1)
    assert density(GRID, times, nu) == pytest.approx(series, abs=1e-10)


def test_angles_agree_with_a_second_library() -> None:
    circstats = pytest.importorskip("astropy.stats.circstats")
    degrees = np.array([51, 67, 40, 109, 31, 358])
    mean = np.exp(1j * np.radians(degrees)).mean()
    assert np.degrees(np.angle(mean)) == pytest.approx(48.627181, abs=1e-6)
    assert circstats.circmean(np.radians(degrees)) == pytest.approx(np.angle(mean))
    # The peak of a density of one time lies at that time, wherever the circle is cut.
    peak = GRID[density(GRID, np.array([6.2, 0.1]), 50.0).argmax()]
    middle = float(circstats.circmean(np.array([6.2, 0.1]))) % CIRCLE
    assert abs(np.angle(np.exp(1j * (peak - middle)))) < 0.15
