"""A schema's TOML: what is read, and that each wrong key is refused at its place with a remedy."""

from datetime import UTC, datetime
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from schema_texts import csv_of, toml_of
from strategies import schemas

from packcodec.errors import SchemaError
from packcodec.schema import (
    Boolean,
    Duration,
    Enumeration,
    Flags,
    FrameWidths,
    Integer,
    ListOf,
    Policy,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
    read_schema,
    species_file_named,
)

TOML = """\
[schema]
name = "sedgemere"
version = 3
epoch = 2027-04-01T02:00:00+02:00
note = "a note"

[species]
file = "species.csv"
codes = 64

[frame]
tag_bits = 8
message_bits = 2
station_bits = 6
sequence_bits = 10

[policy]
interval_min = 120

[stations]
north_hide = 2
"Reed bed" = 1

[message.summary]
code = 1
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 15811200, beyond = "reject" },
  { name = "species", kind = "species" },
  { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
  { name = "confidence", kind = "scaled", low = 0.5, high = 1.0, step = 0.05, unit = "1" },
  { name = "state", kind = "flags", flags = ["clock_unsure", "restarted"] },
  { name = "power", kind = "enumeration", values = ["battery", "solar"] },
  { name = "watched", kind = "duration", step_s = 0.5, high_s = 3600, above = "clamp" },
  { name = "dark", kind = "boolean", optional = true, note = "by the lamp" },
  { name = "rows", kind = "list", least = 0, most = 12, fields = [
    { name = "group", kind = "list", least = 1, most = 2, fields = [
      { name = "dark", kind = "boolean" },
    ] },
  ] },
]

[message.sighting]
code = 0
fields = [{ name = "dark", kind = "boolean" }]
"""
CSV = "code,label,scientific_name,kind\n0,otter,Lutra lutra,animal\n1,person,,human\n"

SECOND_LIST = '{ name = "group", kind = "list", least = 1, most = 2, fields = ['
THIRD_LIST = '{ name = "deep", kind = "list", least = 1, most = 2, fields = ['


def read(toml: str = TOML, csv: str = CSV) -> Schema:
    return read_schema(toml, csv, place="marsh.toml", species_place="species.csv")


def test_every_kind_of_field_is_read_exactly() -> None:
    schema = read()
    sighting, summary = schema.messages
    assert [sighting.name, summary.name] == ["sighting", "summary"], "in order of their codes"
    assert summary.fields == (
        Time("at", 60, 15811200, "reject"),
        SpeciesCode("species"),
        Integer("individuals", 1, 8, clamp_above=True),
        Scaled("confidence", Fraction(1, 2), Fraction(1), Fraction(1, 20), unit="1"),
        Flags("state", ("clock_unsure", "restarted")),
        Enumeration("power", ("battery", "solar")),
        Duration("watched", Fraction(1, 2), Fraction(3600), clamp_above=True),
        Boolean("dark", optional=True, note="by the lamp"),
        ListOf("rows", (ListOf("group", (Boolean("dark"),), 1, 2),), 0, 12),
    )


def test_the_head_frame_policy_and_stations_are_read() -> None:
    schema = read()
    assert (schema.name, schema.version, schema.note) == ("sedgemere", 3, "a note")
    assert schema.epoch == datetime(2027, 4, 1, tzinfo=UTC)
    assert schema.epoch.utcoffset() == UTC.utcoffset(None)
    assert schema.coding == "fixed"
    assert schema.frame == FrameWidths(8, 2, 6, 10, "auto")
    assert schema.policy == Policy(interval_s=7200, independence_s=1800, confidence_least=0.5)
    assert schema.stations == (("Reed bed", 1), ("north_hide", 2)), "in order of their numbers"
    assert schema.species.capacity == 64


@settings(max_examples=60, deadline=None)
@given(schemas())
def test_a_schema_written_out_reads_back_the_same(schema: Schema) -> None:
    assert read_schema(toml_of(schema), csv_of(schema.species)) == schema


def test_a_byte_order_mark_and_windows_line_ends_change_nothing() -> None:
    windows = "\ufeff" + TOML.replace("\n", "\r\n")
    assert read(windows) == read()
    with pytest.raises(SchemaError, match=r"^marsh.toml:25 message.summary.code: "):
        read(windows.replace("code = 1", "code = true"))


