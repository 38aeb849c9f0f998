"""TOML rows → frozen values, with one clear error for what does not belong.

Shared by rules and links. A row may say `like = "NAME"` (or a list of names, the later one
winning) to take over every key of other rows, `without = [KEYS]` to leave some of those out,
and then give its own. Decimal numbers are read as exact fractions.
"""

import re
import tomllib
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from fractions import Fraction
from functools import cache
from math import isfinite
from pkgutil import get_data
from typing import Any, NoReturn, TypeAlias, TypeVar

from packcodec.errors import RadioError
from packcodec.frozen import frozen

Raw: TypeAlias = Mapping[str, Any]
Reader: TypeAlias = Callable[[Any], Any]

OWN_WORDS = ("like", "without")
# No figure of a radio comes near; beyond it, floats and printed units lose their meaning.
FIGURE_MOST = 10**15
TOML_REMEDY = "write key = value under [[rule]] or [[link]], and texts in quotes"
_AT = re.compile(r" \(at line (\d+), column \d+\)")
# More names than this are no help in one line.
LISTED_MOST = 30


Known = TypeVar("Known")


class Book(Mapping[str, Known]):
    """Rows by name, each read when it is asked for; `own` ones join them or take their place.

    `read` raises KeyError for a name it does not know, and `names` gives all that it does.
    """

    def __init__(
        self,
        names: Callable[[], Iterable[str]],
        read: Callable[[str], Known],
        own: Mapping[str, Known],
    ) -> None:
        self._names = names
        self._read = read
        self._own = own

    def __getitem__(self, name: str) -> Known:
        return self._own[name] if name in self._own else self._read(name)

    def __iter__(self) -> Iterator[str]:
        yield from dict.fromkeys((*self._names(), *self._own))

    def __len__(self) -> int:
        return sum(1 for _ in self)


class _Unfit(Exception):
    """A value of the wrong kind; its text says what would be right."""


@frozen
class Column:
    """One key of a row, the attribute it fills (often the same name), and how it is read."""

    key: str
    read: Reader
    attribute: str = ""

    @property
    def target(self) -> str:
        """The name of the attribute that the key fills."""
        return self.attribute or self.key


def text(value: Any) -> str:
    """A text as it is."""
    if not isinstance(value, str):
        raise _Unfit("a text in quotes")
    return value


def texts(value: Any) -> tuple[str, ...]:
    """A list of texts as a tuple."""
    if not isinstance(value, list):
        raise _Unfit('a list of texts, ["…", "…"]')
    return tuple(text(item) for item in value)


def truth(value: Any) -> bool:
    """A boolean as it is."""
    if not isinstance(value, bool):
        raise _Unfit("true or false")
    return value


def whole(value: Any) -> int:
    """A whole number, up to `FIGURE_MOST` either way."""
    if isinstance(value, bool) or not isinstance(value, int) or abs(value) > FIGURE_MOST:
        raise _Unfit("a whole number")
    return value


def wholes(value: Any) -> tuple[int, ...]:
    """A list of whole numbers as a tuple."""
    if not isinstance(value, list):
        raise _Unfit("a list of whole numbers")
    return tuple(whole(item) for item in value)


def number(value: Any) -> Fraction:
    """A number as an exact fraction, up to `FIGURE_MOST` either way."""
    plain = isinstance(value, int | Fraction) and not isinstance(value, bool)
    if not plain or not -FIGURE_MOST <= value <= FIGURE_MOST:
        raise _Unfit("a number")
    return Fraction(value)


def decibels(value: Any) -> float:
    """A number as a float: what is measured in decibels need not be exact."""
    return float(number(value))


def share(value: Any) -> Fraction:
    """A duty cycle as a fraction of time: 1 % is 0.01."""
    if not 0 < number(value) <= 1:
        raise _Unfit("a share of the time above 0 and up to 1; 1 % is 0.01")
    return number(value)


