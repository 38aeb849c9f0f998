"""Outside source: the example data of Camtrap DP 1.0.2 (CC0-1.0; Desmet et al. 2022), from which
the figures here were computed a first time by other code.

The example is not in this repository; see test_camtrap_dp.py for where it is looked for.
"""

import csv
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from packcodec.dataset.camtrap_read import Events, read_camtrap_dp
from packcodec.dataset.diversity import hill
from packcodec.dataset.rates import DAY_S, Seen, independent, rate

ROOT = Path(__file__).resolve().parents[2]
PROFILE = "camtrap-dp/camtrap-dp-profile.json"
FOUND = [at.parent for each in ("", "*/") for at in ROOT.parent.glob(each + PROFILE)]
pytestmark = pytest.mark.skipif(not FOUND, reason="no camtrap-dp folder beside the checkout")


def text(name: str) -> str:
    return (FOUND[0] / f"example-{name}.csv").read_text(encoding="utf-8")


def rows(name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(text(name).splitlines()))


def events() -> Events:
    return read_camtrap_dp(text("deployments"), text("observations"))


def pictures() -> list[Seen]:
    """The example's rows of media level, which our reader passes over."""
    return [
        Seen(
            row["deploymentID"],
            row["scientificName"],
            datetime.fromisoformat(row["eventStart"]),
            datetime.fromisoformat(row["eventEnd"]),
        )
        for row in rows("observations")
        if row["observationLevel"] == "media"
        and row["observationType"] == "animal"
        and row["scientificName"]
    ]


def test_effort_in_days() -> None:
    days = {name: seconds / DAY_S for name, seconds in events().effort_s.items()}
    assert [round(each, 6) for each in days.values()] == [32.280602, 9.952072, 9.106505, 22.032431]
    assert sum(days.values()) == pytest.approx(73.371609, abs=1e-6)


@pytest.mark.parametrize("level", ["event", "media"])
@pytest.mark.parametrize("minutes", [2, 30, 60])
def test_independent_visits(level: str, minutes: int) -> None:
    seen = events().seen if level == "event" else pictures()
    visits = independent(seen, minutes * 60)
    species = Counter(each.species for each in visits)
    assert len(visits) == 26
    assert species.most_common(2)[0] == ("Anas platyrhynchos", 12)
    assert species["Mustela putorius"] == 3


def test_many_pictures_are_few_visits() -> None:
    assert len(events().seen) == 29
    assert sum(each.species == "Anas platyrhynchos" for each in pictures()) == 207


def test_rates_per_100_days() -> None:
    watched = events().effort_s
    visits = independent(events().seen, 1800)

    def per_100(species: str, *homes: str) -> float:
        counts = [
            sum((each.deployment, each.species) == (home, species) for each in visits)
            for home in homes
        ]
        found = rate(counts, [watched[home] for home in homes], seed=1)
        assert found is not None
        assert found.low <= found.per_100_days <= found.high
        return found.per_100_days

    assert per_100("Anas platyrhynchos", *watched) == pytest.approx(16.3551, abs=1e-4)
    assert per_100("Mustela putorius", *watched) == pytest.approx(4.0888, abs=1e-4)
    assert per_100("Vulpes vulpes", *watched) == pytest.approx(1.3629, abs=1e-4)
    assert per_100("Anas platyrhynchos", "29b7d356") == pytest.approx(60.2890, abs=1e-4)
    assert per_100("Mustela putorius", "577b543a") == pytest.approx(32.9435, abs=1e-4)


def test_hill_numbers_of_species() -> None:
    counts = [15, 3, 2, 2, 1, 1, 1]
    of_species = Counter(
        each.species for each in events().seen if each.species not in ("Ardea", "Aves")
    )
    assert sorted(of_species.values(), reverse=True) == counts
    assert [hill(counts, q) for q in (0, 1, 2)] == pytest.approx([7, 3.8625, 2.5510], abs=1e-4)


def test_an_offset_that_ignores_summer_time_is_kept_as_written() -> None:
    """Deployment 62c200a9 keeps +01:00 across the change of 2021-03-28: 22.03 days, not 22.07."""
    (row,) = [each for each in rows("deployments") if each["deploymentID"] == "62c200a9"]
    start, end = (datetime.fromisoformat(row[f"deployment{each}"]) for each in ("Start", "End"))
    assert start.utcoffset() == timedelta(hours=1)
    assert end - start == timedelta(days=22, minutes=46, seconds=42)
