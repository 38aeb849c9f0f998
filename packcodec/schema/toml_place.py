"""Where a key stands in a TOML text, which the standard library's reader does not tell.

Only run once something is wrong, and only on text as far as tomllib has read it, so it need not
judge: it splits the text into tokens (https://toml.io/en/v1.0.0) and follows headers, keys, arrays
and inline tables. What it cannot follow gets no line, never a wrong error.
"""

import re
import tomllib
from collections.abc import Iterator
from contextlib import suppress

Path = tuple[str | int, ...]

_BARE_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
_LONGEST_SHOWN = 40

# Compiled when something is wrong, and not before.
_TOKEN = r'''
    (?P<string> """ (?: \\. | [^\\] )*? "{3,5} | \'\'\' .*? \'{3,5}
              | " (?: \\. | [^"\\\n] )* "      | ' [^'\n]* ' )
    | (?P<bare> [^\s\[\]{}=,.\#"']+ )
    | (?P<mark> [\[\]{}=,.] )
    | (?P<newline> \n )
    | (?P<skip> \# [^\n]* | . )
'''


def dotted(path: Path) -> str:
    """message.summary.fields[2].high, list items counted from 0, odd keys quoted and cut short."""
    return "".join(map(_part, path)).removeprefix(".")


def _part(part: str | int) -> str:
    if isinstance(part, int):
        return f"[{part}]"
    return f".{part}" if _BARE_KEY.fullmatch(part) else f".{part[:_LONGEST_SHOWN]!r}"


def line_of(text: str, path: Path) -> int | None:
    """The line, counted from 1, of a key, table or list item, or of the nearest one around it."""
    try:
        lines = _Walk(text).lines
    except (StopIteration, RecursionError, tomllib.TOMLDecodeError):
        return None
    while path not in lines and path:
        path = path[:-1]
    return lines.get(path)


def repeated(text: str) -> tuple[Path, int, int] | None:
    """The first key or table that is given a second time, and both lines; None where there is none.

    `text` may end in the midst of that second one.
    """
    repeats: list[tuple[Path, int, int]] = []
    with suppress(StopIteration, RecursionError, tomllib.TOMLDecodeError):
        _Walk(text, repeats)
    return repeats[0] if repeats else None


class _Walk:
    """One pass over the tokens; `lines` holds the first line of every path.

    A path that is given again is added to `repeats`, with its first and its second line.
    """

    def __init__(self, text: str, repeats: list[tuple[Path, int, int]] | None = None) -> None:
        self.lines: dict[Path, int] = {}
        self.given: dict[Path, int] = {}
        self.repeats = [] if repeats is None else repeats
        self.counts: dict[Path, int] = {}
        self.tokens = _tokens(text)
        self.kind, self.text, self.line = next(self.tokens)
        here: Path = ()
        while self.kind != "end":
            if self.kind == "newline":
                self.step()
            elif self.text == "[":
                here = self.header()
            else:
                self.pair(here)

    def step(self) -> None:
        self.kind, self.text, self.line = next(self.tokens)

    def past_newlines(self) -> None:
        while self.kind == "newline":
            self.step()

    def header(self) -> Path:
        self.step()
        listed = self.kind == "mark" and self.text == "["
        if listed:
            self.step()
        path = self.key(())
        if listed:
            self.counts[path] = self.counts.get(path, -1) + 1
            path = (*path, self.counts[path])
            self.lines[path] = self.line
        self.give(path, self.line)
        while self.kind not in ("newline", "end"):
            self.step()
        return path

    def key(self, here: Path) -> Path:
        """A dotted key, its every part noted; a part that is a list of tables means its last."""
        while True:
            here = (*here, _unquoted(self.kind, self.text))
            self.lines.setdefault(here, self.line)
            self.step()
            if self.text != ".":
                return here
            if here in self.counts:
                here = (*here, self.counts[here])
            self.step()

    def give(self, path: Path, line: int) -> None:
        if path in self.given:
            self.repeats.append((path, self.given[path], line))
        self.given.setdefault(path, line)

    def pair(self, here: Path) -> None:
        line = self.line
        path = self.key(here)
        self.give(path, line)
        self.step()
        self.value(path)

    def value(self, path: Path) -> None:
        self.lines.setdefault(path, self.line)
        if self.kind == "mark" and self.text == "[":
            self.array(path)
        elif self.kind == "mark" and self.text == "{":
            self.inline_table(path)
        else:
            while self.kind in ("string", "bare") or self.text == ".":
                self.step()

    def array(self, path: Path) -> None:
        item = 0
        while self.text != "]":
            self.step()
            self.past_newlines()
            if self.text != "]":
                self.value((*path, item))
                self.past_newlines()
                item += 1
        self.step()

    def inline_table(self, path: Path) -> None:
        while self.text != "}":
            self.step()
            self.past_newlines()  # TOML 1.1 allows them
            if self.text != "}":
                self.pair(path)
                self.past_newlines()
        self.step()


def _tokens(text: str) -> Iterator[tuple[str, str, int]]:
    line = 1
    for found in re.finditer(_TOKEN, text, re.DOTALL | re.VERBOSE):
        kind = found.lastgroup or "skip"
        if kind != "skip":
            yield kind, found.group(), line
        line += found.group().count("\n")
    yield "end", "", line


def _unquoted(kind: str, text: str) -> str:
    return next(iter(tomllib.loads(f"{text}=0"))) if kind == "string" else text