def seconds(value: Any) -> int:
    """Seconds in, whole microseconds out."""
    time_us = number(value) * 1_000_000
    if time_us <= 0 or time_us.denominator != 1:
        raise _Unfit("seconds above 0, to the microsecond at finest")
    return int(time_us)


def bands(value: Any) -> tuple[tuple[int, int], ...]:
    """[[low, high], …] in hertz."""
    pairs = tuple(wholes(pair) for pair in value) if isinstance(value, list) else ()
    if not pairs or any(len(pair) != 2 or not 1 <= pair[0] < pair[1] for pair in pairs):
        raise _Unfit("a list of [low, high] edges in hertz, low below high")
    return tuple((low, high) for low, high in pairs)


def choice(*allowed: str) -> Reader:
    """A reader that takes one of these words."""

    def read(value: Any) -> str:
        if value not in allowed:
            raise _Unfit(" or ".join(f'"{word}"' for word in allowed))
        return str(value)

    return read


def choices(*allowed: str) -> Reader:
    """A reader that takes a list of any of these words."""
    one = choice(*allowed)

    def read(value: Any) -> tuple[str, ...]:
        return tuple(one(item) for item in texts(value))

    return read


def table(value: Any) -> dict[str, Any]:
    """A table as a dictionary."""
    if not isinstance(value, dict):
        raise _Unfit("a table, { key = value, … }")
    return value


def channels(value: Any) -> tuple[int, ...]:
    """Centre frequencies in hertz: a list, or { first_hz, step_hz, count }."""
    if not isinstance(value, dict):
        return wholes(value)
    if set(value) != {"first_hz", "step_hz", "count"}:
        raise _Unfit("a list of hertz, or { first_hz = …, step_hz = …, count = … }")
    first_hz, step_hz, count = (whole(value[key]) for key in ("first_hz", "step_hz", "count"))
    if step_hz < 1 or not 1 <= count <= 10_000:
        raise _Unfit("a step of at least 1 Hz and 1 to 10000 channels")
    return tuple(first_hz + step_hz * n for n in range(count))


def parse(toml: str, place: str) -> dict[str, Any]:
    """TOML text → a plain dictionary; RadioError names the line of a syntax error."""
    try:
        return tomllib.loads(toml, parse_float=exact)
    except tomllib.TOMLDecodeError as error:
        at = _AT.search(str(error))
        where = f"{place}:{at[1]}" if at else place
        problem = f"this is not TOML: {_AT.sub('', str(error))}"
        raise RadioError(problem, place=where, remedy=TOML_REMEDY) from error


def package_file(name: str) -> dict[str, Any]:
    """The package's data file of that name, under data/, as a plain dictionary."""
    # importlib.resources would load tempfile and zipfile on a monitor.
    data = get_data("packcodec.radio", f"data/{name}")
    assert data is not None
    return parse(data.decode(), name)


@cache
def package_tables(files: tuple[str, ...], word: str, key: str) -> Mapping[str, Raw]:
    """The `[[word]]` tables of the package's files by `key`, merged but unread.

    They may be like those of files before theirs.
    """
    if not files:
        return {}
    known = package_tables(files[:-1], word, key)
    return {**known, **merged_tables(package_file(files[-1]), word, key, known, files[-1])}


def package_table(files: tuple[str, ...], word: str, key: str, name: str) -> Raw:
    """The table of that name; no file behind its own is read. Raises KeyError."""
    for number in range(len(files) + 1):
        tables = package_tables(files[:number], word, key)
        if name in tables:
            return tables[name]
    raise KeyError(name)


def exact(figure: str | float) -> Fraction | float:
    """0.001 is one thousandth; what is no finite number stays a float, which no reader takes."""
    value = float(figure)
    return Fraction(repr(value)) if isfinite(value) else value


