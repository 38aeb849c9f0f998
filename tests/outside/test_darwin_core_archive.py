"""Outside sources: python-dwca-reader (reads Darwin Core Archives) and metapype (the rules of EML),
two libraries by others, on an archive as it is written to disk.
"""

import warnings
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from small_dataset import demo, small

from packcodec.dataset.darwin import DWC, ECO
from packcodec.dataset.days import station_days
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.export_files import export

dwca_read = pytest.importorskip("dwca.read")

EVENT, OCCURRENCE, SURVEY = f"{DWC}Event", f"{DWC}Occurrence", f"{ECO}Event"


def archive(data: Dataset, folder: Path) -> str:
    (path,) = export(data, "darwin-core", str(folder / "archive.zip"))
    return path


@pytest.fixture(scope="module")
def rows(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Any]]:
    path = archive(protect(demo()), tmp_path_factory.mktemp("archive"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        reader = dwca_read.DwCAReader(path)
        assert reader.descriptor.core.type == EVENT
        assert not any(reader.orphaned_extension_rows().values())
        found = list(reader)
    yield found
    reader.close()


def of(row: Any, kind: str) -> list[dict[str, str]]:
    return [each.data for each in row.extensions if each.rowtype == kind]


def test_every_day_is_an_event_with_one_survey_beneath_its_deployment(rows: list[Any]) -> None:
    days = [each for each in station_days(protect(demo())) if each.watched_s or each.visits]
    children = [row for row in rows if row.data[f"{DWC}parentEventID"]]
    parents = {row.id for row in rows} - {row.id for row in children}
    assert {row.id for row in children} == {each.id for each in days}
    assert parents == {each.id for each in demo().deployments}
    assert {row.data[f"{DWC}parentEventID"] for row in children} == parents
    assert all(len(of(row, SURVEY)) == 1 for row in children)


def test_what_the_reader_counts_is_what_the_dataset_holds(rows: list[Any]) -> None:
    found = [each for row in rows for each in of(row, OCCURRENCE)]
    visits = sum(int(each[f"{DWC}organismQuantity"] or 0) for each in found)
    assert visits == sum(each.visits.value for each in protect(demo()).totals)
    hours = [
        float(of(row, SURVEY)[0][f"{ECO}samplingEffortValue"]) for row in rows if of(row, SURVEY)
    ]
    watched = sum(each.watched_s or 0 for each in demo().intervals) / 3600
    assert sum(hours) == pytest.approx(watched, abs=0.1)


def test_the_taxa_said_to_be_absent_are_those_of_the_absent_rows(rows: list[Any]) -> None:
    for row in rows:
        for survey in of(row, SURVEY):
            absent = {
                each[f"{DWC}scientificName"]
                for each in of(row, OCCURRENCE)
                if each[f"{DWC}occurrenceStatus"] == "absent"
            }
            said = survey[f"{ECO}absentTaxa"]
            assert absent == (set(said.split(" | ")) if said else set())
            assert (survey[f"{ECO}isAbsenceReported"] == "true") or not absent


@pytest.mark.parametrize("make", [demo, small], ids=["the demonstration", "with a gap"])
def test_the_metadata_keep_the_rules_of_eml(make: Any, tmp_path: Path) -> None:
    metapype_io = pytest.importorskip("metapype.model.metapype_io")
    validate = pytest.importorskip("metapype.eml.validate")
    with zipfile.ZipFile(archive(protect(make()), tmp_path)) as file:
        tree = metapype_io.from_xml(file.read("eml.xml").decode())
    errors: list[tuple[Any, ...]] = []
    validate.tree(tree, errors)
    # A link in a paragraph, by which GBIF finds the licence, is of EML 2.1.1 and not among the
    # elements that this library knows.
    unknown = ("ulink", "citetitle")
    assert [each for each in errors if not any(word in str(each[1]) for word in unknown)] == []


def test_the_rules_are_really_asked() -> None:
    metapype_io = pytest.importorskip("metapype.model.metapype_io")
    validate = pytest.importorskip("metapype.eml.validate")
    from packcodec.dataset.eml import eml

    broken = eml(protect(small())).replace("<pubDate>2027-05-01</pubDate>", "<date>1</date>")
    errors: list[tuple[Any, ...]] = []
    validate.tree(metapype_io.from_xml(broken), errors)
    assert any("date" in str(each[1]) for each in errors)
