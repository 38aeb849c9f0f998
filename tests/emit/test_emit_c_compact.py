"""The compact form of emitted C beside this package: drawn schemas that have it, drawn tables.

Lists of every length, elements alike and unlike, frames with a bit changed and mended; in builds
that trust values and in builds that do not.
"""

import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from fractions import Fraction
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from c_program import COMPILER, SANITIZERS, ask, build
from every_kind import EPOCH, schema_of
from hypothesis import HealthCheck, Phase, assume, given, settings
from hypothesis import strategies as st
from model_tables import drawn
from strategies import species_table
from tool_loader import ROOT, tool
from vector_entry import layout_of
from whole_values import flat

from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.codec.modelled.defaults import default_species, default_table
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import Classes
from packcodec.codec.modelled.walk import Walk
from packcodec.codec.record import Values
from packcodec.emit import emit
from packcodec.errors import DecodeError, EncodeError
from packcodec.frame.codec import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.models import BEFORE, Models, PlaceTable

needs_compiler = pytest.mark.skipif(COMPILER is None, reason="no C compiler (gcc or clang)")
TIMES = (
    Time("at", 60, 172800),
    Time("at", 1800, 86400),
    Time("at", 3600, 86400 * 40, "reject"),
    Time("at", 60, 604800),
    Time("at", 7, 7000),
)
WHOLE = {"tag_bits": 8, "message_bits": 2, "station_bits": 4, "sequence_bits": 10}
TRUSTING = "-DEVERY_KIND_TRUST_VALUES"
LEAST, STEP = Fraction("0.53125"), Fraction("0.0625")
SMALL: tuple[Callable[[str, int], Field], ...] = (
    lambda name, n: Integer(name, 0, n - 1),
    lambda name, n: Integer(name, 1, n),
    lambda name, n: Integer(name, -3, n - 4, clamp_above=True, clamp_below=True),
    lambda name, n: Scaled(name, LEAST, LEAST + (n - 1) * STEP, STEP),
    lambda name, n: Enumeration(name, tuple(f"value_{i}" for i in range(n))),
    lambda name, _: Boolean(name),
    lambda name, _: Flags(name, ("one", "two", "three")),
)
CONTEXTS = frozenset(("rank", "kin", "last", "before", "before_2", "before_3"))


def schema_drawn(random: Random) -> Schema:
    """One of those that have the compact form."""
    before: list[Field] = [
        *random.sample(TIMES, random.randrange(2)),
        *(
            random.choice(SMALL)(name, random.choice((1, 2, 5, 8, 24)))
            for name in ("power", "lid")[: random.randrange(3)]
        ),
    ]
    gaps = random.choice((8, 20, 24, 32, 256, 1024))
    fields: list[Field] = [
        Duration("after", Fraction(60), Fraction(60 * (gaps - 1)), since="previous"),
        *(
            random.choice(SMALL)(name, random.choice((1, 2, 3, 7, 8, 8, 8)))
            for name in ("individuals", "confidence", "double")[: random.randrange(4)]
        ),
    ]
    at = random.choice((1, 1, 1, random.randrange(len(fields) + 1)))
    fields.insert(at, SpeciesCode("species"))
    least = random.randrange(3)
    tail = ListOf("seen", tuple(fields), least, random.choice((least + 4, 30, 254, 255)))
    rows = random.choice((1, 3, 5, 40, 120))
    schema = replace(
        schema_of(*before, tail, check="auto", **WHOLE),
        coding="modelled",
        species=species_table(rows, random.choice((rows, rows, rows + 1, 130))),
    )
    return schema if random.random() < 0.2 else with_drawn(schema, random)


def with_drawn(schema: Schema, random: Random) -> Schema:
    """`schema` with tables by what the compact form looks at."""
    whole = random.random() < 0.5
    known = tuple(code for code in default_species(schema) if whole or random.random() < 0.8)
    tables: dict[str, PlaceTable] = {}

    def noted(spot: Spot, of: Schema, species: tuple[int, ...]) -> PlaceTable:
        found = default_table(spot, of, species)
        if spot.role == "more":
            rows = (*drawn(random, len(found.rows) - 1, 2), found.rows[-1])
            found = replace(found, rows=rows)
        elif spot.role == "new":
            found = PlaceTable(spot.path, drawn(random, 1, len(species) + 1))
        elif spot.role in ("set", "there", "age"):
            return found
        else:
            found = table_drawn(spot, species, random)
        tables[spot.path] = found
        return found

    Walk(schema.messages[0], schema, Models(known, ()), None, noted)
    return replace(schema, models=Models(known, tuple(tables[path] for path in sorted(tables))))


