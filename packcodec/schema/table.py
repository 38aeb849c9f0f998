"""One table of a schema's TOML, read key by key; each refusal knows its file, line and key."""

import re
import tomllib
from collections.abc import Collection, Mapping
from decimal import Decimal
from fractions import Fraction
from typing import Any

from packcodec.errors import SchemaError
from packcodec.frozen import frozen
from packcodec.schema.remedy import nearest, one_of
from packcodec.schema.toml_place import Path, dotted, line_of, repeated

LONGEST_NAME = 40
LONGEST_TEXT = 200
NAME = re.compile(r"[a-z][a-z0-9]*(_[a-z0-9]+)*")

# Decimal exponents of exact figures stay in this range, so that a short text cannot ask for a
# number of millions of digits.
FINEST_EXPONENT, LARGEST_EXPONENT = -30, 30

_AT = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")

_TWICE = re.compile("Cannot overwrite|twice|Duplicate")

_TYPES: tuple[tuple[type, str], ...] = (
    (bool, "a boolean"),  # before int, of which Python makes it a kind
    (int, "an integer"),
    (Decimal, "a number"),
    (str, "a text"),
    (list, "a list"),
    (dict, "a table"),
)

# What to write where a key is missing.
_EXAMPLES = {
    "name": '"sedgemere"',
    "version": "1",
    "epoch": "2027-04-01T00:00:00Z",
    "file": '"species.csv"',
    "codes": "64",
    "code": "0",
    "tag_bits": "8",
    "message_bits": "2",
    "station_bits": "6",
    "sequence_bits": "10",
    "kind": '"integer"',
    "low": "1",
    "high": "8",
    "step": "0.05",
    "step_s": "60",
    "span_s": "15811200",
    "high_s": "3600",
    "flags": '["restarted"]',
    "values": '["battery", "solar"]',
    "least": "0",
    "most": "12",
    "fields": '[{ name = "at", kind = "time", step_s = 60, span_s = 15811200 }]',
}


@frozen
class Document:
    """A TOML text and how errors name it."""

    text: str
    place: str

    def root(self) -> "Table":
        """The whole text as a table. Raises SchemaError where it is not TOML."""
        try:
            values = tomllib.loads(self.text, parse_float=_exact)
        except RecursionError:
            raise SchemaError(
                "brackets are nested too deep to read",
                place=self.place,
                remedy="a schema needs no more than six levels",
            ) from None
        except tomllib.TOMLDecodeError as error:
            raise self._not_toml(str(error)) from None
        except ValueError:  # an integer longer than Python agrees to read
            raise SchemaError(
                "an integer has thousands of digits",
                place=self.place,
                remedy="use integers of at most 64 bits",
            ) from None
        return Table(self, (), values)

    def error(self, path: Path, problem: str, remedy: str) -> SchemaError:
        line = line_of(self.text, path)
        where = f"{self.place}:{line}" if line else self.place
        return SchemaError(problem, place=f"{where} {dotted(path)}".rstrip(), remedy=remedy)

    def _not_toml(self, message: str) -> SchemaError:
        at = _AT.search(message)
        line, column = at.groups() if at else (None, None)
        problem = f"this is not TOML: {_AT.sub('', message)}"
        if _TWICE.search(message):
            return self._twice(problem, int(line) if line else None)
        if at and not line:
            return SchemaError(
                problem,
                place=f"{self.place}:{len(self.text.splitlines())}",
                remedy="the text ends here: close what is open, or fetch the rest of the file",
            )
        return SchemaError(
            problem,
            place=f"{self.place}:{line}:{column}" if line else self.place,
            remedy="texts stand in quotes, and each { … } on one line",
        )

    def _twice(self, problem: str, line: int | None) -> SchemaError:
        """A key or table that is there already; `line` is where the second one ends."""
        found = repeated("".join(self.text.splitlines(keepends=True)[:line]))
        if found is None:
            remedy = "give each key and each [table] once"
            place = f"{self.place}:{line}" if line else self.place
            return SchemaError(problem, place=place, remedy=remedy)
        path, first, second = found
        return SchemaError(
            f"is there already, on line {first}",
            place=f"{self.place}:{second} {dotted(path)}",
            remedy="keep one of the two",
        )


