"""Names of a schema as another language takes them, made safe always in the same way.

A name that is taken, by the language or by an earlier name, gets underscores at its end until it
is free. No name of a schema ends in an underscore, so a name made safe is never another's.
"""

import re
from collections.abc import Iterable

_OTHER = re.compile(r"[^0-9a-z]+")


class Names:
    """One namespace: the words that are taken in it."""

    def __init__(self, reserved: Iterable[str] = ()) -> None:
        self._taken = set(reserved)

    def give(self, wanted: str) -> str:
        """`wanted`, or `wanted` with underscores at its end, and taken from now on."""
        while wanted in self._taken:
            wanted += "_"
        self._taken.add(wanted)
        return wanted


def word(label: str) -> str:
    """A free text as a lower-case name of ASCII letters, digits and underscores."""
    return _OTHER.sub("_", label.lower()).strip("_") or "row"
