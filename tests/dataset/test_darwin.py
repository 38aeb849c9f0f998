"""The archive: what counts as detected, as not detected, and as neither."""

import csv
import io
from xml.etree import ElementTree

from small_dataset import DAY, dataset, demo, row, sighting, small, summary

from packcodec.codec.record import AtLeast, Record
from packcodec.dataset.darwin import TEXT, Status, darwin_core
from packcodec.dataset.protect import protect


def rows(name: str, *records: Record, status: Status = "present") -> list[dict[str, str]]:
    text = darwin_core(protect(dataset(*records), exact=True), status=status)[name]
    return list(csv.DictReader(io.StringIO(text)))


def a_day(*species: str, station: int = 1, first: int = 0) -> list[Record]:
    """Summaries of all hours of DAY, the species seen in the first."""
    told = [summary(first, 0, *(row(each) for each in species), station=station)]
    return told + [summary(first + n, n, station=station) for n in range(1, 24)]


def before(station: int = 1) -> list[Record]:
    """Summaries from the start of the deployment to DAY, so that nothing is unknown."""
    return [summary(n, n - 19, station=station) for n in range(19)]


def test_a_day_that_saw_nothing_is_an_event() -> None:
    events = rows("event.csv", *before(), *a_day(first=19))
    assert "1-20270401-20270402" in [each["eventID"] for each in events]
    day = next(each for each in events if each["eventID"].endswith("20270402"))
    assert (day["parentEventID"], day["sampleSizeValue"], day["sampleSizeUnit"]) == (
        "1-20270401",
        "24",
        "hour",
    )


def test_totals_and_the_sightings_among_them_are_counted_once() -> None:
    found = rows("occurrence.csv", summary(0, 6, row("otter", 2, 3)), sighting(1, 6.5, "otter"))
    (otter,) = [each for each in found if each["scientificName"] == "Lutra lutra"]
    assert (otter["organismQuantity"], otter["individualCount"]) == ("2", "3")
    assert otter["organismQuantityType"] == "independent detections"
    assert otter["basisOfRecord"] == "MachineObservation"


def test_not_detected_only_where_the_whole_days_effort_is_known() -> None:
    whole = [*before(), *a_day("mallard", first=19), *a_day("coot", station=2)]
    broken = [each for each in whole if each.sequence != 30]
    at_1 = {
        (each["scientificName"], each["occurrenceStatus"])
        for each in rows("occurrence.csv", *whole)
        if each["eventID"] == "1-20270401-20270402"
    }
    assert at_1 == {("Anas platyrhynchos", "present"), ("Fulica atra", "absent")}
    at_1_broken = [
        each["scientificName"]
        for each in rows("occurrence.csv", *broken)
        if each["eventID"] == "1-20270401-20270402"
    ]
    assert at_1_broken == ["Anas platyrhynchos"]


def test_no_absence_on_a_day_that_left_species_out() -> None:
    told = [*before(), *a_day("mallard", first=19), *a_day("coot", station=2)]
    full = [
        Record("summary", each.values | {"left_out": 1}, 1, each.sequence)
        if each.station == 1
        else each
        for each in told
    ]
    stated = [
        each for each in rows("occurrence.csv", *full) if each["occurrenceStatus"] == "absent"
    ]
    assert {each["eventID"][0] for each in stated} == {"2"}


def test_one_switch_for_either_vocabulary() -> None:
    told = [*before(), *a_day("mallard", first=19), *a_day("coot", station=2)]
    old = {each["occurrenceStatus"] for each in rows("occurrence.csv", *told)}
    new = {each["occurrenceStatus"] for each in rows("occurrence.csv", *told, status="detected")}
    assert old == {"present", "absent"}
    assert new == {"detected", "notDetected"}


def test_a_higher_rank_is_never_called_absent() -> None:
    told = [*before(), *a_day("mallard", first=19), *a_day("bird", station=2)]
    absent = [
        each for each in rows("occurrence.csv", *told) if each["occurrenceStatus"] == "absent"
    ]
    assert "Aves" not in {each["scientificName"] for each in absent}


def test_a_species_is_no_absence_before_its_row_was_added() -> None:
    # spoonbill joined the table on 2027-04-12, ten days after DAY.
    told = [*before(), *a_day("mallard", first=19), *a_day("spoonbill", station=2)]
    absent = [
        each for each in rows("occurrence.csv", *told) if each["occurrenceStatus"] == "absent"
    ]
    assert "Platalea leucorodia" not in {each["scientificName"] for each in absent}


def test_a_clamped_count_is_an_abundance_cap() -> None:
    told = summary(0, 6, row("mallard", AtLeast(15), AtLeast(16)))
    (day,) = rows("humboldt.csv", told)
    assert (day["isAbundanceCapReported"], day["abundanceCap"]) == ("true", "16")
    (mallard,) = rows("occurrence.csv", told)
    assert mallard["occurrenceRemarks"] == "visits: 15 or more | individuals: 16 or more"


def test_what_no_clock_dates_lies_within_its_deployment() -> None:
    events = rows("event.csv", summary(0, None, row("coot")))
    (undated,) = [each for each in events if each["eventID"] == "1-20270401-undated"]
    assert undated["eventDate"] == "2027-04-01T05:00:00Z/2027-04-21T20:00:00Z"
    (coot,) = rows("occurrence.csv", summary(0, None, row("coot")))
    assert coot["eventID"] == "1-20270401-undated"


def test_every_row_is_of_an_event_that_is_there() -> None:
    files = darwin_core(protect(demo()))
    tables = {
        name: list(csv.DictReader(io.StringIO(files[name])))
        for name in ("event.csv", "occurrence.csv", "humboldt.csv")
    }
    events = {each["eventID"] for each in tables["event.csv"]}
    assert len(events) == len(tables["event.csv"])
    for name in ("occurrence.csv", "humboldt.csv"):
        assert {each["eventID"] for each in tables[name]} <= events
    assert {each["parentEventID"] for each in tables["event.csv"]} <= events | {""}
    ids = [each["occurrenceID"] for each in tables["occurrence.csv"]]
    assert len(set(ids)) == len(ids)


def test_meta_names_every_column_where_it_stands() -> None:
    files = darwin_core(protect(small()))
    archive = ElementTree.fromstring(files["meta.xml"])
    for table in archive:
        location = table.findtext(f"{{{TEXT}}}files/{{{TEXT}}}location") or ""
        header = next(csv.reader(io.StringIO(files[location])))
        fields = {
            int(each.attrib["index"]): each.attrib["term"].rsplit("/", 1)[1]
            for each in table.findall(f"{{{TEXT}}}field")
        }
        named = {0: "eventID"} | fields
        assert [named[n] for n in range(len(header))] == header


def test_days_are_of_utc() -> None:
    events = rows("event.csv", summary(0, 23.0), summary(1, 24.0))
    assert [each["eventID"][-8:] for each in events[-2:]] == [
        f"{DAY:%Y%m%d}",
        f"{DAY.replace(day=3):%Y%m%d}",
    ]
