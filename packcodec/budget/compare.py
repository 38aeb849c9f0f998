"""Several links side by side under the same traffic."""

from collections.abc import Iterable

from packcodec.budget.plan import Budget
from packcodec.budget.remedies import replanned
from packcodec.radio.link import Link


def compare_links(budget: Budget, others: Iterable[Link]) -> tuple[Budget, ...]:
    """The budget and the same plan on every other link, in the order given."""
    return (budget, *(replanned(budget, link=link) for link in others))
