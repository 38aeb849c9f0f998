"""Old against new: the verdict of every kind of change, and its reason in words."""

from dataclasses import replace

import pytest
from hypothesis import given
from plain_schema import schema_of
from strategies import schemas, species_table

from packcodec.layout import compare_layouts, compile_layout
from packcodec.schema.model import Boolean, Integer, Message, Policy, Schema, SpeciesCode

OLD = schema_of(Integer("n", 0, 7), SpeciesCode("species"), table=species_table(3, 8))
FIELDS = OLD.messages[0].fields


def with_fields(*fields: object) -> Schema:
    return replace(OLD, messages=(replace(OLD.messages[0], fields=fields),))


def with_rows(*rows: object) -> Schema:
    return replace(OLD, species=replace(OLD.species, rows=rows))


ROWS = OLD.species.rows
JOINED = replace(species_table(4).rows[3], added="2027-06-01")

CHANGES = [
    (OLD, "same", ""),
    (replace(OLD, policy=Policy(86400)), "same", "policy"),
    (with_rows(replace(ROWS[0], label="other"), *ROWS[1:]), "same", "label"),
    (with_rows(*ROWS, JOINED), "readable", "#3"),
    (with_rows(*ROWS, replace(JOINED, added="")), "breaking", "added"),
    (with_rows(*ROWS[:2]), "breaking", "never remove"),
    (with_rows(replace(ROWS[0], scientific_name="Other name"), *ROWS[1:]), "breaking", "append"),
    (with_fields(Integer("n", 0, 8), FIELDS[1]), "breaking", "3 bits → 4 bits"),
    (with_fields(Integer("n", 1, 8), FIELDS[1]), "breaking", "0 to 7 → 1 to 8"),
    (with_fields(Integer("n", 0, 7, unit="m"), FIELDS[1]), "breaking", "0 to 7 m"),
    (with_fields(Integer("n", 0, 7, optional=True), FIELDS[1]), "breaking", "optional"),
    (with_fields(Boolean("n"), FIELDS[1]), "breaking", "integer → boolean"),
    (with_fields(FIELDS[1], FIELDS[0]), "breaking", "another order"),
    (with_fields(FIELDS[0]), "breaking", "species is gone"),
    (with_fields(*FIELDS, Boolean("dark")), "breaking", "dark is new"),
    (replace(OLD, version=2), "breaking", "version: 1 → 2"),
    (replace(OLD, frame=replace(OLD.frame, tag_bits=9)), "breaking", "tag bits: 8 → 9"),
    (
        replace(OLD, messages=(*OLD.messages, Message("other", 1, (Boolean("dark"),)))),
        "breaking",
        "message other is new",
    ),
]


@pytest.mark.parametrize(("new", "verdict", "said"), CHANGES, ids=lambda value: str(value)[:30])
def test_every_change_gets_its_verdict_and_its_reason(new: Schema, verdict: str, said: str) -> None:
    comparison = compare_layouts(compile_layout(OLD), compile_layout(new))
    assert comparison.verdict == verdict
    assert said in "\n".join(comparison.reasons)
    assert not comparison.unsafe


def test_a_joined_row_that_changes_its_meaning_is_unsafe() -> None:
    """It is outside the identity, so no tag can tell the two meanings apart."""
    old = compile_layout(with_rows(*ROWS, JOINED))
    new = compile_layout(with_rows(*ROWS, replace(JOINED, scientific_name="Other name")))
    comparison = compare_layouts(old, new)
    assert old.identity == new.identity
    assert (comparison.verdict, comparison.unsafe) == ("breaking", True)


@given(schemas(check="auto"), schemas(check="auto"))
def test_breaking_is_exactly_another_identity_unless_unsafe(one: Schema, other: Schema) -> None:
    old, new = compile_layout(one), compile_layout(other)
    comparison = compare_layouts(old, new)
    assert compare_layouts(old, old).verdict == "same"
    if not comparison.unsafe:
        assert (comparison.verdict == "breaking") == (old.identity != new.identity)
    if comparison.verdict == "breaking":
        assert comparison.reasons


def said_of(old: Schema, new: Schema) -> tuple[str, ...]:
    return compare_layouts(compile_layout(old), compile_layout(new)).reasons


def test_a_row_that_joined_is_told_in_one_line() -> None:
    assert said_of(OLD, with_rows(*ROWS, JOINED)) == (
        f"species code 3 ({JOINED.label}) is new; an old base calls it #3",
    )
    [undated] = said_of(OLD, with_rows(*ROWS, replace(JOINED, added="")))
    assert undated.startswith(f"species code 3 ({JOINED.label}) is new, without the date it joined")
    other = replace(with_rows(*ROWS, JOINED), version=2)
    assert said_of(OLD, other) == (
        "version: 1 → 2",
        f"species code 3 ({JOINED.label}) is new",
    ), "an old base reads none of its frames, so it calls it nothing"


def test_a_date_that_comes_or_goes_is_told_in_one_line() -> None:
    joined, undated = with_rows(*ROWS, JOINED), with_rows(*ROWS, replace(JOINED, added=""))
    [lost] = said_of(joined, undated)
    assert lost.startswith(f"species code 3 ({JOINED.label}) is there, without the date it joined")
    [gained] = said_of(undated, joined)
    assert gained.endswith("was a founding row and has a date now; leave its column 'added' empty")


def test_an_epoch_is_written_as_in_the_schema() -> None:
    later = replace(OLD, epoch=OLD.epoch.replace(year=2031))
    assert said_of(OLD, later) == (f"epoch: {OLD.epoch:%Y-%m-%dT%H:%M:%S}Z → 2031-04-01T00:00:00Z",)
