"""Decoding by the tables of the compact form."""

from typing import Any

from packcodec.emit.c_compact_places import Places
from packcodec.emit.c_compact_tables import SUM_OCTETS
from packcodec.emit.c_hear import Hear
from packcodec.emit.c_told import KIN, RANK, Part, Told
from packcodec.emit.c_walk import NEAR


class CompactHear(Hear):
    """Decoding by the same tables."""

    def __init__(self, told: Told, compact: Places, *, wide: bool) -> None:
        super().__init__(told, wide=wide)
        self.compact = compact

    def table(
        self, part: Part, place: dict[str, Any], symbols: int, depth: int, code: str = ""
    ) -> str:
        """Where a row of sums begins."""
        placed = self.compact.placed[id(place)]
        terms, offset = [self.compact.words], placed.offset
        for name, step in placed.steps.items():
            if name == KIN:
                within = offset - (self.compact.rank_start if RANK in placed.steps else 0)
                kin = self.compact.kin(placed, within)
                terms.append(f"{kin}[{part.at}{part.species}] / {SUM_OCTETS}u")
                offset -= within
                continue
            kind, _ = self._context(part, place, name)
            kind = f"({kind} - 1u)" if name in NEAR else kind
            terms.append(f"{step // SUM_OCTETS}u * {f'({kind})' if ' ' in kind else kind}")
        del symbols, depth, code
        return " + ".join([*terms, *([f"{offset // SUM_OCTETS}u"] if offset else [])])

    def starts(self, part: Part, entry: dict[str, Any]) -> str:
        """The row of a species that is none of the latest."""
        del part, entry
        return f"{self.compact.words} + {self.compact.new // SUM_OCTETS}u"

    def more_row(self, tail: Part) -> str:
        """The row for one more, by the bits that are spare."""
        del tail
        return f"{self.compact.words} + {self.compact.more // SUM_OCTETS}u + 2u * spare"