def tables(document: Raw, word: str, place: str) -> list[dict[str, Any]]:
    """The `[[word]]` tables of a document."""
    found = document.get(word, [])
    if not isinstance(found, list) or not all(isinstance(row, dict) for row in found):
        raise RadioError(f"'{word}' is not a list of tables", place=place, remedy=f"[[{word}]]")
    return found


def merge(row: Raw, known: Mapping[str, Raw], place: str) -> dict[str, Any]:
    """The row with everything it takes over by `like`."""
    merged: dict[str, Any] = {}
    for name in _names(row, "like", place):
        merged |= table(known[nearest(name, known, f"{place}, like")])
    for key in _names(row, "without", place):
        hint = "" if merged else 'take a row over first, with like = "NAME"'
        merged.pop(nearest(key, merged, f"{place}, without", hint))
    return merged | {key: value for key, value in row.items() if key not in OWN_WORDS}


def _names(row: Raw, key: str, place: str) -> tuple[str, ...]:
    """One name or a list of names."""
    value = row.get(key, [])
    return (value,) if isinstance(value, str) else read(texts, value, f"{place}, {key}")


def merged_tables(
    document: Raw, word: str, key: str, known: Mapping[str, Raw], place: str
) -> dict[str, dict[str, Any]]:
    """The `[[word]]` tables of a document by their `key`, each with what it takes over.

    They may be like rows of `known`, like one another in order, or like a `[template.NAME]`.
    """
    templates = read(table, document.get("template", {}), f"{place}, template")
    merged: dict[str, dict[str, Any]] = {}
    for row in tables(document, word, place):
        where = f"{place}, {word} '{row.get(key, '?')}'"
        if key not in row:
            raise RadioError(f"'{key}' is missing", place=where, remedy=f'add {key} = "…"')
        name = read(text, row[key], f"{where}, {key}")
        if name in merged:
            raise RadioError("named twice", place=where, remedy="give each row its own name")
        merged[name] = merge(row, {**known, **templates, **merged}, where)
    return merged


def fill(
    row: Raw, columns: Iterable[Column], required: Iterable[str], place: str
) -> dict[str, Any]:
    """A merged row → {attribute: value}; RadioError for an unknown, missing or unfit key."""
    by_key = {column.key: column for column in columns}
    for key in required:
        if key not in row:
            taken = 'or take it over with like = "NAME"'
            raise RadioError(f"'{key}' is missing", place=place, remedy=f"add {key} = …, {taken}")
    values = {}
    for key, value in row.items():
        column = by_key[nearest(key, by_key, place)]
        values[column.target] = read(column.read, value, f"{place}, {key}")
    return values


def read(reader: Reader, value: Any, place: str) -> Any:
    """A value as the reader has it; RadioError at `place` for one that does not fit."""
    try:
        return reader(value)
    except _Unfit as unfit:
        problem, remedy = f"{_shown(value)} does not fit", f"give {unfit}"
        raise RadioError(problem, place=place, remedy=remedy) from None
    except RadioError as error:
        where = f"{place}, {error.place}"
        raise RadioError(error.problem, place=where, remedy=error.remedy) from None


def nearest(name: Any, known: Collection[str], place: str, hint: str = "") -> str:
    """`name` itself if it is known; else RadioError with the nearest known name."""
    if isinstance(name, str) and name in known:
        return name
    _unknown(name, list(known), place, hint)


def _unknown(name: Any, names: list[str], place: str, hint: str) -> NoReturn:
    # Here, for a monitor that finds nothing wrong need not load it.
    from difflib import get_close_matches

    by_lower = {known.lower(): known for known in reversed(names)}
    close = get_close_matches(str(name).lower(), by_lower, n=1)
    listed = hint or (f"use one of {', '.join(names)}" if len(names) <= LISTED_MOST else "")
    remedy = f"did you mean '{by_lower[close[0]]}'?" if close else listed
    raise RadioError(f"unknown name '{name}'", place=place, remedy=remedy)


def _shown(value: Any) -> str:
    return str(float(value)) if isinstance(value, Fraction) else repr(value)
