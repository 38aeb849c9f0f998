"""Camtrap DP 1.0.2, the exchange standard of TDWG for camera-trap data: {file name: text}.

The facts of its profile and table schemas (read; MIT) that a package must keep are here in code:
every column of the three tables, in order. Only visits that were told one by one are events; totals
of intervals, effort, gaps and health are tables of their own beside them, never invented events.
"""

import json
from collections.abc import Mapping
from typing import Any

from packcodec.dataset.check import check
from packcodec.dataset.model import Dataset, Deployment, Sighting
from packcodec.dataset.tables import (
    Cell,
    Column,
    Row,
    Table,
    csv_text,
    effort,
    gaps,
    health,
    interval_totals,
    intervals,
    table_csv,
    utc_text,
)

VERSION = "1.0.2"
BASE = f"https://raw.githubusercontent.com/tdwg/camtrap-dp/{VERSION}"

DEPLOYMENTS = (
    *("deploymentID", "locationID", "locationName", "latitude", "longitude"),
    *("coordinateUncertainty", "deploymentStart", "deploymentEnd", "setupBy", "cameraID"),
    *("cameraModel", "cameraDelay", "cameraHeight", "cameraDepth", "cameraTilt", "cameraHeading"),
    *("detectionDistance", "timestampIssues", "baitUse", "featureType", "habitat"),
    *("deploymentGroups", "deploymentTags", "deploymentComments"),
)
MEDIA = (
    *("mediaID", "deploymentID", "captureMethod", "timestamp", "filePath", "filePublic"),
    *("fileName", "fileMediatype", "exifData", "favorite", "mediaComments"),
)
OBSERVATIONS = (
    *("observationID", "deploymentID", "mediaID", "eventID", "eventStart", "eventEnd"),
    *("observationLevel", "observationType", "cameraSetupType", "scientificName", "count"),
    *("lifeStage", "sex", "behavior", "individualID", "individualPositionRadius"),
    *("individualPositionAngle", "individualSpeed", "bboxX", "bboxY", "bboxWidth", "bboxHeight"),
    *("classificationMethod", "classifiedBy", "classificationTimestamp"),
    *("classificationProbability", "observationTags", "observationComments"),
)
# Ranks that the profile knows; a taxon of any other rank is given without one.
RANKS = ("kingdom", "phylum", "class", "order", "family", "genus", "species", "subspecies")


def camtrap_dp(data: Dataset) -> dict[str, str]:
    """The files of a data package. Raises LogError where the dataset must not be published."""
    check(data)
    extra = (interval_totals(data), intervals(data), effort(data), gaps(data), health(data))
    files = {
        "datapackage.json": json.dumps(_package(data, extra), indent=2, ensure_ascii=False) + "\n",
        "deployments.csv": csv_text(DEPLOYMENTS, [_deployment(data, d) for d in data.deployments]),
        "media.csv": csv_text(MEDIA, ()),
        "observations.csv": csv_text(
            OBSERVATIONS, [_observation(data, each) for each in data.sightings if each.start]
        ),
    }
    return files | {f"{table.name}.csv": table_csv(table) for table in extra}


def _deployment(data: Dataset, each: Deployment) -> Row:
    clocks = {
        row.clock
        for rows in (data.intervals, data.health, data.sightings)
        for row in rows
        if row.deployment == each.id
    }
    return _row(
        DEPLOYMENTS,
        {
            "deploymentID": each.id,
            "locationID": each.location,
            "locationName": each.name,
            "latitude": each.latitude,
            "longitude": each.longitude,
            "coordinateUncertainty": each.uncertainty_m,
            "deploymentStart": each.start,
            "deploymentEnd": each.end,
            "cameraID": str(each.station),
            "cameraHeight": each.height_m,
            "cameraTilt": each.tilt_deg,
            "cameraHeading": each.heading_deg,
            "detectionDistance": each.detection_distance_m,
            "timestampIssues": bool(clocks - {"trusted"}),
            "baitUse": each.bait,
            "featureType": each.feature,
            "habitat": each.habitat,
            "deploymentComments": each.comments,
        },
    )


def _observation(data: Dataset, each: Sighting) -> Row:
    tags = {
        "countMethod": "maxInPicture",
        "countCapped": "true" if each.individuals.at_least else "",
        "source": each.provenance,
        "validated": "false",
        "clock": "" if each.clock == "trusted" else each.clock,
        "timeGeneralised": "day" if each.to_the_day else "",
    }
    return _row(
        OBSERVATIONS,
        {
            "observationID": each.id,
            "deploymentID": each.deployment,
            "eventID": each.id,
            "eventStart": each.start,
            "eventEnd": each.end,
            "observationLevel": "event",
            "observationType": "animal",
            "scientificName": data.species[each.species].scientific_name,
            "count": each.individuals.value,
            "classificationMethod": "machine",
            "classifiedBy": data.project.classified_by,
            "classificationTimestamp": None if each.to_the_day else each.start,
            "classificationProbability": each.confidence,
            "observationTags": " | ".join(f"{key}:{value}" for key, value in tags.items() if value),
        },
    )