def test_fields_may_stand_as_tables_of_their_own() -> None:
    table = '[[message.sighting.fields]]\nname = "dark"\nkind = "boolean"\n'
    assert read(TOML.replace('fields = [{ name = "dark", kind = "boolean" }]\n', table)) == read()


def test_the_species_file_is_named_without_reading_the_rest() -> None:
    assert species_file_named(TOML) == "species.csv"
    assert species_file_named("[frame]\n") == ""
    with pytest.raises(SchemaError, match=r"^marsh.toml:1 species: the key 'file' is missing"):
        species_file_named("[species]\n", "marsh.toml")


def test_a_schema_without_species_needs_no_table() -> None:
    toml = TOML.replace('[species]\nfile = "species.csv"\ncodes = 64\n', "").replace(
        '  { name = "species", kind = "species" },\n', ""
    )
    schema = read(toml, "")
    assert (schema.species.rows, schema.species.capacity) == ((), 0)
    with pytest.raises(SchemaError, match="names no species table, but one was given"):
        read(toml, CSV)


def test_message_codes_take_the_whole_byte_where_the_carrier_says_them() -> None:
    toml = TOML.replace("message_bits = 2", "message_bits = 0").replace(
        "code = 1\n", "code = 255\n"
    )
    assert read(toml).messages[-1].code == 255


@pytest.mark.parametrize(("low", "high"), [(-(2**63), 2**64 - 1), (2**64 - 1, 2**64 - 1)])
def test_the_widest_and_narrowest_integers_are_taken(low: int, high: int) -> None:
    field = read(TOML.replace("low = 1, high = 8", f"low = {low}, high = {high}"))
    assert field.messages[1].fields[2] == Integer("individuals", low, high, clamp_above=True)


