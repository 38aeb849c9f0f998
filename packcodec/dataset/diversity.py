"""How many species, and how evenly: Hill numbers, and species against effort.

M. O. Hill, Ecology 54 (1973) 427-432; R. K. Colwell, C. X. Mao & J. Chang, Ecology 85 (2004)
2717-2727, for the expected accumulation over samples (both from memory).
"""

from collections.abc import Collection, Iterable, Sequence

import numpy as np
from scipy.special import gammaln

from packcodec.errors import LogError


def hill(counts: Iterable[float], order: float) -> float:
    """The effective number of species of `order` 0 or more; 1 is exp(Shannon, natural log).

    `counts` are 0 or more and not all 0. Raises LogError otherwise.
    """
    told = np.asarray([each for each in counts if each], float)
    if not told.size or (told < 0).any() or order < 0:
        raise LogError(
            "these are no counts of species", place="counts", remedy="give counts, one above 0"
        )
    p = told / told.sum()
    if order == 1:
        return float(np.exp(-(p * np.log(p)).sum()))
    return float((p**order).sum() ** (1 / (1 - order)))


def accumulation(samples: Sequence[Collection[str]]) -> list[float]:
    """Species expected in 1, 2, … of the samples, in no order: sample-based rarefaction, exact.

    `samples` are the species in each station-day. S(h) = S - sum C(H - s, h) / C(H, h) over the
    species, s the samples that hold each.
    """
    found: dict[str, int] = {}
    for sample in samples:
        for species in set(sample):
            found[species] = found.get(species, 0) + 1
    held = np.asarray(list(found.values()), float)
    n = len(samples)
    expected = []
    for h in range(1, n + 1):
        # In logarithms: the binomials of a season overflow. A species cannot be missed by h
        # samples where fewer than h lack it.
        lacking = n - held
        possible = lacking >= h
        log_missed = np.where(
            possible, _log_choose(np.maximum(lacking, h), h) - _log_choose(n, h), -np.inf
        )
        expected.append(float(held.size - np.exp(log_missed).sum()))
    return expected


def _log_choose(n: "np.ndarray | float", k: float) -> "np.ndarray":
    return np.asarray(gammaln(np.asarray(n) + 1) - gammaln(k + 1) - gammaln(np.asarray(n) - k + 1))
