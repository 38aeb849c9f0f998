"""The constants of modelled coding in C: cumulative sums of frequencies, ready to be coded with.

A row of n symbols is n sums, 0 first; the row after it, or a last 0, ends it, for 2^16 is 0 in 16
bits.
"""

from collections.abc import Sequence

from packcodec.codec.modelled.tables import OCTAVE, cumulative, odds
from packcodec.emit.text import broken

MOST_LOGIT = 15 * OCTAVE


class Tables:
    """Arrays of constants, each of which is written once."""

    def __init__(self, known: Sequence[int]) -> None:
        self.known = list(known)
        self.lines: list[str] = []
        self._names: dict[tuple[str, str], str] = {}

    @property
    def counted(self) -> bool:
        """Whether the species that the tables know are 0, 1, 2 … without a gap."""
        return self.known == list(range(len(self.known)))

    def array(self, kind: str, values: Sequence[int], meaning: str) -> str:
        """The name of a constant array of those values."""
        shown = ", ".join(map(str, values))
        name = self._names.get((kind, shown))
        if name is None:
            name = f"T{len(self._names)}"
            self._names[kind, shown] = name
            self.lines += ["", f"/* {meaning} */"]
            start = f"static const {kind} {name}[{len(values)}] = {{"
            self.lines += broken(start, map(str, values), ", ", "};")
        return name

    def sums(self, rows: Sequence[str], meaning: str, least: int = 1) -> str:
        """The name of rows of sums, from rows of weights as hexadecimal."""
        sums = [each for row in rows for each in cumulative(bytes.fromhex(row), least)[:-1]]
        return self.array("uint16_t", [*sums, 0], meaning)

    def odds(self) -> str:
        """The name of the share of no, of no and yes, for each logit from the least on."""
        shares = [odds(logit)[1] for logit in range(-MOST_LOGIT, MOST_LOGIT + 1)]
        return self.array("uint16_t", shares, "the share of no: 8 on, yes is twice as likely")

    def known_species(self) -> str:
        return self.array("uint16_t", self.known or [0], "the species that the tables know")