def table_drawn(spot: Spot, known: tuple[int, ...], random: Random) -> PlaceTable:
    available: dict[str, Any] = spot.contexts({})
    allowed = sorted(CONTEXTS & set(available)) if spot.listed else []
    if spot.codes > 8 and "last" in allowed:
        allowed.remove("last")
    for name, (at, codes) in zip(BEFORE, spot.before, strict=False):
        if codes > 24 and at == spot.species and name in allowed:
            allowed.remove(name)
    contexts = tuple(random.sample(allowed, random.randint(0, min(2, len(allowed)))))
    if {"rank", "last"} <= set(contexts):
        contexts = contexts[:1]
    rows = 1
    for name in contexts:
        rows *= available[name].size
    around = ["none"]
    if spot.role != "recent" and spot.codes <= 24:
        around.append("centre")
        around += ["last"] * (spot.codes <= 8 and "last" in available)
    return PlaceTable(
        spot.path,
        drawn(random, rows, len(Classes(spot.codes))),
        contexts,
        random.choice(around) if spot.role != "hour" else "none",
        random.randrange(spot.codes),
        bytes(random.randrange(4) for _ in known) if "kin" in contexts else b"",
    )


def value_at(field: Field, code: int) -> Any:
    match field:
        case Time(beyond="wrap", step_s=step_s, span_s=span_s):
            return {"offset_s": code * step_s, "span_s": span_s}
        case Time(step_s=step_s):
            return EPOCH + timedelta(seconds=code * step_s)
        case Duration(step_s=step_s):
            return code * step_s
        case Integer(low=low):
            return low + code
        case Scaled(low=low, step=step):
            return low + code * step
        case Enumeration(values=names):
            return names[code]
        case Boolean():
            return bool(code)
        case Flags(flags=names):
            return [name for at, name in enumerate(names) if code >> at & 1]
        case SpeciesCode():
            return f"label {code}"
    raise AssertionError(field)


def codes_in(field: Field, schema: Schema) -> int:
    match field:
        case Time(step_s=step_s, span_s=span_s):
            return span_s // step_s
        case Duration(step_s=step_s, high_s=high_s):
            return int(high_s / step_s) + 1
        case Integer(low=low, high=high):
            return high - low + 1
        case Scaled(low=low, high=high, step=step):
            return int((high - low) / step) + 1
        case Enumeration(values=names):
            return len(names)
        case Boolean():
            return 2
        case Flags(flags=names):
            return 1 << len(names)
        case SpeciesCode():
            return len(schema.species.rows)
    raise AssertionError(field)


def record(schema: Schema, random: Random) -> Values:
    """Elements of a few codes each, or all of one."""
    *before, tail = schema.messages[0].fields
    assert isinstance(tail, ListOf)
    values = {f.name: value_at(f, random.randrange(codes_in(f, schema))) for f in before}
    lengths = (tail.least, tail.least + 1, tail.least + 4, 8, 20, 60, 120, tail.most)
    length = min(random.choice(lengths), tail.most)
    few = {
        f.name: [random.randrange(codes_in(f, schema)) for _ in range(random.choice((1, 2, 6, 30)))]
        for f in tail.fields
    }
    rows = [
        {f.name: value_at(f, random.choice(few[f.name])) for f in tail.fields}
        for _ in range(length)
    ]
    return {**values, "seen": rows if random.random() < 0.7 else rows[:1] * length}


