"""Text that emitters take over whole, beside what they write from a layout."""

import re
from collections.abc import Collection
from importlib import resources

_MARK = re.compile(r"[ ]*(?:#|//)@ (?:if (?P<part>\w+)|(?P<word>else|end))\n")

_BLOCK = re.compile(r"^#@ (?P<key>.*)\n(?P<text>(?:(?!#@).*\n?)*)", re.MULTILINE)


def template(name: str) -> str:
    """The text of one template."""
    return resources.files(__name__).joinpath(name).read_text(encoding="utf-8")


def blocks_of(name: str) -> dict[str, str]:
    """The blocks of a template, by what stands behind the mark #@ before each."""
    found = _BLOCK.finditer(template(name))
    return {each["key"]: each["text"].rstrip("\n") for each in found}


def chosen(text: str, parts: Collection[str]) -> str:
    """`text` with what stands between lines "#@ if PART", "#@ else" and "#@ end" kept or left out.

    In ECMAScript the marks begin with // instead. One part does not stand within another.
    """
    kept, keeps = [], True
    for line in text.splitlines(keepends=True):
        mark = _MARK.fullmatch(line)
        if mark is None:
            kept += [line] * keeps
        elif mark["part"]:
            keeps = mark["part"] in parts
        else:
            keeps = True if mark["word"] == "end" else not keeps
    return "".join(kept)
