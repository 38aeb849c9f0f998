"""The frame counter's write-ahead leap: no number twice, whatever the power does.

What is kept says "every number below this may have been used". It is written before the first of
the next `leap` numbers is used, so it costs one write every `leap` frames: at 24 frames a day and
a leap of 64, one in 2.7 days and one a boot. A boot goes on from what was kept; it skips at most
`leap` numbers, and none after a stop that gave the unused ones back.
"""

from packcodec.errors import EncodeError
from packcodec.frame.sequence import COUNTERS

LEAP = 64


class Counter:
    """`next` is the next number to use; those below `reserved` are known to be kept."""

    def __init__(self, kept: int, leap: int = LEAP) -> None:
        self.next = kept
        self.reserved = kept
        self._leap = leap

    @property
    def to_reserve(self) -> int | None:
        """What must be kept before the next number may be used; None where it already is."""
        return None if self.next < self.reserved else min(self.next + self._leap, COUNTERS)

    def take(self) -> int:
        """The next number. Raises EncodeError where none is reserved, or none is left."""
        if self.next >= self.reserved:
            raise EncodeError(
                f"{self.next} is not reserved",
                place="sequence",
                remedy="no number is left: make a new key and a new station number"
                if self.next >= COUNTERS
                else "keep `to_reserve` first",
            )
        self.next += 1
        return self.next - 1
