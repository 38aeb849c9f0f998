"""How likely a species is in a set: its odds at the hour, times those of when it last was."""

from collections import defaultdict
from collections.abc import Mapping
from math import exp, log
from typing import Any

from packcodec.codec.modelled.tables import OCTAVE

EVEN = 128
SWEEPS = 15
# How strongly a species at an hour is held to the species at any hour, and the others to rest.
HOUR_HOLD, SPECIES_HOLD, AGE_HOLD = 2.0, 0.1, 0.05
RARE_LOGIT = -3.0
MOST_LOGIT = 30.0  # past that, a double takes it for certain


class Presence:
    """Logistic regression of presence: species, species at the hour, and age, each held to 0."""

    def __init__(
        self, cells: Mapping[tuple[int, int, int], Mapping[int, float]], hours: int
    ) -> None:
        self.hours = hours
        self.cells = [
            (at, (hour if hours > 1 else 0, at), age, counts.get(0, 0.0), counts.get(1, 0.0))
            for (hour, at, age), counts in cells.items()
        ]
        self.species: dict[int, float] = defaultdict(lambda: RARE_LOGIT)
        self.hour: dict[tuple[int, int], float] = defaultdict(float)
        self.age: dict[int, float] = defaultdict(float)
        for _ in range(SWEEPS):
            self._step(self.species, 0, SPECIES_HOLD, RARE_LOGIT)
            self._step(self.age, 2, AGE_HOLD, 0.0)
            if hours > 1:
                self._step(self.hour, 1, HOUR_HOLD, 0.0)

    def byte(self, hour: int, at: int) -> int:
        """The odds of species number `at` at an hour row, as a byte of the table `there`."""
        return logit_byte(self.species[at] + self.hour[hour, at])

    def bits(self) -> float:
        """What the sets cost by these odds, and a nat for each of them, in bits."""
        nats = 0.0
        for at, hour, age, no, yes in self.cells:
            share = self._share(at, hour, age)
            nats -= no * log(1 - share) + yes * log(share)
        return (nats + len(self.hour) + len(self.species)) / log(2)

    def _share(self, at: int, hour: tuple[int, int], age: int) -> float:
        logit = self.species[at] + self.hour[hour] + self.age[age]
        return 1 / (1 + exp(-min(max(logit, -MOST_LOGIT), MOST_LOGIT)))

    def _step(self, logits: dict[Any, float], part: int, hold: float, rest: float) -> None:
        """One Newton step of each logit alone."""
        slope: dict[Any, float] = defaultdict(float)
        bend: dict[Any, float] = defaultdict(float)
        for cell in self.cells:
            at, hour, age, no, yes = cell
            share = self._share(at, hour, age)
            slope[cell[part]] += yes - (no + yes) * share
            bend[cell[part]] += (no + yes) * share * (1 - share)
        for key in slope:
            step = (slope[key] - hold * (logits[key] - rest)) / (bend[key] + hold)
            logits[key] += min(max(step, -2.0), 2.0)


def logit_byte(nats: float) -> int:
    """A logit in nats as a byte: 128 is even, 8 more is twice as likely."""
    return min(max(EVEN + round(OCTAVE * nats / log(2)), 0), 255)
