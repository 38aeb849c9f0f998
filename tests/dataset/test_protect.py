"""Sensitive species: coarse, or gone, and no way round by another column."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from small_dataset import DAY, dataset, demo, row, sighting, small, summary

from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.darwin import darwin_core
from packcodec.dataset.geojson import geojson
from packcodec.dataset.protect import ADDED_M, GRADES, protect, rounded
from packcodec.dataset.tables import table_csv, tables

# In the table: otter 0.1, kingfisher 0.001, white_tailed_eagle withheld, mallard not sensitive.


def published(data: object) -> str:
    """Every file of every form of a protected dataset, as one text."""
    files = [*camtrap_dp(data).values(), *darwin_core(data).values(), geojson(data)]  # type: ignore[arg-type]
    return "\n".join([*files, *(table_csv(each) for each in tables(data))])  # type: ignore[arg-type]


def test_a_withheld_species_vanishes_without_a_trace() -> None:
    text = published(protect(small()))
    assert "white_tailed_eagle" not in text
    assert "Haliaeetus" not in text
    assert "withholds" in text


def test_that_something_is_withheld_is_said_of_every_station_alike() -> None:
    events = darwin_core(protect(small()))["event.csv"].splitlines()[1:]
    assert all("withholds" in line for line in events)


def test_a_location_is_as_coarse_as_its_most_sensitive_species() -> None:
    one, two, three, _ = protect(small()).deployments
    assert (one.latitude, one.longitude, one.coordinate_precision) == (54.7, 2.6, 0.1)
    assert (two.latitude, two.longitude, two.coordinate_precision) == (54.709, 2.617, 0.001)
    assert three == small().deployments[2]


def test_it_is_generalised_in_all_deployments_at_that_location() -> None:
    data = small()
    again = replace(data.deployments[0], id="1-later", start=data.deployments[0].end)
    later = protect(replace(data, deployments=(*data.deployments, again))).deployments[-1]
    assert (later.latitude, later.coordinate_precision) == (54.7, 0.1)


def test_names_and_free_text_of_a_coarse_location_are_kept_back() -> None:
    text = published(protect(small()))
    assert "north_hide" not in text
    assert "open water with reed" not in text
    assert "54.7123" not in text
    assert "2.6174" not in text


def test_a_very_sensitive_sighting_keeps_only_its_day() -> None:
    otter = next(each for each in protect(small()).sightings if each.species == "otter")
    assert otter.to_the_day
    assert (otter.start, otter.end) == (DAY, DAY.replace(hour=23, minute=59, second=59))
    assert not any("06:30" in line for line in published(protect(small())).splitlines())


def test_its_hourly_totals_become_one_total_of_the_day() -> None:
    data = dataset(
        *(summary(n, 6 + n, row("otter", 1 + n, n + 1, 60, 120), row("coot")) for n in range(3))
    )
    (otter,) = [each for each in protect(data).totals if each.species == "otter"]
    assert (otter.visits.value, otter.most.value, otter.first_s, otter.last_s) == (6, 3, None, None)
    assert (otter.start, otter.to_the_day) == (DAY, True)
    assert len([each for each in protect(data).totals if each.species == "coot"]) == 3


def test_ids_do_not_tell_which_hour_a_sighting_came_in() -> None:
    early = dataset(sighting(0, 5, "otter"), summary(1, 6), summary(2, 7))
    late = dataset(summary(0, 6), summary(1, 7), sighting(2, 8, "otter"))
    assert protect(early).sightings == protect(late).sightings


def test_a_withheld_sighting_leaves_no_edge_and_no_count() -> None:
    with_eagle = [
        summary(0, 6),
        sighting(1, 7.4, "white_tailed_eagle"),
        summary(3, 8),
        summary(4, 9),
    ]
    without = [summary(0, 6), summary(1, 7, watched=0), summary(3, 8), summary(4, 9)]
    found, plain = protect(dataset(*with_eagle)), protect(dataset(*without))
    assert [(each.after, each.before) for each in found.gaps] == [
        (DAY.replace(hour=7), DAY.replace(hour=8))
    ]
    assert found.tally.records == plain.tally.records - 1
    assert "07:2" not in published(found)


def test_nothing_is_kept_back_on_an_explicit_order() -> None:
    exact = protect(small(), exact=True)
    assert replace(exact, protection=None) == small()
    assert "white_tailed_eagle" in published(exact)


def test_it_generalises_and_never_randomises() -> None:
    assert protect(demo()) == protect(demo())


@given(st.floats(-180, 180), st.sampled_from(GRADES))
def test_rounding_moves_no_further_than_half_a_cell(degrees: float, grade: float) -> None:
    assert abs(rounded(degrees, grade) - degrees) <= grade / 2 * (1 + 1e-6)
    assert rounded(rounded(degrees, grade), grade) == rounded(degrees, grade)


@pytest.mark.parametrize("grade", GRADES)
def test_the_uncertainty_grows_by_the_diagonal_of_a_cell(grade: float) -> None:
    metres = 111_195 * grade * 2**0.5  # of a degree on a sphere of the earth's mean radius
    assert ADDED_M[grade] == pytest.approx(metres, rel=0.01)
