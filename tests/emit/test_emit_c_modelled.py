"""Emitted C in modelled coding where drawn schemas seldom lead: long tails, no room for them."""

import subprocess
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
from c_program import COMPILER, SANITIZERS, WARNINGS, ask, build, write
from every_kind import schema_of
from hypothesis import given
from hypothesis import strategies as st
from model_tables import with_models
from strategies import species_table
from whole_values import flat

from packcodec.codec.record import Values
from packcodec.emit import emit
from packcodec.emit.c_codes import divided
from packcodec.errors import EncodeError, LayoutError, Reason
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import (
    Boolean,
    Duration,
    Integer,
    ListOf,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.models import Models, PlaceTable

CODES = 40
TAIL = ListOf(
    "seen",
    (
        Duration("after", Fraction(60), Fraction(61380), since="previous"),
        SpeciesCode("species"),
        Integer("individuals", 1, 30, clamp_above=True),
    ),
    0,
    255,
)
SIGHTINGS = replace(
    schema_of(Time("at", 60, 172800), TAIL, check="auto"),
    coding="modelled",
    species=species_table(CODES - 3, CODES),
)


def sightings(random: Random) -> Values:
    """Bursts of a few species, more of them in some records than the four that are held."""
    few = random.sample(range(CODES - 3), random.choice((1, 3, 20)))
    gaps = random.choice(((0, 60), (60, 600, 61380), range(0, 61380, 60)))
    rows = [
        {
            "after": Fraction(random.choice(gaps)),
            "species": f"label {random.choice(few)}",
            "individuals": random.choice((1, 1, 1, 2, 30)),
        }
        for _ in range(random.choice((0, 1, 5, 20, 60, 250)))
    ]
    return {"at": {"offset_s": 60 * random.randrange(2880), "span_s": 172800}, "seen": rows}


@pytest.mark.skipif(COMPILER is None, reason="no C compiler (gcc or clang)")
@pytest.mark.parametrize("seed", [None, 1, 2, 3])
def test_long_tails_are_framed_alike_and_what_is_too_long_is_refused(
    seed: int | None, tmp_path: Path
) -> None:
    schema: Schema = SIGHTINGS if seed is None else with_models(SIGHTINGS, seed)
    codec = Codec(compile_layout(schema))
    random = Random(seed)
    asked, answers = [], []
    for number in range(200):
        values = sightings(random)
        numbers = " ".join(map(str, flat(schema, schema.messages[0].fields, values)))
        asked.append(f"e 0 3 {number} {numbers}")
        try:
            frame = codec.encode({"message": "m", "values": values}, station=3, sequence=number)
        except EncodeError:
            answers.append(str(int(Reason.WRONG_LENGTH)))
            continue
        answers.append(f"0 {frame.hex()}")
        asked.append(f"d 0 3 {frame.hex()}")
        answers.append(f"0 0 3 {number} {sent(codec, frame)}")
    assert str(int(Reason.WRONG_LENGTH)) in answers
    program = build(codec.layout, tmp_path, "-O1", *SANITIZERS)
    assert ask(program, asked) == answers


def sent(codec: Codec, frame: bytes) -> str:
    """The numbers that a frame holds."""
    values = codec.decode(frame, station=3).values
    return " ".join(map(str, flat(codec.schema, codec.schema.messages[0].fields, values)))


@pytest.mark.skipif(COMPILER is None, reason="no C compiler (gcc or clang)")
@pytest.mark.parametrize("name", ["w", "row", "i", "message", "last", "centre", "chosen"])
def test_fields_may_be_called_as_variables_are(name: str, tmp_path: Path) -> None:
    for high in (3, 9, 400):
        schema = schema_of(ListOf(name, (Integer(name, 3, high),), 1, 4), Boolean("lid"))
        source = write(compile_layout(replace(schema, coding="modelled")), tmp_path)
        subprocess.run([str(COMPILER), *WARNINGS, "-fsyntax-only", source], check=True)


def test_a_packet_in_which_too_much_can_pass_is_refused_by_name() -> None:
    """Where a table goes by the hour; else nobody asks how much has passed."""
    eternal = Duration("after", Fraction(1), Fraction((1 << 60) - 1), since="previous")
    seen = ListOf("seen", (eternal, SpeciesCode("species")), 0, 255)
    schema = replace(schema_of(Time("at", 60, 172800), seen, check="auto"), coding="modelled")
    assert emit(compile_layout(schema), "c")
    by_hour = PlaceTable("message.m.seen[].species new", (bytes([128]),) * 8, ("hour",))
    schema = replace(schema, models=Models((), (by_hour,)))
    with pytest.raises(LayoutError, match=r"message\.m.*64 bits.*narrow the durations"):
        emit(compile_layout(schema), "c")


@given(
    by=st.one_of(st.integers(1, 100_000), st.sampled_from([60, 900, 3600, 86400])),
    most=st.one_of(st.integers(0, 1 << 16), st.integers(0, (1 << 32) - 1)),
    data=st.data(),
)
def test_a_division_is_right_to_its_last_number(by: int, most: int, data: st.DataObject) -> None:
    text = divided("n", by, most)
    near = data.draw(st.integers(0, most // by)) * by
    for n in {0, most, *(min(max(near + off, 0), most) for off in (-1, 0, 1))}:
        assert worked_out(text, n) == n // by, text


class Word(int):
    """A number of 32 bits: a product must be one."""

    def __mul__(self, by: int) -> "Word":
        product = int(self) * by
        assert product < 1 << 32
        return Word(product)

    def __rshift__(self, by: int) -> "Word":
        return Word(int(self) >> by)


def worked_out(text: str, n: int) -> int:
    """The expression's value; products must fit 32 bits, as in C."""

    def quotient(number: int, by: int) -> int:
        return number // by

    text = text.replace("u ", " ").replace("u)", ")")
    return int(eval(text, {"n": Word(n), "quotient": quotient}))
