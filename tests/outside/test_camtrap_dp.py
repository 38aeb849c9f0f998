"""Outside source: Camtrap DP 1.0.2 (TDWG; profile and table schemas, MIT; example data, CC0-1.0),
read by frictionless and jsonschema.

The schemas and the example are not in this repository. The tests look for them in a folder named
camtrap-dp beside the checkout or one level further down, and are skipped where it is absent.

The profile refers to two schemas elsewhere. GeoJSON's comes with frictionless; the one of Data
Package itself is not at hand, and frictionless, which knows that standard, stands in for it.
"""

import csv
import json
from datetime import datetime
from importlib.resources import files as package_files
from pathlib import Path
from typing import Any

import pytest
from small_dataset import dataset, demo, small

from packcodec.dataset import camtrap
from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect

frictionless = pytest.importorskip("frictionless")
jsonschema = pytest.importorskip("jsonschema")
referencing = pytest.importorskip("referencing")

ROOT = Path(__file__).resolve().parents[2]
PROFILE = "camtrap-dp/camtrap-dp-profile.json"
FOUND = [at.parent for each in ("", "*/") for at in ROOT.parent.glob(each + PROFILE)]
needs_standard = pytest.mark.skipif(not FOUND, reason="no camtrap-dp folder beside the checkout")
TABLES = ("deployments", "media", "observations")


def standard(name: str) -> Any:
    return json.loads((FOUND[0] / name).read_text(encoding="utf-8"))


def written(data: Dataset, folder: Path) -> dict[str, Any]:
    """The package on disk, its schemas' addresses replaced by the schemas; its descriptor."""
    for name, text in camtrap_dp(data).items():
        (folder / name).write_text(text, encoding="utf-8", newline="")
    package = json.loads((folder / "datapackage.json").read_text(encoding="utf-8"))
    for resource in package["resources"]:
        if isinstance(resource["schema"], str):
            resource["schema"] = standard(resource["schema"].rsplit("/", 1)[1])
    del package["profile"]
    return dict(package)


def refused(package: dict[str, Any], folder: Path) -> list[list[Any]]:
    report = frictionless.Package(package, basepath=str(folder)).validate()
    warnings = [each for task in report.tasks for each in task.warnings]
    assert not report.warnings
    assert not warnings
    return list(report.flatten(["title", "fieldName", "note"]))


DATASETS = {
    "the demonstration": lambda: protect(demo()),
    "the demonstration, exact": lambda: protect(demo(), exact=True),
    "with a gap": lambda: protect(small()),
    "with nothing heard": lambda: protect(dataset()),
}


@needs_standard
@pytest.mark.parametrize("make", DATASETS.values(), ids=DATASETS)
def test_the_package_is_valid_without_a_warning(make: Any, tmp_path: Path) -> None:
    assert refused(written(make(), tmp_path), tmp_path) == []


@needs_standard
@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("observations.csv", ",event,animal,", ",visit,animal,"),
        ("observations.csv", "1-20270401,", "9-20270401,"),
        ("deployments.csv", "54.7,2.6,", "154.7,2.6,"),
        ("deployments.csv", ",habitat", ""),
        ("interval_totals.csv", "1-20270401,", "9-20270401,"),
        ("effort.csv", "2027-04-01T05:00:00Z", "2027-04-01 05:00"),
    ],
)
def test_the_check_sees_what_is_wrong(name: str, old: str, new: str, tmp_path: Path) -> None:
    package = written(protect(small()), tmp_path)
    text = (tmp_path / name).read_text(encoding="utf-8")
    assert old in text
    (tmp_path / name).write_text(text.replace(old, new), encoding="utf-8")
    assert refused(package, tmp_path)


def profile_validator() -> Any:
    geojson = package_files("frictionless") / "assets" / "profiles" / "geojson.json"
    known = {
        "https://specs.frictionlessdata.io/schemas/data-package.json": {},
        "http://json.schemastore.org/geojson.json": json.loads(geojson.read_text("utf-8")),
    }
    draft_4 = referencing.jsonschema.DRAFT4
    registry = referencing.Registry().with_resources(
        [(name, draft_4.create_resource(schema)) for name, schema in known.items()]
    )
    return jsonschema.Draft4Validator(standard("camtrap-dp-profile.json"), registry=registry)


def descriptor(data: Dataset) -> dict[str, Any]:
    return dict(json.loads(camtrap_dp(data)["datapackage.json"]))


@needs_standard
@pytest.mark.parametrize("make", DATASETS.values(), ids=DATASETS)
def test_the_descriptor_keeps_the_profile(make: Any) -> None:
    assert list(profile_validator().iter_errors(descriptor(make()))) == []


@needs_standard
@pytest.mark.parametrize(
    "broken",
    [
        {"project": {}},
        {"licenses": [{"name": "CC0-1.0", "scope": "data"}]},
        {"taxonomic": [{"scientificName": "Aves", "vernacularNames": {"en": "bird"}}]},
        {"spatial": {"type": "Square"}},
        {"temporal": {"start": "2027-04-01"}},
    ],
)
def test_the_profile_is_really_asked(broken: dict[str, Any]) -> None:
    assert list(profile_validator().iter_errors(descriptor(protect(small())) | broken))


@needs_standard
@pytest.mark.parametrize("name", TABLES)
def test_the_columns_are_the_standards_in_its_order(name: str) -> None:
    fields = [each["name"] for each in standard(f"{name}-table-schema.json")["fields"]]
    assert list(getattr(camtrap, name.upper())) == fields


@needs_standard
def test_ranks_and_feature_types_are_the_standards() -> None:
    from packcodec.dataset.inputs import FEATURES

    fields = standard("deployments-table-schema.json")["fields"]
    feature = next(each for each in fields if each["name"] == "featureType")
    assert list(FEATURES) == feature["constraints"]["enum"]
    profile = standard("camtrap-dp-profile.json")["allOf"][1]["properties"]
    ranks = profile["taxonomic"]["items"]["properties"]["taxonRank"]["enum"]
    assert list(camtrap.RANKS) == ranks


@needs_standard
def test_the_example_keeps_to_the_schemas_as_this_test_reads_them() -> None:
    """The reading of the schemas is itself checked, on data that the standard's makers wrote."""
    with (FOUND[0] / "example-observations.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    events = [row for row in rows if row["observationLevel"] == "event"]
    assert list(rows[0]) == list(camtrap.OBSERVATIONS)
    assert (len(rows), len(events)) == (549, 36)
    times = [datetime.fromisoformat(row["eventStart"]) for row in events]
    assert all(each.utcoffset() is not None for each in times)
