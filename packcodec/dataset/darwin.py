"""Darwin Core Archive with Event core: {file name: text}.

TDWG Darwin Core (term list 2026-05-26; text guide 2023-09-13) and the Humboldt Extension (eco:),
read. One event a deployment, one beneath it a station-day, days that saw nothing included; one
occurrence a species and day; a non-detection only where the day's effort allows it, for what was
not watched is not known. Media, people and blanks have no rows.
"""

from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import Literal
from xml.etree import ElementTree

from packcodec.dataset.check import check
from packcodec.dataset.days import StationDay, station_days
from packcodec.dataset.eml import LICENSES, document, eml
from packcodec.dataset.model import Dataset, Deployment
from packcodec.dataset.tables import Cell, Row, csv_text, utc_text
from packcodec.schema.model import Species

DWC = "http://rs.tdwg.org/dwc/terms/"
ECO = "http://rs.tdwg.org/eco/terms/"
DC = "http://purl.org/dc/terms/"
TEXT = "http://rs.tdwg.org/dwc/text/"

# occurrenceStatus: until 2026-05-26 the recommended values were present and absent, which is what
# aggregators may still expect; since then detected and notDetected.
Status = Literal["present", "detected"]
NEGATIVE: Mapping[Status, str] = {"present": "absent", "detected": "notDetected"}

TARGET_RANKS = ("species", "subspecies")

EVENT = (
    *("eventID", "parentEventID", "eventType", "eventDate", "samplingProtocol", "samplingEffort"),
    *("sampleSizeValue", "sampleSizeUnit", "locationID", "locality", "countryCode"),
    *("decimalLatitude", "decimalLongitude", "geodeticDatum", "coordinateUncertaintyInMeters"),
    *("coordinatePrecision", "minimumDistanceAboveSurfaceInMeters"),
    *("maximumDistanceAboveSurfaceInMeters", "habitat", "eventRemarks", "datasetName"),
    *("dataGeneralizations", "informationWithheld", "license"),
)
OCCURRENCE = (
    *("eventID", "occurrenceID", "basisOfRecord", "occurrenceStatus", "scientificName"),
    *("scientificNameAuthorship", "taxonRank", "kingdom", "vernacularName", "taxonID"),
    *("individualCount", "organismQuantity", "organismQuantityType", "identifiedBy"),
    *("identificationRemarks", "identificationVerificationStatus", "occurrenceRemarks"),
)
HUMBOLDT = (
    *("eventID", "isSamplingEffortReported", "samplingEffortProtocol", "samplingEffortValue"),
    *("samplingEffortUnit", "protocolNames", "inventoryTypes", "targetTaxonomicScope"),
    *("isTaxonomicScopeFullyReported", "taxonCompletenessReported", "isAbsenceReported"),
    *("absentTaxa", "hasNonTargetTaxa", "isAbundanceReported", "isAbundanceCapReported"),
    *("abundanceCap", "isLeastSpecificTargetCategoryQuantityInclusive"),
)


def darwin_core(data: Dataset, *, status: Status = "present") -> dict[str, str]:
    """The files of an archive, for a zip. Raises LogError where it must not be published."""
    check(data)
    days = [each for each in station_days(data) if each.watched_s or each.visits]
    return {
        "meta.xml": _meta(),
        "eml.xml": eml(data),
        "event.csv": csv_text(EVENT, _events(data, days)),
        "occurrence.csv": csv_text(OCCURRENCE, _occurrences(data, days, status)),
        "humboldt.csv": csv_text(HUMBOLDT, [_humboldt(data, each) for each in days]),
    }


def _events(data: Dataset, days: list[StationDay]) -> Iterator[Row]:
    watched: dict[str, float] = {}
    for each in days:
        watched[each.deployment] = watched.get(each.deployment, 0.0) + each.watched_s
    for home in data.deployments:
        hours = watched.get(home.id, 0.0) / 3600
        yield _event(data, home, home.id, None, home.start, home.end, hours)
    for each in days:
        home = data.deployment(each.deployment)
        hours = each.watched_s / 3600
        yield _event(data, home, each.id, home.id, each.start, each.end, hours, each)


def _event(
    data: Dataset,
    home: Deployment,
    event: str,
    parent: str | None,
    start: datetime,
    end: datetime,
    hours: float,
    day: StationDay | None = None,
) -> Row:
    protection = data.protection
    undated = day is not None and day.day is None
    cells: dict[str, Cell] = {
        "eventID": event,
        "parentEventID": parent,
        "eventType": "cameraTrapDeployment" if parent is None else "station-day",
        "eventDate": f"{utc_text(start)}/{utc_text(end)}",
        "samplingProtocol": "camera trap",
        "samplingEffort": f"{hours:.1f} hours watched",
        "sampleSizeValue": round(hours, 3) or None,
        "sampleSizeUnit": "hour" if round(hours, 3) else None,
        "locationID": home.location,
        "locality": home.name,
        "countryCode": data.project.country_code,
        "decimalLatitude": home.latitude,
        "decimalLongitude": home.longitude,
        "geodeticDatum": "EPSG:4326",
        "coordinateUncertaintyInMeters": home.uncertainty_m,
        "coordinatePrecision": home.coordinate_precision,
        "minimumDistanceAboveSurfaceInMeters": home.height_m,
        "maximumDistanceAboveSurfaceInMeters": home.height_m,
        "habitat": home.habitat,
        "eventRemarks": "by an unset clock: within the deployment, the day unknown"
        if undated
        else "",
        "datasetName": data.project.title,
        "dataGeneralizations": protection.generalized if protection else "",
        "informationWithheld": protection.withheld if protection else "",
        "license": LICENSES.get(data.project.data_license, data.project.data_license),
    }
    return tuple(cells[column] for column in EVENT)


