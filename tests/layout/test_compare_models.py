"""Other tables, or another meaning of a duration, are another layout, and the reason is told."""

from dataclasses import replace
from fractions import Fraction

from every_kind import schema_of
from model_tables import with_models

from packcodec.layout import compare_layouts, compile_layout
from packcodec.schema.model import Duration, Integer, ListOf

AFTER = Duration("after", Fraction(60), Fraction(3600))


def test_other_tables_are_another_layout() -> None:
    plain = replace(schema_of(Integer("n", 0, 9)), coding="modelled")
    old, new = compile_layout(plain), compile_layout(with_models(plain, 1))
    found = compare_layouts(old, new)
    assert found.verdict == "breaking"
    assert found.reasons == ("the tables of modelled coding differ",)
    assert compare_layouts(new, compile_layout(with_models(plain, 1))).verdict == "same"


def test_models_do_not_matter_to_fixed_coding() -> None:
    plain = schema_of(Integer("n", 0, 9))
    assert compile_layout(plain).identity == compile_layout(with_models(plain, 1)).identity


def test_a_duration_since_the_previous_element_is_another_meaning() -> None:
    old = schema_of(ListOf("rows", (AFTER,), 0, 3))
    new = schema_of(ListOf("rows", (replace(AFTER, since="previous"),), 0, 3))
    found = compare_layouts(compile_layout(old), compile_layout(new))
    assert found.verdict == "breaking"
    assert found.reasons == ("m.rows[].after: counted since '' → 'previous'",)