def _row(columns: tuple[str, ...], cells: Mapping[str, Cell]) -> Row:
    return tuple(cells.get(column) for column in columns)


def _package(data: Dataset, extra: tuple[Table, ...]) -> dict[str, Any]:
    project = data.project
    package: dict[str, Any] = {
        "profile": f"{BASE}/camtrap-dp-profile.json",
        "name": project.name,
        "title": project.title,
        "description": _description(data),
        "created": utc_text(data.created),
        "contributors": [
            {
                key: value
                for key, value in (
                    ("title", each.title),
                    ("role", each.role),
                    ("email", each.email),
                    ("organization", each.organization),
                )
                if value
            }
            for each in project.contributors
        ],
        "licenses": [
            {"name": name, "scope": scope}
            for name, scope in ((project.data_license, "data"), (project.media_license, "media"))
            if name
        ],
        "project": {
            "title": project.title,
            "samplingDesign": project.sampling_design,
            "captureMethod": ["activityDetection"],
            "individualAnimals": False,
            "observationLevel": ["event"],
        },
        "spatial": spatial(data),
        "temporal": {
            "start": f"{min(each.start for each in data.deployments):%Y-%m-%d}",
            "end": f"{max(each.end for each in data.deployments):%Y-%m-%d}",
        },
        "taxonomic": _taxonomic(data),
        "resources": [
            *(_standard(name) for name in ("deployments", "media", "observations")),
            *(_extra(table) for table in extra),
        ],
    }
    if not package["licenses"]:
        del package["licenses"]
    rounded = [each.coordinate_precision for each in data.deployments if each.coordinate_precision]
    if rounded:
        package["coordinatePrecision"] = max(rounded)
    return package


def _description(data: Dataset) -> str:
    undated = data.tally.undated_sightings
    words = [
        data.project.description,
        "Records came home by radio; pictures stay on the stations' cards and are not included. "
        "Events are visits that were told one by one; visits counted by interval are in "
        "interval_totals and are no events, and one may be in both. "
        "count is the most individuals in one picture, a lower bound. "
        "classificationProbability is the model's confidence in the picture that was told.",
    ]
    if undated:
        words.append(f"{undated} sightings by an unset clock have no time and are left out.")
    if data.tally.corrected:
        words.append(
            f"{data.tally.corrected} records have a time put right by when frames of their station "
            f"were heard, within {data.tally.uncertain_s:.0f} s, to the minute."
        )
    if data.protection and data.protection.generalized:
        words.append(f"Generalised: {data.protection.generalized}.")
    if data.protection and data.protection.withheld:
        words.append(f"Withheld: {data.protection.withheld}.")
    return " ".join(words)


def spatial(data: Dataset) -> dict[str, Any]:
    """The box around all deployments, as GeoJSON, from coordinates as they are published."""
    west, east = (f(each.longitude for each in data.deployments) for f in (min, max))
    south, north = (f(each.latitude for each in data.deployments) for f in (min, max))
    ring = [[west, south], [east, south], [east, north], [west, north], [west, south]]
    return {"type": "Polygon", "bbox": [west, south, east, north], "coordinates": [ring]}


def _taxonomic(data: Dataset) -> list[dict[str, Any]]:
    taxa: dict[str, dict[str, Any]] = {}
    for row in data.species.values():
        taxon: dict[str, Any] = {"scientificName": row.scientific_name}
        if row.taxon_id:
            taxon["taxonID"] = row.taxon_id
        if row.rank in RANKS:
            taxon["taxonRank"] = row.rank
        if row.common_name:
            taxon["vernacularNames"] = {data.project.language: row.common_name}
        taxa.setdefault(row.scientific_name, taxon)
    return list(taxa.values())


def _standard(name: str) -> dict[str, Any]:
    return {
        "name": name,
        "path": f"{name}.csv",
        "profile": "tabular-data-resource",
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": f"{BASE}/{name}-table-schema.json",
    }


def _extra(table: Table) -> dict[str, Any]:
    return {
        "name": table.name.replace("_", "-"),
        "path": f"{table.name}.csv",
        "profile": "tabular-data-resource",
        "title": table.note,
        "format": "csv",
        "mediatype": "text/csv",
        "encoding": "utf-8",
        "schema": {
            "fields": [_field(column) for column in table.columns],
            "missingValues": [""],
            "foreignKeys": [
                {
                    "fields": "deployment",
                    "reference": {"resource": "deployments", "fields": "deploymentID"},
                }
            ],
        },
    }


def _field(column: Column) -> dict[str, Any]:
    field: dict[str, Any] = {
        "name": column.name,
        "type": column.kind,
        "description": column.note,
    }
    if column.kind == "datetime":
        field["format"] = "%Y-%m-%dT%H:%M:%S%z"
    if column.required:
        field["constraints"] = {"required": True}
    return field