# (text in TOML, what replaces it, place of the refusal, words of the problem and the remedy)
WRONG = {
    "syntax": ("version = 3", "version =", "marsh.toml:3:10", "not TOML", "Invalid value"),
    "cut in half": (
        'kind = "boolean" }]\n',
        "kind = ",
        "marsh.toml:44",
        "not TOML",
        "the text ends here",
    ),
    "cut in a header": (TOML, "\n[schema", "marsh.toml:2", "not TOML", "the text ends here"),
    "key twice": ("version = 3", "version = 3\nname = 'marsh'", ":4 schema.name", "on line 2"),
    "table twice": ("[policy]", "[frame]", ":17 frame", "on line 11", "keep one"),
    "key twice in a field": (
        'kind = "boolean" }]',
        'kind = "boolean",name="a"}]',
        ":44 message.sighting.fields[0].name",
        "on line 44",
    ),
    "value as a table": ("[stations]", "[schema.note]", ":20 schema.note", "on line 5"),
    "keys in a value": ("version = 3", "version = 3\nversion.a = 3", ":4", "each [table] once"),
    "message misspelt": (
        "[message.sighting]",
        "[mesage.sighting]",
        ":42 mesage",
        "mean 'message'?",
    ),
    "field without name": (
        'name = "power", ',
        "",
        ":32 message.summary.fields[5]",
        'name = "individuals"',
    ),
    "schema without name": ('name = "sedgemere"\n', "", ":1 schema", 'name = "sedgemere"'),
    "nested brackets": (TOML, "a = " + "[" * 9999, "marsh.toml", "nested too deep"),
    "endless integer": ("version = 3", "version = " + "9" * 5000, "marsh.toml", "64 bits"),
    "huge integer": ("version = 3", "version = 0x" + "f" * 5000, ":3 schema.version", "past 64"),
    "section": ("[frame]", "[farme]", ":11 farme", "unknown key", "'frame'"),
    "no section": (TOML, "", "marsh.toml", "'schema' is missing", "add [schema]"),
    "section no table": (TOML, "schema = 1", ":1 schema", "must be a table", "not 1 (an integer)"),
    "key": ("high = 8", "hihg = 8", ":29 message.summary.fields[2].hihg", "mean 'high'?"),
    "odd key": ("high = 8", '"\\n" = 8', ":29 message.summary.fields[2].'\\n'", "unknown key"),
    "far key": ("tag_bits = 8", "zz = 8", ":12 frame.zz", "use tag_bits, check or seal"),
    "key of another kind": ('kind = "boolean", o', 'kind = "boolean", low = 1, o', ":34 ", "low"),
    "key before kind": ('kind = "boolean", o', 'kid = "boolean", o', ":34 ", "mean 'kind'?"),
    "missing key": ("step = 0.05, ", "", ":30 message.summary.fields[3]", "add step = 0.05"),
    "missing epoch": ("epoch", "note2", ":4 schema.note2", "unknown key"),
    "no epoch": ("epoch = 2027-04-01T02:00:00+02:00\n", "", ":1 schema", "'epoch'", "2027-04-01T"),
    "name type": (
        'name = "sedgemere"',
        "name = 7",
        ":2 schema.name",
        "must be a text",
        "7 (an int",
    ),
    "name": ("sedgemere", "Sedgemere", ":2 schema.name", "'Sedgemere' is not a name", "lower-case"),
    "name spacing": ('"at"', '"a__t"', ":27 message.summary.fields[0].name", "single underscores"),
    "name length": ("sedgemere", "s" * 41, ":2 schema.name", "at most 40"),
    "version": ("version = 3", "version = 0", ":3 schema.version", "from 1 to 4294967295"),
    "version type": ("version = 3", "version = 3.0", ":3 schema.version", "3.0 (a number)", "= 1"),
    "version boolean": ("version = 3", "version = true", ":3 schema.version", "true (a boolean)"),
    "version list": ("version = 3", "version = [3]", ":3 schema.version", "integer, not a list"),
    "version date": ("version = 3", "version = 2027-04-01", ":3 schema.version", "a date or time"),
    "note lines": ('"a note"', '"a\\nnote"', ":5 schema.note", "one line of printable text"),
    "note length": ('"a note"', f'"{"a" * 201}"', ":5 schema.note", "at most 200"),
    "epoch text": ("2027-04-01T02:00:00+02:00", '"2027"', ":4 schema.epoch", "without quotes"),
    "epoch date": ("2027-04-01T02:00:00+02:00", "2027-04-01", ":4 schema.epoch", "time of day"),
    "epoch offset": ("00:00+02:00", "00:00", ":4 schema.epoch", "no offset from UTC", "with Z"),
    "epoch fraction": ("00:00+02", "00:00.5+02", ":4 schema.epoch", "whole seconds"),
    "epoch year": ("2027-04-01T", "1969-04-01T", ":4 schema.epoch", "1970 to 9998"),
    "epoch last year": ("2027-04-01T", "9999-04-01T", ":4 schema.epoch", "1970 to 9998"),
    "coding": ("version", 'coding = "fixd"\nversion', ":3 schema.coding", "mean 'fixed'?"),
    "tag width": ("tag_bits = 8", "tag_bits = 33", ":12 frame.tag_bits", "from 0 to 32"),
    "message width": ("message_bits = 2", "message_bits = 9", ":13 frame.message_bits", "0 to 8"),
    "station width": ("station_bits = 6", "station_bits = -1", ":14 frame.station_bits", "0 to 32"),
    "sequence width": ("sequence_bits = 10", "sequence_bits = 33", ":15 frame.seq", "0 to 32"),
    "check": ("tag_bits", 'check = "crc24a"\ntag_bits', ":12 frame.check", "mean 'crc24'?"),
    "interval": ("min = 120", "min = 100", ":18 policy.interval_min", "that divides it: 96"),
    "long interval": ("min = 120", "min = 1441", ":18 policy.interval_min", "from 1 to 1440"),
    "independence": (
        "[policy]",
        "[policy]\nindependence_min = -1",
        ":18 policy.indep",
        "0 to 1440",
    ),
    "confidence": ("[policy]", "[policy]\nconfidence_least = 2", ":18 policy.conf", "from 0 to 1"),
    "station number": ("hide = 2", "hide = 64", ":21 stations.north_hide", "from 0 to 63"),
    "station twice": ("hide = 2", "hide = 1", "stations.'Reed bed'", "belongs to 'north_hide'"),
    "station named twice": ('"Reed bed"', '"north_hide"', ":22 stations.north_hide", "on line 21"),
    "station name": ('"Reed bed"', '" Reed bed"', ":22 stations.' Reed bed'", "without spaces"),
    "no station name": ('"Reed bed"', '""', ":22 stations.''", "1 to 40 printable letters"),
    "no messages": (TOML[TOML.index("[message.su") :], "", "marsh.toml", "add one as [message."),
    "message no table": (
        "[message.sighting]",
        "[message]\nsighting = 1",
        ":43 message.sighting",
        "a table",
    ),
    "message name": ("[message.sighting]", "[message.Sighting]", ":42 message.Sighting", "lower"),
    "message code": ("code = 1\n", "code = 4\n", ":25 message.summary.code", "message_bits = 3"),
    "message code past": ("code = 1\n", "code = 256\n", ":25 message.summary.code", "0 to 255"),
    "message code twice": ("code = 1\n", "code = 0\n", ":43 message.sighting.code", "'summary'"),
    "no fields": (
        '[{ name = "dark", kind = "boolean" }]',
        "[]",
        ":44 message.sighting.fields",
        "one",
    ),
    "fields no tables": ('[{ name = "dark", kind = "boolean" }]', "[1]", "sighting.fields[0]", "{"),
    "fields no list": ('[{ name = "dark", kind = "boolean" }]', "1", "sighting.fields", "a list"),
    "field twice": ('name = "power"', 'name = "at"', ":32 message.summary.fields[5].name", "twice"),
    "field kind": (
        '"boolean", o',
        '"bolean", o',
        ":34 message.summary.fields[7].kind",
        "'boolean'",
    ),
    "optional type": ("optional = true", 'optional = "yes"', "].optional", "write true or false"),
    "integer range": ("low = 1, high = 8", "low = 9, high = 8", "[2].high", "empty", "high = 9"),
    "integer bound": ("high = 8", "high = 18446744073709551616", "[2].high", "past 64 bits"),
    "integer low bound": ("low = 1,", "low = -9223372036854775809,", "[2].low", "out of range"),
    "integer type": ("high = 8", "high = 8.0", "[2].high", "must be an integer, not 8.0"),
    "clamp": ('8, above = "clamp"', '8, above = "clip"', "[2].above", "mean 'clamp'?"),
    "scaled range": ("low = 0.5", "low = 1.5", ":30 message.summary.fields[3].high", "high = 1.5"),
    "scaled type": ("low = 0.5", 'low = "0.5"', "[3].low", "must be a number, not '0.5' (a text)"),
    "scaled boolean": ("low = 0.5", "low = false", "[3].low", "must be a number, not false"),
    "scaled infinite": ("low = 0.5", "low = -inf", "[3].low", "held exactly"),
    "scaled not a number": ("low = 0.5", "low = nan", "[3].low", "held exactly"),
    "scaled exponent": ("low = 0.5", "low = 1e999999999", "[3].low", "held exactly"),
    "scaled zero": ("low = 0.5", "low = 0e-999999999", "[3].low", "held exactly"),
    "scaled endless exponent": ("low = 0.5", "low = 1e" + "9" * 30, "[3].low", "held exactly"),
    "scaled fineness": ("step = 0.05", "step = 1e-31", "[3].step", "at most 30 decimals"),
    "step zero": ("step = 0.05", "step = 0", "[3].step", "step of 0", "more than 0"),
    "step negative": ("step = 0.05", "step = -0.05", "[3].step", "step of -0.05"),
    "step divides": ("high = 1.0", "high = 1.01", "[3].high", "the nearest that is: high = 1"),
    "step too large": ("step = 0.05", "step = 7", "[3].high", "the nearest that is: high = 7.5"),
    "scaled counts": ("step = 0.05", "step = 1e-15", "[3].step", "more than 2^48", "larger step"),
    "scaled magnitude": ("0.5, high = 1.0", "1e17, high = 1e17", "[3].step", "2^50 steps"),
    "unit": ('unit = "1"', "unit = 1", "[3].unit", "must be a text"),
    "no flags": ('["clock_unsure", "restarted"]', "[]", "[4].flags", "0 names", "1 to 64"),
    "many flags": (
        '["clock_unsure", "restarted"]',
        str([f"f{i}" for i in range(65)]),
        "[4].flags",
        "has 65 names",
    ),
    "flag twice": ('"clock_unsure"', '"restarted"', "[4].flags[1]", "'restarted' is there twice"),
    "flag name": ('"clock_unsure"', '"Clock"', ":31 message.summary.fields[4].flags[0]", "'Clock'"),
    "flag type": ('"clock_unsure"', "1", "[4].flags[0]", "must be a text, not 1"),
    "values": ('"battery", "solar"', '"solar", "solar"', "[5].values[1]", "twice"),
    "many values": (
        '["battery", "solar"]',
        str([f"v{i}" for i in range(257)]),
        "[5].values",
        "give 1 to 256",
    ),
    "time step": ("step_s = 60", "step_s = 0", "[0].step_s", "0 (an integer) is out of range"),
    "time step type": ("step_s = 60", "step_s = 0.5", "[0].step_s", "must be an integer"),
    "span": ("span_s = 15811200", "span_s = 100", ":27 message.summary.fields[0].span_s", "= 120"),
    "short span": ("span_s = 15811200", "span_s = 1", "[0].span_s", "is: span_s = 60"),
    "no span": ("span_s = 15811200", "span_s = 0", "[0].span_s", "from 1"),
    "long span": ("span_s = 15811200", "span_s = 251609767200", "[0].span_s", "past the year 9999"),
    "beyond": ('beyond = "reject"', 'beyond = "clamp"', "[0].beyond", "wrap or reject"),
    "duration step": ("high_s = 3600", "high_s = 3600.3", "[6].high_s", "is: high_s = 3600.5"),
    "duration range": ("high_s = 3600", "high_s = -1", "[6].high_s", "from 0 to -1 is empty"),
    "duration below": (
        '0, above = "clamp"',
        '0, below = "clamp"',
        "[6].below",
        "note, above or since",
    ),
    "list order": ("least = 0, most = 12", "least = 3, most = 2", "[8].most", "most = 3 or more"),
    "list most": ("most = 12", "most = 256", ":35 message.summary.fields[8].most", "0 to 255"),
    "list least": ("least = 0", "least = -1", "[8].least", "from 0 to 255"),
    "list depth": (
        SECOND_LIST,
        SECOND_LIST + THIRD_LIST + '{ name = "x", kind = "boolean" } ] },',
        "[8].fields[0].fields[0].kind",
        "more than 2 deep",
    ),
    "inner field": (
        '      { name = "dark", kind = "boolean" }',
        '      { name = "dark", kind = "bool" }',
        ":37 message.summary.fields[8].fields[0].fields[0].kind",
        "mean 'boolean'?",
    ),
    "species without table": (
        '[species]\nfile = "species.csv"\ncodes = 64\n',
        "",
        ":25 message.summary.fields[1].kind",
        "add [species]",
    ),
    "species file": ('"species.csv"', '"../species.csv"', ":8 species.file", "plain file name"),
    "no species file": ('"species.csv"', '""', ":8 species.file", "plain file name"),
    "species codes": ("codes = 64", "codes = 0", ":9 species.codes", "from 1 to 65536"),
    "species key": ("codes = 64", "code = 64", ":9 species.code", "mean 'codes'?"),
}


