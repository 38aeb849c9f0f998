"""What no exchange standard's schema checks."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from small_dataset import dataset, demo, sighting, small, summary

from packcodec.dataset.check import check, problems
from packcodec.dataset.model import Count, Dataset
from packcodec.dataset.protect import protect
from packcodec.errors import LogError


def with_sighting(**changes: object) -> Dataset:
    data = dataset(summary(0, 6), sighting(1, 6.5, "mallard"))
    return replace(data, sightings=(replace(data.sightings[0], **changes),))  # type: ignore[arg-type]


def test_the_demonstration_has_nothing_wrong() -> None:
    assert problems(demo()) == ()
    assert problems(protect(demo())) == ()


UNSET = datetime(1970, 1, 1, 0, 5, tzinfo=UTC)


@pytest.mark.parametrize(
    ("data", "said"),
    [
        (with_sighting(start=UNSET, end=UNSET), "an unset clock?"),
        (with_sighting(end=datetime(2027, 4, 2, 6, tzinfo=UTC)), "ends before it starts"),
        (with_sighting(end=datetime(2027, 5, 2, 6, tzinfo=UTC)), "outside its deployment"),
        (with_sighting(deployment="9-20270401"), "lies in no deployment"),
        (with_sighting(species="unicorn"), "'unicorn' is no animal"),
        (with_sighting(individuals=Count(0)), "a sighting has 1 or more"),
        (dataset(summary(0, 6, watched=3601)), "watched 3601 s of 3600 s"),
        (dataset(sighting(7, 6, "otter"), sighting(7, 7, "otter")), "the id is there twice"),
    ],
)
def test_what_is_wrong_is_said_with_its_place(data: Dataset, said: str) -> None:
    assert [each for each in problems(data) if said in each]
    with pytest.raises(LogError, match="sedgemere-2027-04"):
        check(replace(protect(data, exact=True)))


def test_a_deployment_that_ends_before_it_starts() -> None:
    data = small()
    first = replace(data.deployments[0], end=data.deployments[0].start - timedelta(1))
    assert "ends before it starts" in problems(replace(data, deployments=(first,)))[0]


def test_nothing_is_published_before_it_is_protected() -> None:
    with pytest.raises(LogError, match="kept back"):
        check(small())
