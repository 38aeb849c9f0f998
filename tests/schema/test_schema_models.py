"""Models files and what a schema says of them: read, written, and refused at their place."""

import pytest

from packcodec.errors import LayoutError, SchemaError
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema import read_schema
from packcodec.schema.models import Models, PlaceTable, models_text, read_models

SPECIES = "code,label,scientific_name,kind\n1,coot,Fulica atra,animal\n"
SCHEMA = """
[schema]
name = "reeds"
version = 1
epoch = 2027-04-01T00:00:00Z
coding = "modelled"
[species]
file = "species.csv"
codes = 4
[frame]
tag_bits = 8
message_bits = 0
station_bits = 0
sequence_bits = 0
[models]
file = "models.toml"
[message.m]
code = 0
fields = [
  { name = "n", kind = "integer", low = 0, high = 2 },
  { name = "rows", kind = "list", least = 0, most = 3, fields = [
    { name = "after", kind = "duration", step_s = 60, high_s = 600, since = "previous" },
    { name = "species", kind = "species" },
  ] },
]
"""
MODELS = Models(
    (1,),
    (
        PlaceTable("message.m.n", (b"\x80\x70\x60",) * 2 * 4, ("hour",), around="centre", centre=1),
        PlaceTable("message.m.rows[].species new", (b"\x80\x70",), (), kin=b""),
    ),
)


def test_what_is_written_is_read_again() -> None:
    text = models_text(MODELS)
    assert read_models(text) == MODELS
    assert MODELS.size_bytes == 8 * 3 + 2
    schema = read_schema(SCHEMA, SPECIES, models_toml=text)
    assert schema.models == MODELS
    codec = Codec(compile_layout(schema))
    values = {"n": 2, "rows": [{"after": 60, "species": "coot"}]}
    frame = codec.encode({"message": "m", "values": values}, station=0)
    assert codec.decode(frame, station=0).values == values


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("species = [2, 1]", "not a list of codes"),
        ("species = 3", "not a list of codes"),
        ("species = []\nwords = 1", "unknown key"),
        ('species = []\n[[table]]\npath = "a"\nrows = ["0g"]', "not hexadecimal"),
        ('species = []\n[[table]]\npath = "a"\nrows = "00"', "not a list of texts"),
        ('species = []\n[[table]]\npath = "a"\ncontexts = ["moon"]\nrows = []', "'moon' is none"),
        ('species = []\n[[table]]\npath = "a"\naround = "moon"\nrows = []', "is not"),
        ('species = [1]\n[[table]]\npath = "a"\nkin = "00"\nrows = []', "each species its class"),
        (
            'species = [1]\n[[table]]\npath = "a"\ncontexts = ["kin"]\nkin = "04"\nrows = []',
            "each species its class",
        ),
        (
            'species = []\n[[table]]\npath = "a"\nrows = []\n[[table]]\npath = "a"\nrows = []',
            "there twice",
        ),
    ],
)
def test_a_wrong_models_file_is_refused(text: str, problem: str) -> None:
    with pytest.raises(SchemaError) as refused:
        read_models(text, "models.toml")
    assert problem in str(refused.value)
    assert refused.value.place.startswith("models.toml")


@pytest.mark.parametrize(
    ("table", "problem"),
    [
        (PlaceTable("message.m.n", (b"\x80\x80",)), "3 symbols"),
        (PlaceTable("message.m.n", (b"\x80\x80\x80",), ("hour",)), "these contexts choose among 8"),
        (PlaceTable("message.m.n", (b"\x80\x80\x80",), ("last",)), "'last' is not known"),
        (PlaceTable("message.m.n", (b"\x80\x80\x80",), (), "previous"), "cannot count from"),
        (PlaceTable("message.m.rows more", (b"\x80\x80",), ("room",)), "among 16"),
    ],
)
def test_tables_of_another_schema_are_refused(table: PlaceTable, problem: str) -> None:
    text = models_text(Models((1,), (table,)))
    with pytest.raises(LayoutError) as refused:
        Codec(compile_layout(read_schema(SCHEMA, SPECIES, models_toml=text)))
    assert problem in str(refused.value)
    assert table.path in refused.value.place


@pytest.mark.parametrize(
    ("old", "new", "problem"),
    [
        ('coding = "modelled"', 'coding = "fixed"', "fixed coding uses no models"),
        ('file = "models.toml"', 'file = "a/models.toml"', "plain file name"),
        ('since = "previous"', 'since = "noon"', "'noon'"),
        ("step_s = 60, high_s = 600", "step_s = 0.5, high_s = 600", "whole number of seconds"),
        ('since = "previous"', 'since = "previous", optional = true', "stops the clock"),
        (
            '{ name = "n", kind = "integer", low = 0, high = 2 }',
            '{ name = "n", kind = "duration", step_s = 1, high_s = 2, since = "previous" }',
            "no previous element",
        ),
    ],
)
def test_a_schema_that_says_it_wrong_is_refused(old: str, new: str, problem: str) -> None:
    assert old in SCHEMA
    with pytest.raises(SchemaError) as refused:
        read_schema(SCHEMA.replace(old, new), SPECIES, models_toml="species = []")
    assert problem in str(refused.value)


def test_models_without_being_named_are_refused() -> None:
    without = SCHEMA.replace('[models]\nfile = "models.toml"\n', "")
    with pytest.raises(SchemaError, match="names no models"):
        read_schema(without, SPECIES, models_toml="species = []")