@frozen
class Table:
    """A table at `path`. Each reader below raises SchemaError; a default makes its key optional."""

    document: Document
    path: Path
    values: Mapping[str, Any]

    def error(self, key: str | None, problem: str, remedy: str) -> SchemaError:
        """A refusal of this key, or of the whole table."""
        path = self.path if key is None else (*self.path, key)
        return self.document.error(path, problem, remedy)

    def item_error(self, key: str, item: int, problem: str, remedy: str) -> SchemaError:
        return self.document.error((*self.path, key, item), problem, remedy)

    def only(self, known: Collection[str]) -> None:
        """Refuse a key that is not known, naming the nearest one, else all that are missing."""
        for key in self.values:
            if key not in known:
                missing = [name for name in known if name not in self.values]
                raise self.error(key, "unknown key", nearest(key, known, missing))

    def table(self, key: str, *, optional: bool = False) -> "Table":
        value = {} if optional and key not in self.values else self._get(key, dict, None)
        return Table(self.document, (*self.path, key), value)

    def tables(self, key: str) -> "list[Table]":
        """A list of one or more tables."""
        value = self._get(key, list, None)
        for item, entry in enumerate(value):
            if not isinstance(entry, dict):
                raise self.item_error(
                    key, item, f"must be a table, not {_shown(entry)}", "write { key = value, … }"
                )
        if not value:
            raise self.error(key, "is empty", "list at least one")
        return [
            Table(self.document, (*self.path, key, item), entry) for item, entry in enumerate(value)
        ]

    def text(self, key: str, default: str | None = None) -> str:
        """One line of printable text."""
        value: str = self._get(key, str, default)
        if len(value) > LONGEST_TEXT or not value.isprintable():
            raise self.error(
                key,
                "is not one line of printable text",
                f"use at most {LONGEST_TEXT} letters, without line breaks or control characters",
            )
        return value

    def check_keys_are_text(self) -> None:
        """Refuse keys that could not stand in a line of a log."""
        for key in self.values:
            if not key or len(key) > LONGEST_NAME or not key.isprintable() or key != key.strip():
                raise self.error(
                    key,
                    "is not a name as a log may have it",
                    f"use 1 to {LONGEST_NAME} printable letters without spaces around them",
                )

    def name(self, key: str) -> str:
        value: str = self._get(key, str, None)
        self.check_name(value, (*self.path, key))
        return value

    def names(self, key: str, most: int) -> tuple[str, ...]:
        """One to `most` distinct names."""
        value = self._get(key, list, None)
        if not 1 <= len(value) <= most:
            raise self.error(key, f"has {len(value)} names", f"give 1 to {most} of them")
        for item, entry in enumerate(value):
            if not isinstance(entry, str):
                raise self.item_error(
                    key, item, f"must be a text, not {_shown(entry)}", 'write it as "name"'
                )
            self.check_name(entry, (*self.path, key, item))
            if entry in value[:item]:
                raise self.item_error(key, item, f"{entry!r} is there twice", "give each once")
        return tuple(value)

    def check_name(self, name: str, path: Path) -> None:
        if len(name) > LONGEST_NAME or not NAME.fullmatch(name):
            raise self.document.error(
                path,
                f"{name[: LONGEST_NAME + 1]!r} is not a name",
                f"use lower-case letters and digits, from a letter on, words joined by single "
                f"underscores, at most {LONGEST_NAME} in all",
            )

    def choice(self, key: str, options: Collection[str], default: str | None = None) -> str:
        value: str = self._get(key, str, default)
        if value not in options:
            problem = f"{_shown(value)} is not {one_of(options)}"
            raise self.error(key, problem, nearest(value, options))
        return value

    def integer(self, key: str, low: int, high: int, default: int | None = None) -> int:
        value: int = self._get(key, int, default)
        if not low <= value <= high:
            raise self.error(
                key, f"{_shown(value)} is out of range", f"use an integer from {low} to {high}"
            )
        return value

    def boolean(self, key: str, default: bool) -> bool:
        value: bool = self._get(key, bool, default)
        return value

    def exact(self, key: str) -> Fraction:
        """An integer or decimal figure, as the exact number written."""
        value = self.values.get(key)
        number: Decimal = Decimal(value) if type(value) is int else self._get(key, Decimal, None)
        if not _reasonable(number):
            raise self.error(
                key,
                "is not a figure that can be held exactly",
                f"use at most {-FINEST_EXPONENT} decimals and less than 1e{LARGEST_EXPONENT}",
            )
        return Fraction(number)

    def _get(self, key: str, wanted: type, default: object) -> Any:
        if key not in self.values:
            if default is not None:
                return default
            example = self._example(key)
            remedy = f"add {key} = {example}" if example else f"add [{dotted((*self.path, key))}]"
            raise self.error(None, f"the key {key!r} is missing", remedy)
        value = self.values[key]
        if type(value) is not wanted:
            named = dict(_TYPES)[wanted]
            told = "true or false, without quotes" if wanted is bool else named
            example = f", for example {key} = {self._example(key)}" if self._example(key) else ""
            raise self.error(key, f"must be {named}, not {_shown(value)}", f"write {told}{example}")
        return value

    def _example(self, key: str) -> str | None:
        """What the key could say here: an item of a list with a name is a field."""
        listed = bool(self.path) and isinstance(self.path[-1], int)
        return '"individuals"' if key == "name" and listed else _EXAMPLES.get(key)


def _exact(text: str) -> Decimal:
    try:
        return Decimal(text)
    except ArithmeticError:  # an exponent past Decimal's own
        return Decimal("NaN")


def _reasonable(number: Decimal) -> bool:
    exponent = number.as_tuple().exponent
    return (
        isinstance(exponent, int)  # letters stand for infinity and not-a-number
        and exponent >= FINEST_EXPONENT
        and number.adjusted() < LARGEST_EXPONENT
    )


def _shown(value: object) -> str:
    """A value as a reader would name it, cut short."""
    kind = next((name for known, name in _TYPES if isinstance(value, known)), "a date or time")
    if isinstance(value, bool):
        return f"{str(value).lower()} ({kind})"
    if isinstance(value, int) and abs(value) >= 1 << 64:
        return f"{kind} past 64 bits"
    if isinstance(value, int | Decimal | str) and len(str(value)) <= LONGEST_NAME:
        return f"{value!r} ({kind})" if isinstance(value, str) else f"{value} ({kind})"
    return kind
