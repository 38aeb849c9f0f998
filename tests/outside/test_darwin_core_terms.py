"""Outside source: Darwin Core and Humboldt Extension term lists, repository tdwg/dwc, files
dist/dwc_event_core_horizontal.csv and dist/dwc_occurrence_core_horizontal.csv (commit c13a04a) and
dist/dwc-a/humboldt_extension_horizontal.csv (commit faf9b88), CC BY 4.0; and the Darwin Core text
guide (TDWG, 2023-09-13), read.

Of the lists those terms stand here that an archive of ours could use: what a core of events, an
occurrence or a survey may say, without the columns of collections, taxonomy and geology.
"""

from xml.etree import ElementTree

import pytest
from small_dataset import demo, small

from packcodec.dataset.darwin import (
    DC,
    DWC,
    ECO,
    EVENT,
    HUMBOLDT,
    OCCURRENCE,
    TEXT,
    darwin_core,
)
from packcodec.dataset.protect import protect

EVENT_TERMS = """modified,language,license,rightsHolder,accessRights,bibliographicCitation,
references,institutionID,datasetID,institutionCode,datasetName,ownerInstitutionCode,
informationWithheld,dataGeneralizations,dynamicProperties,eventID,parentEventID,eventCategory,
eventType,fieldNumber,recordedBy,recordedByID,eventDurationValue,eventDurationUnit,eventDate,
eventTime,startDayOfYear,endDayOfYear,year,month,day,verbatimEventDate,habitat,fieldNotes,
eventRemarks,locationID,siteNumber,higherGeographyID,higherGeography,continent,waterBody,
islandGroup,island,country,countryCode,stateProvince,county,municipality,locality,
verbatimLocality,minimumDistanceAboveSurfaceInMeters,maximumDistanceAboveSurfaceInMeters,
locationAccordingTo,locationRemarks,decimalLatitude,decimalLongitude,geodeticDatum,
coordinateUncertaintyInMeters,coordinatePrecision,samplingProtocol,sampleSizeValue,sampleSizeUnit,
samplingEffort"""

OCCURRENCE_TERMS = """type,basisOfRecord,informationWithheld,dataGeneralizations,occurrenceID,
recordedBy,recordedByID,individualCount,organismQuantity,organismQuantityType,sex,lifeStage,
behavior,occurrenceStatus,associatedMedia,associatedOccurrences,associatedReferences,
associatedTaxa,occurrenceRemarks,eventID,identificationID,verbatimIdentification,
identificationQualifier,identifiedBy,identifiedByID,dateIdentified,identificationReferences,
identificationVerificationStatus,identificationRemarks,taxonID,scientificNameID,scientificName,
higherClassification,kingdom,phylum,class,order,family,genus,specificEpithet,
infraspecificEpithet,taxonRank,verbatimTaxonRank,scientificNameAuthorship,vernacularName,
nomenclaturalCode,taxonomicStatus,taxonRemarks"""

HUMBOLDT_TERMS = """surveyID,verbatimTargetScope,siteCount,targetTaxonomicScope,
excludedTaxonomicScope,taxonCompletenessReported,taxonCompletenessProtocols,
isTaxonomicScopeFullyReported,isAbsenceReported,absentTaxa,hasNonTargetTaxa,nonTargetTaxa,
areNonTargetTaxaFullyReported,inventoryTypes,protocolNames,protocolDescriptions,
protocolReferences,isAbundanceReported,isAbundanceCapReported,abundanceCap,
isLeastSpecificTargetCategoryQuantityInclusive,samplingProtocol,sampleSizeValue,sampleSizeUnit,
samplingPerformedBy,isSamplingEffortReported,samplingEffortProtocol,samplingEffort,
samplingEffortValue,samplingEffortUnit"""


def terms(text: str) -> set[str]:
    return set("".join(text.split()).split(","))


@pytest.mark.parametrize(
    ("columns", "listed"),
    [(EVENT, EVENT_TERMS), (OCCURRENCE, OCCURRENCE_TERMS), (HUMBOLDT[1:], HUMBOLDT_TERMS)],
    ids=["event", "occurrence", "humboldt"],
)
def test_every_column_is_a_term_of_the_list(columns: tuple[str, ...], listed: str) -> None:
    assert set(columns) <= terms(listed)
    assert len(set(columns)) == len(columns)


def archive() -> ElementTree.Element:
    return ElementTree.fromstring(darwin_core(protect(demo()))["meta.xml"])


def tag(name: str) -> str:
    return f"{{{TEXT}}}{name}"


def test_one_core_and_two_extensions_by_their_row_types() -> None:
    """Text guide, 2.2 to 2.4: one core with id, extensions with coreid, full addresses."""
    root = archive()
    assert root.tag == tag("archive")
    assert root.attrib["metadata"] == "eml.xml"
    assert [(each.tag, each.attrib["rowType"]) for each in root] == [
        (tag("core"), "http://rs.tdwg.org/dwc/terms/Event"),
        (tag("extension"), "http://rs.tdwg.org/dwc/terms/Occurrence"),
        (tag("extension"), "http://rs.tdwg.org/eco/terms/Event"),
    ]
    core, *extensions = root
    assert [each.attrib for each in core.iter(tag("id"))] == [{"index": "0"}]
    for extension in extensions:
        assert [each.attrib for each in extension.iter(tag("coreid"))] == [{"index": "0"}]


def test_the_attributes_say_how_the_files_are_written() -> None:
    """Text guide: the default of ignoreHeaderLines is 0, and a line feed is written as \\n."""
    files = darwin_core(protect(small()))
    for table in ElementTree.fromstring(files["meta.xml"]):
        assert table.attrib["ignoreHeaderLines"] == "1"
        assert (table.attrib["fieldsTerminatedBy"], table.attrib["linesTerminatedBy"]) == (
            ",",
            "\\n",
        )
        location = table.findtext(f"{tag('files')}/{tag('location')}") or ""
        assert "\r" not in files[location]
        assert not files[location].startswith("\ufeff")


def test_terms_are_in_the_namespaces_they_belong_to() -> None:
    spaces = {DWC: set(EVENT) | set(OCCURRENCE), ECO: set(HUMBOLDT), DC: {"license"}}
    for field in archive().iter(tag("field")):
        space, name = field.attrib["term"].rsplit("/", 1)
        assert name in spaces[f"{space}/"]
    assert f"{DWC}license" not in {each.attrib["term"] for each in archive().iter(tag("field"))}
