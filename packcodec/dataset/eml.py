"""The dataset's metadata in EML 2.1.1, in the elements that GBIF's profile 1.1 requires (from
memory): title, creator, metadata provider, publication date, language, abstract, rights, coverage,
contact, methods.
"""

from collections.abc import Mapping
from xml.etree import ElementTree

from packcodec.dataset.model import Contributor, Dataset
from packcodec.dataset.tables import utc_text

# The licences that GBIF takes, by the names of SPDX.
LICENSES: Mapping[str, str] = {
    "CC0-1.0": "https://creativecommons.org/publicdomain/zero/1.0/legalcode",
    "CC-BY-4.0": "https://creativecommons.org/licenses/by/4.0/legalcode",
    "CC-BY-NC-4.0": "https://creativecommons.org/licenses/by-nc/4.0/legalcode",
}
NAMESPACE = "eml://ecoinformatics.org/eml-2.1.1"


def eml(data: Dataset) -> str:
    """The document; coordinates and species are those of `data`, already protected."""
    project = data.project
    ElementTree.register_namespace("eml", NAMESPACE)
    root = ElementTree.Element(
        f"{{{NAMESPACE}}}eml",
        {"packageId": f"{project.name}/{data.created:%Y%m%d}", "system": "packcodec"},
    )
    dataset = ElementTree.SubElement(root, "dataset")
    _text(dataset, "title", project.title)
    people = project.contributors
    for role in ("creator", "metadataProvider"):
        for each in people if role == "creator" else people[:1]:
            _person(dataset, role, each)
    _text(dataset, "pubDate", f"{data.created:%Y-%m-%d}")
    _text(dataset, "language", project.language)
    _text(ElementTree.SubElement(dataset, "abstract"), "para", project.description)
    if project.data_license:
        _rights(dataset, project.data_license)
    _coverage(dataset, data)
    contacts = [each for each in people if each.role == "contact"] or people[:1]
    for each in contacts:
        _person(dataset, "contact", each)
    _methods(dataset, data)
    more = ElementTree.SubElement(ElementTree.SubElement(root, "additionalMetadata"), "metadata")
    _text(ElementTree.SubElement(more, "gbif"), "dateStamp", utc_text(data.created))
    return document(root)


def document(root: ElementTree.Element) -> str:
    """An element as an XML document of UTF-8."""
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="UTF-8"?>\n{body}\n'


def _text(parent: ElementTree.Element, tag: str, text: str) -> ElementTree.Element:
    child = ElementTree.SubElement(parent, tag)
    child.text = text
    return child


def _rights(dataset: ElementTree.Element, name: str) -> None:
    para = _text(ElementTree.SubElement(dataset, "intellectualRights"), "para", name)
    if name in LICENSES:
        para.text = "This work is licensed under "
        link = ElementTree.SubElement(para, "ulink", {"url": LICENSES[name]})
        _text(link, "citetitle", name)


def _person(parent: ElementTree.Element, tag: str, person: Contributor) -> None:
    element = ElementTree.SubElement(parent, tag)
    _text(element, "organizationName", person.organization or person.title)
    if person.organization:
        _text(element, "positionName", person.title)
    if person.email:
        _text(element, "electronicMailAddress", person.email)


def _coverage(dataset: ElementTree.Element, data: Dataset) -> None:
    coverage = ElementTree.SubElement(dataset, "coverage")
    place = ElementTree.SubElement(coverage, "geographicCoverage")
    _text(place, "geographicDescription", data.project.title)
    box = ElementTree.SubElement(place, "boundingCoordinates")
    homes = data.deployments
    _text(box, "westBoundingCoordinate", f"{min(each.longitude for each in homes):.10g}")
    _text(box, "eastBoundingCoordinate", f"{max(each.longitude for each in homes):.10g}")
    _text(box, "northBoundingCoordinate", f"{max(each.latitude for each in homes):.10g}")
    _text(box, "southBoundingCoordinate", f"{min(each.latitude for each in homes):.10g}")
    dates = ElementTree.SubElement(
        ElementTree.SubElement(coverage, "temporalCoverage"), "rangeOfDates"
    )
    for tag, when in (
        ("beginDate", min(each.start for each in homes)),
        ("endDate", max(each.end for each in homes)),
    ):
        _text(ElementTree.SubElement(dates, tag), "calendarDate", f"{when:%Y-%m-%d}")
    if not data.species:
        return
    taxa = ElementTree.SubElement(coverage, "taxonomicCoverage")
    for row in data.species.values():
        taxon = ElementTree.SubElement(taxa, "taxonomicClassification")
        if row.rank:
            _text(taxon, "taxonRankName", row.rank)
        _text(taxon, "taxonRankValue", row.scientific_name)
        if row.common_name:
            _text(taxon, "commonName", row.common_name)


def _methods(dataset: ElementTree.Element, data: Dataset) -> None:
    methods = ElementTree.SubElement(dataset, "methods")
    step = ElementTree.SubElement(ElementTree.SubElement(methods, "methodStep"), "description")
    _text(
        step,
        "para",
        f"A model on each station labels pictures; detections of one species at one station are "
        f"one visit until {data.independence_s // 60} min have passed without one; detections of a "
        f"confidence below {data.confidence_least:g} are not counted. Stations report visits and "
        "the time really watched by radio. Frames that never came leave the effort unknown.",
    )
    sampling = ElementTree.SubElement(methods, "sampling")
    _text(
        ElementTree.SubElement(sampling, "studyExtent"),
        "description",
        f"{len(data.deployments)} deployments, {data.project.sampling_design} design",
    )
    _text(
        ElementTree.SubElement(sampling, "samplingDescription"),
        "para",
        "Effort is the time watched as the stations told it; not detected is not absent.",
    )
