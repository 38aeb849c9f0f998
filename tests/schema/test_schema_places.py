"""The line of a TOML key, and the wording shared by refusals."""

import tomllib
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from packcodec.schema.remedy import decimal, nearest, one_of
from packcodec.schema.toml_place import Path, dotted, line_of, repeated

# Every integer below is the line it stands on.
LINES = '''\
a = 1 # = 9, [x]
"b c".'d' = 2
e."f\\"\\u0041" = 3
text = """
x = 1 ] } # \\""" y
"""
g = 7
raw = \'\'\'
[g] '' = "
\'\'\'
h = [ 11, [11, 11], # [ ]
  12,
  { i = 13, j.k = 13, l = [13, { m = 13 }] }, "]", \'}\',

  15 ]
when = 2027-04-01 10:00:00Z
n = 0x11
o = [ ]
p = { }
q = 20

[r]
s = 23
t.u = 24
[ "v w" . x ]
y = 26
[[z]]
a = 28
[[z]]
a = 30
[z.b]
c = 32
[[z.d]]
e = 34
[[z.d]]
e = 36
f = [
]
g = 39'''


def leaves(value: Any, path: Path = ()) -> list[tuple[Path, int]]:
    if isinstance(value, dict):
        return [leaf for key, inner in value.items() for leaf in leaves(inner, (*path, key))]
    if isinstance(value, list):
        return [leaf for item, inner in enumerate(value) for leaf in leaves(inner, (*path, item))]
    return [(path, value)] if isinstance(value, int) else []


@pytest.mark.parametrize("ends", ["", "\n", "\n# the end"])
def test_every_value_of_an_ordinary_file_is_found(ends: str) -> None:
    found = leaves(tomllib.loads(LINES + ends))
    assert len(found) == 24
    assert [(path, line_of(LINES + ends, path)) for path, _ in found] == found


def test_nothing_of_an_ordinary_file_is_there_twice() -> None:
    assert repeated(LINES) is None


@pytest.mark.parametrize(
    ("text", "path", "first", "second"),
    [
        ("a = [\n1,\n]\nb = 2\na = [\n1", ("a",), 1, 5),
        ('a.b = 1\n"a".c = 2\na."b" = 3', ("a", "b"), 1, 3),
        ("[[a]]\n[a.b]\n[[a]]\n[a.b]\nc = 1\nc = 2", ("a", 1, "b", "c"), 5, 6),
        ("[a]\n[a.b]\n[a]\n", ("a",), 1, 3),
        ("a = [{ b = 1 }, { b = 1, b = 2", ("a", 1, "b"), 1, 1),
    ],
)
def test_what_is_there_twice_is_found_with_both_lines(
    text: str, path: Path, first: int, second: int
) -> None:
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)
    assert repeated(text) == (path, first, second)


def test_a_table_is_at_its_header_and_a_list_item_at_its_start() -> None:
    assert line_of(LINES, ("r",)) == 22
    assert line_of(LINES, ("z", 1)) == 29
    assert line_of(LINES, ("z", 1, "d", 1)) == 35
    assert line_of(LINES, ("h", 3)) == 13


def test_a_missing_key_is_at_the_nearest_table_around_it() -> None:
    assert line_of(LINES, ("r", "missing", "deeper")) == 22
    assert line_of(LINES, ("missing",)) is None


@given(st.text(alphabet="ab=.[]{}\"'#,\n 1\\"), st.sampled_from([("a",), ("a", 0), ("b", "a")]))
def test_no_text_makes_the_search_fail(text: str, path: Path) -> None:
    line = line_of(text, path)
    assert line is None or 1 <= line <= text.count("\n") + 1


def test_a_path_reads_as_it_would_be_written() -> None:
    assert dotted(("message", "summary", "fields", 2, "high")) == "message.summary.fields[2].high"
    assert dotted(("stations", "Reed bed")) == "stations.'Reed bed'"
    assert dotted(()) == ""


@given(st.decimals(allow_nan=False, allow_infinity=False, places=9, min_value=-1e9, max_value=1e9))
def test_a_decimal_is_written_in_full(number: Any) -> None:
    text = decimal(Fraction(number))
    assert Fraction(text) == Fraction(number)
    assert "e" not in text.lower()
    assert not (text.endswith("0") and "." in text)


def test_remedies_name_the_nearest_or_all() -> None:
    assert one_of(["a"]) == "a"
    assert one_of(["a", "b", "c"]) == "a, b or c"
    assert nearest("hihg", ["low", "high"]) == "did you mean 'high'?"
    assert nearest("zz", ["low", "high"]) == "use low or high"
