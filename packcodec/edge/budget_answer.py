"""Everything that a budget has to say, for tables, JSON and the page alike."""

from dataclasses import dataclass

from packcodec.budget.best import Best
from packcodec.budget.edges import Edges
from packcodec.budget.plan import Budget
from packcodec.budget.remedies import Remedy
from packcodec.budget.season import Season
from packcodec.budget.sharing import Sharing


@dataclass(frozen=True, slots=True)
class Answer:
    """The first budget is the one that was asked for, `words` what is sent and what to heed,
    `worst` what its worst case assumes."""

    budgets: tuple[Budget, ...]
    words: tuple[str, ...]
    worst: str
    edges: tuple[Edges, ...]
    remedies: tuple[Remedy, ...]
    best: Best | None
    sharing: Sharing | None
    season: Season | None
    place: str

    @property
    def budget(self) -> Budget:
        """The budget of the link that was asked for."""
        return self.budgets[0]

    @property
    def cautions(self) -> tuple[str, ...]:
        """The cautions of every rule and link, each once, with the rule's name."""
        told = (verdict for budget in self.budgets for verdict in budget.verdicts)
        named = (f"{verdict.subject}: {verdict.caution}" for verdict in told if verdict.caution)
        return tuple(dict.fromkeys(named))
