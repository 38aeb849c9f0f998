"""The identity: what it covers, what it leaves out, and that it never moves."""

import json
from dataclasses import replace
from datetime import timedelta
from hashlib import sha256

import pytest
from hypothesis import given
from plain_schema import schema_of
from strategies import schemas, species_table

from packcodec.layout import canonical_form, identity_of
from packcodec.layout.identity import tag_of
from packcodec.schema.model import Boolean, Integer, ListOf, Policy, Schema, SpeciesCode

BASE = schema_of(
    Integer("n", 0, 7, unit="m"),
    SpeciesCode("species"),
    ListOf("rows", (Boolean("dark"),), 0, 3),
    table=species_table(3, 8),
)


def test_the_identity_is_the_one_that_was_published() -> None:
    """Frozen: a change here is a change on the air, for every station in the field."""
    assert identity_of(BASE).hex() == (
        "1aa8b48dc7e3c0c6833b8c2e7462537ac76351ade3f000503793eb54f510df3c"
    )


def field_changed(**changes: object) -> Schema:
    message = BASE.messages[0]
    first = replace(message.fields[0], **changes)  # type: ignore[arg-type]
    return replace(BASE, messages=(replace(message, fields=(first, *message.fields[1:])),))


def row_changed(**changes: object) -> Schema:
    first, *rest = BASE.species.rows
    rows = (replace(first, **changes), *rest)  # type: ignore[arg-type]
    return replace(BASE, species=replace(BASE.species, rows=rows))


@pytest.mark.parametrize(
    "changed",
    [
        replace(BASE, name="reed_bed"),
        replace(BASE, version=2),
        replace(BASE, epoch=BASE.epoch + timedelta(seconds=1)),
        replace(BASE, coding="modelled"),
        replace(BASE, frame=replace(BASE.frame, station_bits=5)),
        replace(BASE, frame=replace(BASE.frame, check="crc32")),
        replace(BASE, species=replace(BASE.species, capacity=9)),
        replace(BASE, messages=(replace(BASE.messages[0], code=1),)),
        field_changed(name="m"),
        field_changed(high=6),
        field_changed(unit="mm"),
        field_changed(optional=True),
        field_changed(clamp_above=True),
        row_changed(scientific_name="Genus other"),
        row_changed(kind="vehicle"),
        row_changed(code=7),
    ],
)
def test_what_changes_the_meaning_changes_the_identity(changed: Schema) -> None:
    assert identity_of(changed) != identity_of(BASE)


@pytest.mark.parametrize(
    "changed",
    [
        replace(BASE, note="another note"),
        replace(BASE, policy=Policy(86400, 60, 0.9)),
        replace(BASE, stations=(("north_hide", 1),)),
        field_changed(note="metres"),
        row_changed(label="another label"),
        row_changed(common_name="Common Name", authority="L.", rank="species"),
        row_changed(report="priority", sensitivity="0.1", retired=True),
        replace(
            BASE,
            species=species_table(4, 8).__class__(
                (*BASE.species.rows, replace(species_table(4).rows[3], added="2027-06-01")), 8
            ),
        ),
    ],
)
def test_what_never_goes_on_the_air_does_not(changed: Schema) -> None:
    assert identity_of(changed) == identity_of(BASE)


@given(schemas())
def test_the_canonical_form_is_plain_json_without_fractions(schema: Schema) -> None:
    text = canonical_form(schema)
    read = json.loads(text)
    assert json.dumps(read, sort_keys=True, separators=(",", ":"), ensure_ascii=False) == text
    json.loads(text, parse_float=pytest.fail)


def test_letters_past_ascii_stand_as_they_are() -> None:
    """RFC 8785 escapes only what JSON must; the identity is of the UTF-8 text."""
    warm = field_changed(unit="°C")
    assert '"unit":"°C"' in canonical_form(warm)
    assert identity_of(warm) == sha256(canonical_form(warm).encode("utf-8")).digest()


def test_the_tag_is_the_first_bits_of_the_identity() -> None:
    identity = bytes.fromhex("a5f00f5a") + bytes(28)
    assert [tag_of(identity, bits) for bits in (0, 1, 4, 8, 32)] == [0, 1, 0xA, 0xA5, 0xA5F00F5A]
