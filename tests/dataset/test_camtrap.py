"""The data package: what is an event in it, and what is not."""

import csv
import io
import json

from small_dataset import dataset, row, sighting, small, summary

from packcodec.codec.record import AtLeast, Record
from packcodec.dataset.build import Heard
from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.protect import protect


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