@pytest.mark.parametrize(
    ("old", "new", "place", "words"), [(a, b, c, d) for a, b, c, *d in WRONG.values()], ids=WRONG
)
def test_what_is_wrong_is_refused_at_its_place(
    old: str, new: str, place: str, words: list[str]
) -> None:
    assert old in TOML
    with pytest.raises(SchemaError) as refused:
        read(TOML.replace(old, new, 1))
    assert place in refused.value.place
    assert refused.value.place.startswith("marsh.toml")
    assert refused.value.remedy
    for word in words:
        assert word in str(refused.value)


@st.composite
def damaged(draw: st.DrawFn, text: str) -> str:
    """`text` with a few stretches cut out, doubled, or replaced."""
    for _ in range(draw(st.integers(1, 3))):
        start = draw(st.integers(0, len(text)))
        end = min(len(text), start + draw(st.integers(0, 12)))
        piece = draw(st.one_of(st.just(text[start:end] * 2), st.sampled_from(PIECES), st.text()))
        text = text[:start] + piece + text[end:]
    return text


PIECES = [
    "",
    "[",
    "]",
    "{",
    "}",
    '"',
    "'''",
    "=",
    ",",
    ".",
    "#",
    "\n",
    "0",
    "-",
    "e9",
    "inf",
    "1e99",
]


@settings(max_examples=400, deadline=None)
@given(st.one_of(st.text(), damaged(TOML)), st.one_of(st.just(CSV), st.text(), damaged(CSV)))
def test_no_text_raises_anything_but_a_schema_error(toml: str, csv: str) -> None:
    try:
        schema = read(toml, csv)
    except SchemaError:
        return
    assert read_schema(toml_of(schema), csv_of(schema.species)) == schema