def lines(codec: Codec, random: Random, records: int) -> tuple[list[str], list[str]]:
    """What is asked of the program, and what it ought to answer."""
    schema = codec.schema
    asked, answers = [], []

    def read(frame: bytes) -> str:
        try:
            found = codec.decode(frame, station=3)
        except DecodeError as error:
            return str(int(error.reason))
        numbers = map(str, flat(schema, schema.messages[0].fields, found.values))
        return " ".join((f"0 {schema.messages[0].code} 3 {found.sequence}", *numbers))

    for number in range(records):
        values = record(schema, random)
        numbers = map(str, flat(schema, schema.messages[0].fields, values))
        asked.append(" ".join((f"e {schema.messages[0].code} 3 {number}", *numbers)))
        try:
            frame = codec.encode({"message": "m", "values": values}, station=3, sequence=number)
        except EncodeError:
            answers.append("1")
            continue
        answers.append(f"0 {frame.hex()}")
        changed = bytearray(frame)
        at = random.randrange(codec.layout.header_bits // 8, len(frame))
        changed[at] ^= 1 << random.randrange(8)
        for each in (frame, tool("arbitrary_bytes").mended(codec, bytes(changed))):
            asked.append(f"d {schema.messages[0].code} 3 {each.hex()}")
            answers.append(read(each))
    return asked, answers


@needs_compiler
@settings(
    max_examples=settings.default.max_examples // 8,
    phases=(Phase.explicit, Phase.generate),
    suppress_health_check=list(HealthCheck),
)
@given(seed=st.integers(0, 1 << 40))
def test_any_modelled_list_of_sightings_is_sent_alike(seed: int) -> None:
    random = Random(seed)
    codec = Codec(compile_layout(schema_drawn(random)))
    # Where an end might not be found in time, the general form is taken.
    assume("struct m_walk {" in emit(codec.layout, "c")["every_kind.c"])
    asked, answers = lines(codec, random, 40)
    trusting = random.choice(((), (TRUSTING,)))
    with TemporaryDirectory() as folder:
        program = build(codec.layout, Path(folder), "-O1", *trusting, *SANITIZERS)
        theirs = ask(program, asked)
    for question, ours, answer in zip(asked, answers, theirs, strict=True):
        # A frame in fixed coding may have two faults, and be refused for either.
        either = question.startswith("d") and {ours, answer} == {"1", "4"}
        assert ours == answer or either, (question, ours, answer)


@needs_compiler
@pytest.mark.parametrize(("likely", "ends"), [(128, True), (144, True), (160, True), (144, False)])
def test_elements_of_a_bit_or_two_are_said_again_from_where_the_room_counts(
    likely: int, ends: bool, tmp_path: Path
) -> None:
    """More of them than are said again lie where it is asked for one more; so all are.

    Unless it `ends` surely where somebody asks, the general form is taken.
    """
    after = Duration("after", Fraction(60), Fraction(420), since="previous")
    seen = ListOf("seen", (after, SpeciesCode("species")), 0, 60)
    tables = [PlaceTable("message.m.seen[].after", (bytes([likely, *[128] * 7]),))]
    if not ends:
        no_more = (bytes([255, 0]),) * ROOM_ROWS
        tables.insert(0, PlaceTable("message.m.seen more", no_more, ("room",)))
    schema = replace(
        schema_of(seen, check="auto", **WHOLE),
        coding="modelled",
        species=species_table(2, 2),
        models=Models((0, 1), tuple(tables)),
    )
    codec, random = Codec(compile_layout(schema)), Random(likely)
    assert ("struct m_walk {" in emit(codec.layout, "c")["every_kind.c"]) == ends
    asked, answers = [], []
    for length in range(61):
        rows = [
            {"after": 60 * random.choice((0, 0, 0, 1)), "species": f"label {random.choice('0001')}"}
            for _ in range(length)
        ]
        numbers = map(str, flat(schema, schema.messages[0].fields, {"seen": rows}))
        asked.append(" ".join((f"e 0 3 {length}", *numbers)))
        record = {"message": "m", "values": {"seen": rows}}
        answers.append(f"0 {codec.encode(record, station=3, sequence=length).hex()}")
    assert ask(build(codec.layout, tmp_path, "-O1", *SANITIZERS), asked) == answers


@needs_compiler
def test_a_species_out_of_range_guards_memory_whatever_the_build_trusts(tmp_path: Path) -> None:
    """Its code is wider than what is kept of an element, by which the element is found again."""
    small = (Integer(name, 0, 7) for name in ("individuals", "young", "herds"))
    after = Duration("after", Fraction(60), Fraction(61380), since="previous")
    rows = ListOf("seen", (after, SpeciesCode("species"), *small), 0, 60)
    schema = schema_of(rows, check="auto", **WHOLE)
    schema = replace(schema, coding="modelled", species=species_table(5, 8))
    layout = compile_layout(schema)
    assert "uint16_t latest[" in emit(layout, "c")["every_kind.c"]
    program = build(layout, tmp_path, "-O1", TRUSTING, *SANITIZERS)
    elements = "".join(f" 0 {species} 1 1 1" for species in (1, 2, 20, 1, 20))
    (answer,) = ask(program, [f"e 0 3 0 5{elements}"])
    assert answer.startswith("0 ")


def test_a_list_of_sightings_is_sent_in_the_compact_form() -> None:
    vectors = json.loads(
        (ROOT / "spec" / "vectors" / "modelled" / "sightings.json").read_text(encoding="utf-8")
    )
    for most in (60, 255):
        schema = vectors["schema"].replace("most = 60", f"most = {most}")
        schema = schema.replace("sequence_bits = 6", "sequence_bits = 13")  # a whole header
        layout = layout_of({**vectors, "schema": schema})
        assert "struct sightings_walk {" in emit(layout, "c")["sightings.c"]
