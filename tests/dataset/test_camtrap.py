"""The data package: what is an event in it, and what is not."""

import csv
import io
import json

import pytest
from small_dataset import dataset, row, sighting, small, summary

from packcodec.codec.record import AtLeast, Record
from packcodec.dataset.build import Heard
from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.camtrap_read import read_camtrap_dp
from packcodec.dataset.protect import protect
from packcodec.errors import LogError


def rows(files: dict[str, str], name: str) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(files[name])))


def exact(*heard: Heard | Record) -> dict[str, str]:
    return camtrap_dp(protect(dataset(*heard), exact=True))


def test_only_visits_told_one_by_one_are_events() -> None:
    files = exact(summary(0, 6, row("mallard", 9)), sighting(1, 6.5, "otter"))
    (event,) = rows(files, "observations.csv")
    assert (event["scientificName"], event["eventStart"]) == ("Lutra lutra", "2027-04-02T06:30:00Z")
    assert (event["observationLevel"], event["observationType"]) == ("event", "animal")
    assert (event["classificationMethod"], event["classificationProbability"]) == ("machine", "0.9")
    (total,) = rows(files, "interval_totals.csv")
    assert (total["species"], total["visits"]) == ("mallard", "9")


def test_a_clamped_count_says_so() -> None:
    seen = Record("sighting", sighting(0, 6, "otter").values | {"individuals": AtLeast(8)}, 1, 0)
    (event,) = rows(exact(seen), "observations.csv")
    assert event["count"] == "8"
    assert "countCapped:true" in event["observationTags"]


def test_a_recovered_record_says_so() -> None:
    (event,) = rows(exact(Heard(sighting(0, 6, "otter"), None, "recovered")), "observations.csv")
    assert "source:recovered" in event["observationTags"]


def test_a_sighting_without_a_time_is_no_event_but_is_counted() -> None:
    files = exact(sighting(0, None, "otter"))
    assert rows(files, "observations.csv") == []
    assert "1 sightings by an unset clock" in json.loads(files["datapackage.json"])["description"]


def test_a_clock_that_was_wrong_is_flagged_at_its_deployment() -> None:
    issues = [each["timestampIssues"] for each in rows(exact(summary(0, None)), "deployments.csv")]
    assert issues == ["true", "false", "false", "false"]


def test_gaps_and_unknown_effort_are_tables_of_their_own() -> None:
    files = camtrap_dp(protect(small()))
    (gap,) = rows(files, "gaps.csv")
    assert (gap["deployment"], gap["missing"]) == ("1-20270401", "1")
    states = {each["state"] for each in rows(files, "effort.csv")}
    assert states == {"watching", "off", "unknown"}


def test_the_media_table_is_a_header() -> None:
    assert camtrap_dp(protect(small()))["media.csv"].count("\n") == 1


def test_the_package_box_is_of_the_published_coordinates() -> None:
    package = json.loads(camtrap_dp(protect(small()))["datapackage.json"])
    # Of the four stations two are rounded, to 0.1 and 0.001 degree; two saw nothing sensitive.
    assert package["spatial"]["bbox"] == [2.6, 54.6995, 2.6218, 54.709]
    assert package["coordinatePrecision"] == 0.1


def test_a_package_of_ours_reads_back() -> None:
    data = protect(small(), exact=True)
    files = camtrap_dp(data)
    read = read_camtrap_dp(files["deployments.csv"], files["observations.csv"])
    assert {each.id for each in data.deployments} == set(read.effort_s)
    assert [(each.deployment, each.start, each.end) for each in read.seen] == [
        (each.deployment, each.start, each.end) for each in data.sightings
    ]
    assert {each.species for each in read.seen} == {"Lutra lutra", "Haliaeetus albicilla"}


@pytest.mark.parametrize(
    ("table", "old", "new", "said"),
    [
        ("deployments.csv", "2027-04-01T05:00:00Z", "2027-04-01", "deployments.csv:2 deploymentSt"),
        ("deployments.csv", "2027-04-21", "2027-03-21", "deployments.csv:2: ends before"),
        ("observations.csv", ",event,", ",,", "observations.csv:2 observationLevel: is empty"),
        ("observations.csv", "0401,,", "0402,,", "observations.csv:2 deploymentID: '1-20270402'"),
        ("observations.csv", "eventStart", "start", "observations.csv:2 eventStart: is empty"),
    ],
)
def test_a_package_that_cannot_be_read_is_refused_at_its_place(
    table: str, old: str, new: str, said: str
) -> None:
    files = camtrap_dp(protect(small(), exact=True))
    assert old in files[table]
    files[table] = files[table].replace(old, new)
    with pytest.raises(LogError) as caught:
        read_camtrap_dp(files["deployments.csv"], files["observations.csv"])
    assert said in str(caught.value)