def _occurrences(data: Dataset, days: list[StationDay], status: Status) -> Iterator[Row]:
    for each in days:
        for label in sorted(each.visits):
            yield _occurrence(data, each, label, status)
        for label in _absent(data, each):
            yield _occurrence(data, each, label, NEGATIVE[status])


def _occurrence(data: Dataset, day: StationDay, label: str, status: str) -> Row:
    species = data.species[label]
    seen = label in day.visits
    visits, most = day.visits.get(label), day.most.get(label)
    told = day.confidence.get(label)
    remarks = []
    if visits and visits.at_least:
        remarks.append(f"visits: {visits}")
    if most and most.at_least:
        remarks.append(f"individuals: {most}")
    if visits and not visits.value:
        remarks.append("a visit that began the day before")
    if not seen:
        remarks.append(f"not detected in {day.watched_s / 3600:.1f} hours watched; not absence")
    cells: dict[str, Cell] = {
        "eventID": day.id,
        "occurrenceID": f"{day.id}-{species.code}",
        "basisOfRecord": "MachineObservation",
        "occurrenceStatus": status,
        "scientificName": species.scientific_name,
        "scientificNameAuthorship": species.authority,
        "taxonRank": species.rank,
        "kingdom": "Animalia",
        "vernacularName": species.common_name,
        "taxonID": species.taxon_id,
        "individualCount": most.value if most else 0,
        "organismQuantity": visits.value if visits else None,
        "organismQuantityType": "independent detections" if visits else None,
        "identifiedBy": data.project.classified_by,
        "identificationRemarks": "" if told is None else f"machine, mean confidence {told:.2f}",
        "identificationVerificationStatus": "unverified",
        "occurrenceRemarks": " | ".join(remarks),
    }
    return tuple(cells[column] for column in OCCURRENCE)


def _scope(data: Dataset, day: date | None) -> list[Species]:
    """The species recorded anywhere that the stations' table already had on that day.

    A row of a higher rank is none of them: seeing no 'bird, not told further' is no news of birds.
    """
    return [
        row
        for row in data.species.values()
        if row.rank in TARGET_RANKS
        and (not row.added or (day is not None and date.fromisoformat(row.added) <= day))
    ]


def _absent(data: Dataset, day: StationDay) -> list[str]:
    """Labels of the scope not detected, where the whole day's effort is known."""
    if not day.whole:
        return []
    return [row.label for row in _scope(data, day.day) if row.label not in day.visits]


def _humboldt(data: Dataset, day: StationDay) -> Row:
    absent = [data.species[label].scientific_name for label in _absent(data, day)]
    capped = [each.value for each in day.most.values() if each.at_least]
    cells: dict[str, Cell] = {
        "eventID": day.id,
        "isSamplingEffortReported": True,
        "samplingEffortProtocol": "time that the station was powered and watching, as it told",
        "samplingEffortValue": round(day.watched_s / 3600, 3),
        "samplingEffortUnit": "trapHours",
        "protocolNames": "camera trap",
        "inventoryTypes": "restrictedSearch",
        "targetTaxonomicScope": " | ".join(
            sorted({row.scientific_name for row in _scope(data, day.day)})
        ),
        "isTaxonomicScopeFullyReported": day.whole,
        "taxonCompletenessReported": "notReported",
        "isAbsenceReported": day.whole,
        "absentTaxa": " | ".join(sorted(set(absent))),
        "hasNonTargetTaxa": False,
        "isAbundanceReported": True,
        "isAbundanceCapReported": bool(capped),
        "abundanceCap": max(capped) if capped else None,
        "isLeastSpecificTargetCategoryQuantityInclusive": False,
    }
    return tuple(cells[column] for column in HUMBOLDT)


def _meta() -> str:
    archive = ElementTree.Element("archive", {"xmlns": TEXT, "metadata": "eml.xml"})
    _file(archive, "core", "id", f"{DWC}Event", "event.csv", EVENT, DWC)
    _file(archive, "extension", "coreid", f"{DWC}Occurrence", "occurrence.csv", OCCURRENCE, DWC)
    _file(archive, "extension", "coreid", f"{ECO}Event", "humboldt.csv", HUMBOLDT, ECO)
    return document(archive)


def _file(
    archive: ElementTree.Element,
    role: str,
    key: str,
    row_type: str,
    location: str,
    columns: tuple[str, ...],
    terms: str,
) -> None:
    table = ElementTree.SubElement(
        archive,
        role,
        {
            "encoding": "UTF-8",
            "fieldsTerminatedBy": ",",
            "linesTerminatedBy": "\\n",
            "fieldsEnclosedBy": '"',
            "ignoreHeaderLines": "1",
            "rowType": row_type,
        },
    )
    ElementTree.SubElement(ElementTree.SubElement(table, "files"), "location").text = location
    ElementTree.SubElement(table, key, {"index": "0"})
    for index, column in enumerate(columns):
        if column == "eventID" and role == "extension":
            continue
        term = DC if column == "license" else terms
        ElementTree.SubElement(table, "field", {"index": str(index), "term": f"{term}{column}"})
