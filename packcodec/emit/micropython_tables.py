"""The constants of modelled coding in MicroPython: tables of sums, known species, lists."""

from collections.abc import Iterator

from packcodec.codec.modelled.tables import OCTAVE, cumulative, odds
from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.text import broken


class Constants:
    """What the walks of a schema refer to: tables, each once, and what lists are remembered."""

    def __init__(self, known: list[int]) -> None:
        self.known = known
        self.tables: dict[bytes, str] = {}
        # Whether a list may go as a set.
        self.lists: dict[str, bool] = {}

    def named(self, octets: bytes) -> str:
        """The constant that holds these bytes."""
        return self.tables.setdefault(octets, f"_T{len(self.tables)}")

    def sums(self, rows: list[str], least: int = 1) -> str:
        """The constant of a table: of each row the sums between its symbols, in 16 bits each."""
        found = b""
        for row in rows:
            inner = cumulative(bytes.fromhex(row), least)[1:-1]
            found += b"".join(each.to_bytes(2, "big") for each in inner)
        return self.named(found)

    def lists_of(self, message: str) -> Iterator[str]:
        """What is remembered of the lists of a message."""
        return (name for name in self.lists if name.startswith(f"_H_{message}__"))

    def lines(self, text: str) -> Iterator[str]:
        """The constants that `text` names, as lines."""
        if "_KNOWN" in text:
            yield "# The species that the tables know."
            known = [f"{code}," for code in self.known] or [""]
            yield from broken("_KNOWN = (", known, " ", ")")
        if "_ODDS" in text:
            yield "# How likely not, by odds from 2^-15 to 2^15 in eighths of a doubling."
            entries = (odds(logit)[1] for logit in range(-15 * OCTAVE, 15 * OCTAVE + 1))
            yield from _literal("_ODDS", b"".join(each.to_bytes(2, "big") for each in entries))
        if self.tables:
            yield "# Tables: of each row the sums of frequencies between symbols, in 16 bits each."
        for octets, name in self.tables.items():
            yield from _literal(name, octets)


def _literal(name: str, octets: bytes) -> Iterator[str]:
    pieces = [repr(octets[at : at + 16]) for at in range(0, len(octets), 16)]
    if len(pieces) < 2:
        yield f"{name} = {octets!r}"
        return
    yield f"{name} = ("
    yield from (f"{INDENT}{piece}" for piece in pieces)
    yield ")"
