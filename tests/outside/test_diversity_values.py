"""Outside sources for numbers of species.

1. Chao et al. 2014, Ecological Monographs 84:45-67, spiders of Ellison & Sackett (the ten greatest
   counts and sample sizes confirmed; Hill numbers 12.06, 7.84 and 14.42, 6.76 as published, from
   memory).
2. scikit-bio, a second library.
"""

import itertools
from collections.abc import Sequence

import numpy as np
import pytest

from packcodec.dataset.diversity import accumulation, hill

GIRDLED = [46, 22, 17, 15, 15, 9, 8, 6, 6, 4, 2, 2, 2, 2, *[1] * 12]
LOGGED = [88, 22, 16, 15, 13, 10, 8, 8, 7, 7, 7, 5, 4, 4, 4, 3, 3, 3, 3, 2, 2, 2, 2, *[1] * 14]


@pytest.mark.parametrize(
    ("counts", "n", "numbers"),
    [(GIRDLED, 168, (26, 12.0597, 7.8400)), (LOGGED, 252, (37, 14.4210, 6.7615))],
)
def test_hill_numbers_of_the_published_spiders(
    counts: list[int], n: int, numbers: tuple[float, ...]
) -> None:
    assert sum(counts) == n
    assert [hill(counts, q) for q in (0, 1, 2)] == pytest.approx(numbers, abs=1e-4)


@pytest.mark.parametrize("counts", [GIRDLED, LOGGED, [15, 3, 2, 2, 1, 1, 1], [5, 5, 5]])
def test_hill_numbers_by_a_second_library(counts: list[int]) -> None:
    alpha = pytest.importorskip("skbio.diversity.alpha")
    assert hill(counts, 0) == alpha.sobs(counts)
    assert hill(counts, 1) == pytest.approx(np.exp(alpha.shannon(counts, base=np.e)))
    assert hill(counts, 2) == pytest.approx(alpha.inv_simpson(counts))


def test_the_expected_accumulation_is_the_mean_over_all_orders() -> None:
    days = [{"a"}, {"a", "b"}, {"c"}, set(), {"a", "c", "d"}]
    orders = list(itertools.permutations(days))

    def species(some: Sequence[set[str]]) -> int:
        return len(set().union(*some))

    mean = [sum(species(order[:h]) for order in orders) / len(orders) for h in range(1, 6)]
    assert accumulation(days) == pytest.approx(mean)
