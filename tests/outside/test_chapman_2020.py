"""Outside source: A. D. Chapman, Current Best Practices for Generalizing Sensitive Species
Occurrence Data, GBIF 2020, doi 10.15468/doc-5jp4-5g10 (categories; read), and the worked case in
Reyserhove, Norton & Desmet, Best Practices for Managing and Publishing Camera Trap Data, GBIF 2023,
doi 10.35035/doc-0qzp-2x37 (read).
"""

from dataclasses import replace

import pytest
from small_dataset import dataset, row, summary

from packcodec.dataset.model import Deployment
from packcodec.dataset.protect import protect

# Category and the degrees to which coordinates are rounded; in the demonstration's table.
CATEGORIES = [("otter", 0.1), ("beaver", 0.01), ("kingfisher", 0.001)]


def home_of(species: str, latitude: float, longitude: float, uncertainty_m: int) -> Deployment:
    data = dataset(summary(0, 6, row(species)))
    home = replace(
        data.deployments[0], latitude=latitude, longitude=longitude, uncertainty_m=uncertainty_m
    )
    return protect(replace(data, deployments=(home, *data.deployments[1:]))).deployments[0]


def test_the_published_case() -> None:
    """51.18061, 5.65490 with 30 m by satellite: 51.181, 5.655 and 30 + 157 = 187 m."""
    home = home_of("kingfisher", 51.18061, 5.65490, 30)
    assert (home.latitude, home.longitude, home.uncertainty_m) == (51.181, 5.655, 187)
    assert home.coordinate_precision == 0.001


@pytest.mark.parametrize(("species", "degrees"), CATEGORIES)
def test_the_categories(species: str, degrees: float) -> None:
    home = home_of(species, 54.712345, 2.612345, 10)
    assert home.coordinate_precision == degrees
    assert home.latitude == pytest.approx(round(54.712345 / degrees) * degrees)


def test_category_1_rounds_to_a_whole_degree() -> None:
    data = dataset(summary(0, 6, row("otter")))
    extreme = {"otter": replace(data.species["otter"], sensitivity="1")}
    home = protect(replace(data, species=extreme)).deployments[0]
    assert (home.latitude, home.longitude, home.uncertainty_m) == (55, 3, 10 + 156_904)
