"""The emitted ASN.1 module, apart from its bits (tests/outside/test_uper_*.py)."""

from dataclasses import replace

import asn1tools
import pytest
from every_kind import EVERY, schema_of

from packcodec.emit import TARGETS, emit
from packcodec.errors import LayoutError, PackcodecError
from packcodec.layout import compile_layout
from packcodec.schema.model import Boolean, Integer


def test_an_unknown_target_is_refused_with_the_nearest() -> None:
    with pytest.raises(PackcodecError, match="did you mean 'asn1'"):
        emit(compile_layout(EVERY[0]), "asn.1")
    with pytest.raises(PackcodecError, match="use one of asn1"):
        emit(compile_layout(EVERY[0]), "cobol")
    assert "asn1" in TARGETS


def test_a_modelled_coding_has_no_module() -> None:
    layout = compile_layout(replace(EVERY[0], coding="modelled"))
    with pytest.raises(LayoutError, match="only coding"):
        emit(layout, "asn1")


@pytest.mark.parametrize("note", ["--", "a --- b", "ends in -", "- starts", "/* open", "*/ \"'°"])
def test_no_note_can_end_its_comment(note: str) -> None:
    schema = schema_of(Boolean("lid", note=note), Integer("n", 0, 5, note=note))
    text = emit(compile_layout(schema), "asn1")["every_kind.asn1"]
    for line in text.splitlines():
        assert "--" not in line.strip().removeprefix("--")
    module = asn1tools.compile_string(text, "uper")
    assert module.encode("M", {"lid": True, "n": 5}) == bytes([0b1101_0000])


def test_units_bounds_and_meanings_are_told() -> None:
    text = emit(compile_layout(EVERY[0]), "asn1")["every_kind.asn1"]
    for line in (
        "    -- m; the least: or less; the greatest: or more",
        "    count-of INTEGER (-3..40),",
        "    -- -2 + code x 0.05 V; the least: or less; the greatest: or more",
        "    level INTEGER (0..100),",
        "    state BIT STRING { clock-unset(0), restarted(1), moved(2) } (SIZE (3)),",
        "    power ENUMERATED { battery(0), solar(1), mains(2) },",
        "    -- 2027-04-01T00:00:00Z + code x 60 s, modulo 86400 s",
        "    -- 2027-04-01T00:00:00Z + code x 3600 s",
        "    -- code x 2.5 s; the greatest: or more",
    ):
        assert line in text.splitlines()
