"""Which messages have the compact form of an encoder in C, and what it asks of their fields."""

from typing import Any

from packcodec.codec.modelled.tables import MOST_ALONE
from packcodec.emit.c_compact_tables import FEW, cut, surely_ends
from packcodec.emit.c_say import Say
from packcodec.emit.c_told import KIN, LAST, RANK, Part, Told
from packcodec.emit.c_walk import NEAR
from packcodec.layout.model import Layout

WIDEST = 24  # bits that one narrowing takes in fixed coding
MOST_ALIKE = 1 << 16
MOST_SPECIES = 256  # of which some tables hold an octet each


def fits(told: Told, say: Say, layout: Layout) -> bool:
    """Whether a message has the compact form."""
    tail, header = told.tail, told.message
    if say.wide or tail is None or tail.species_at is None or told.hours:
        return False
    if layout.header_bits % 8 or layout.repair:
        return False
    before = list(zip(header.fields[:-1], header.said["fields"][:-1], strict=True))
    elements = list(zip(tail.fields, tail.said["fields"], strict=True))
    if any(field.optional for field, _ in (*before, *elements)):
        return False
    if not all(_fits_before(entry) for _, entry in before):
        return False
    if not all(_fits_in(entry) and _follows(entry, tail) for _, entry in elements):
        return False
    if not surely_ends(header.said["fields"][-1]["more"], tail):
        return False
    widths = [width_of(entry) for _, entry in before]
    inner = [width_of(entry) for _, entry in elements]
    kept = sum(codes_of_entry(entry).bit_length() for _, entry in elements if keeps(entry))
    return (
        max((*widths, *inner)) <= WIDEST
        and sum(inner) > 0
        and told.capacity <= MOST_SPECIES
        and told.capacity.bit_length() + kept <= 32
    )


def by_hour(entry: dict[str, Any]) -> bool:
    """Whether a time is sent with a place for its hour."""
    return entry["part"] == "start" and entry["hour"] is not None


def codes_of_entry(entry: dict[str, Any]) -> int:
    """How many codes a field has."""
    return 1 << len(entry["flags"]) if "flags" in entry else int(entry["codes"])


def width_of(entry: dict[str, Any]) -> int:
    """The bits that a field takes in fixed coding."""
    return (codes_of_entry(entry) - 1).bit_length()


def count_width(tail: Part) -> int:
    """The bits that the number of elements takes in fixed coding."""
    assert tail.field is not None
    return (tail.field.most - tail.field.least).bit_length()


def keeps(entry: dict[str, Any]) -> bool:
    """Whether the field's code in the last element of the species is asked for."""
    if entry["part"] == "species":
        return False
    return any(LAST in (*place["contexts"], place["around"]) for place in tabled(entry))


def tabled(entry: dict[str, Any]) -> list[dict[str, Any]]:
    """The places of a field that go by a table."""
    places = [entry.get(key) for key in ("value", "hour", "recent")]
    return [place for place in places if place and place["rows"] and place["codes"] > 1]


def _follows(entry: dict[str, Any], tail: Part) -> bool:
    """Whether the fields said before, by which a field's tables go, are few or have classes."""
    for place in tabled(entry):
        for name in set(NEAR) & set(place["contexts"]):
            at, codes = place["before"][NEAR[name]]
            value = tail.said["fields"][at].get("value")
            if codes > MOST_ALONE and not (value and value["rows"]):
                return False
    return True


def _fits_before(entry: dict[str, Any]) -> bool:
    """Whether a field before the list is one that the compact form sends."""
    codes = codes_of_entry(entry)
    if entry["part"] == "start":
        place = entry["hour"]
        alone = place is None or (
            place["rows"] and not place["contexts"] and place["around"] == "none"
        )
        return bool(alone) and codes <= MOST_ALIKE
    return entry["part"] in ("value", "gap") and _fits_alone(entry["value"], codes)


def _fits_alone(place: dict[str, Any], codes: int) -> bool:
    if not place["rows"]:
        return codes <= MOST_ALIKE
    few = codes <= MOST_ALONE and not place["contexts"]
    return few and place["around"] in ("none", "centre")


def _fits_in(entry: dict[str, Any]) -> bool:
    """Whether a field of the elements is one that the compact form sends."""
    if entry["part"] == "species":
        place = entry["recent"]
        return bool(
            place
            and place["rows"]
            and set(place["contexts"]) <= {RANK, *NEAR}
            and place["around"] == "none"
            and len(entry["new"]) == 1
        )
    if entry["part"] not in ("value", "gap"):
        return False
    place, codes = entry["value"], codes_of_entry(entry)
    if not place["rows"]:
        return codes <= MOST_ALIKE
    contexts, around = set(place["contexts"]), place["around"]
    if codes > MOST_ALONE and (cut(codes) or around != "none" or LAST in contexts):
        return False
    return (
        codes <= MOST_ALIKE
        and contexts <= {RANK, KIN, LAST, *NEAR}
        and not {RANK, LAST} <= contexts
        and around in ("none", "centre", LAST)
        and (codes <= FEW or LAST not in (*contexts, around))
    )
