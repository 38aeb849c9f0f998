"""The figures of a report, on seasons small enough to count by hand."""

from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from small_dataset import DAY, dataset, demo, row, sighting, small, summary

from packcodec.dataset.days import station_days
from packcodec.dataset.model import Dataset
from packcodec.dataset.season import (
    SLICES,
    SpeciesSeason,
    activity,
    daily_states,
    hours_watched,
    knowledge,
    species_seasons,
    visit_times,
)

TURN = 2 * np.pi


def seasons(data: Dataset) -> dict[str, SpeciesSeason]:
    return {each.species.label: each for each in species_seasons(data, station_days(data), seed=1)}


def test_a_species_season_is_the_sum_of_its_days() -> None:
    data = dataset(
        summary(0, 6, row("coot", 2, 3)),
        summary(1, 30, row("coot", 1, 5), row("otter")),
        summary(2, None, row("coot", 4)),
        summary(0, 6, station=2),
    )
    coot = seasons(data)["coot"]
    assert (coot.visits.value, coot.undated, coot.most.value) == (7, 4, 5)
    assert (coot.first, coot.last) == (date(2027, 4, 2), date(2027, 4, 3))
    assert coot.deployments == ("1-20270401",)
    assert coot.rate is not None
    # 7 visits in the four hours that all stations watched: 100 * 24 / 4 * 7.
    assert coot.rate.per_100_days == pytest.approx(4200)
    assert [each.species.label for each in species_seasons(data, station_days(data), seed=1)] == [
        "coot",
        "otter",
    ]


def test_days_before_a_row_joined_the_table_say_nothing_of_it() -> None:
    # spoonbill joined on 2027-04-12, ten days after DAY.
    data = dataset(summary(0, 6), summary(1, 24 * 10 + 6, row("spoonbill")))
    found = seasons(data)["spoonbill"].rate
    assert found is not None
    assert found.watched_s == 3600


def test_times_are_the_sightings_or_else_the_first_detections() -> None:
    east = 2.6011 / 360 * TURN
    data = dataset(
        summary(0, 6, row("otter", 1, 1, 1800), row("coot", 1, 1, 900), row("teal", 0, 1, 60)),
        sighting(1, 12, "otter"),
    )
    assert visit_times(data, "otter") == pytest.approx([TURN / 2 + east])
    assert visit_times(data, "coot") == pytest.approx([TURN * 6.25 / 24 + east])
    assert visit_times(data, "teal").size == 0


def test_hours_watched_lie_where_the_intervals_lie() -> None:
    data = dataset(summary(0, 6, watched=1800), summary(1, None))
    hours = hours_watched(data)
    assert hours.sum() == pytest.approx(0.5)
    middle = (np.arange(SLICES) + 0.5) / SLICES * 24
    shift = 2.6011 / 15
    assert (hours * middle).sum() / hours.sum() == pytest.approx(6.5 + shift, abs=0.1)


def test_a_curve_needs_ten_visits_and_holds_its_own_band() -> None:
    hours = hours_watched(demo())
    few = [label for label in demo().species if visit_times(demo(), label).size < 10]
    assert few
    assert all(activity(demo(), label, hours, seed=1) is None for label in few)
    day = activity(demo(), "mallard", hours, seed=1)
    assert day is not None
    known = ~np.isnan(day.rate)
    assert 0 < known.sum() < known.size
    inside = (day.low <= day.rate) & (day.rate <= day.high)
    assert inside[known].mean() > 0.95
    again = activity(demo(), "mallard", hours, seed=1)
    assert again is not None
    assert np.array_equal(day.low, again.low, equal_nan=True)


def test_the_rate_over_the_day_gives_the_visits_back() -> None:
    """Rate times hours watched, summed over the day, is the number of visits."""
    hours = hours_watched(demo())
    day = activity(demo(), "mallard", hours, seed=1)
    assert day is not None
    rates = np.interp((np.arange(SLICES) + 0.5) / SLICES * TURN, np.linspace(0, TURN, 97), day.rate)
    assert np.nansum(rates * hours) == pytest.approx(day.times.size, rel=0.05)


def test_what_is_known_adds_up_to_the_deployment() -> None:
    for data in (small(), demo()):
        for each, home in zip(knowledge(data), data.deployments, strict=True):
            whole = (home.end - home.start).total_seconds()
            assert each.watched_s + each.off_s + each.unknown_s == pytest.approx(whole)
    one = knowledge(small())[0]
    # An hour lost between two summaries, and everything after the last one.
    assert one.unknown_s == 3600 + (small().deployments[0].end - DAY).total_seconds() - 10 * 3600


def test_a_day_that_is_partly_unknown_is_unknown() -> None:
    first, *_ = (each for each in daily_states(small()) if each.deployment == "1-20270401")
    assert (first.state, first.end) == ("off", DAY)
    states = {each.state for each in daily_states(small()) if each.deployment == "1-20270401"}
    assert states == {"off", "unknown"}
    whole = dataset(*(summary(n, n - 19) for n in range(43)))
    longer = replace(whole, effort=tuple(e for e in whole.effort if e.state == "watching"))
    (watching,) = daily_states(longer)
    assert watching.end - watching.start == timedelta(days=2)
