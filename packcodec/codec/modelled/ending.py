"""From the steps of an encoder to the shortest string of bits in its interval.

The string is the shortest that, read as a fraction with zeros after its end, lies in the interval,
and that leaves no more than the last 32 bits unsaid. What it costs beyond the information is under
1.1 bits, for the frame tells its length.

Whether a list has one more element is said by the room that is left, and the room by what was
said. So a list at the end of a message is first spelt as in a frame without end. Then sizes are
tried, from one that is surely too small; only the steps near the end change, and are taken again.
"""

from collections.abc import Sequence

from packcodec.codec.modelled.coder import (
    AMPLE_BITS,
    FIRST_RANGE,
    LEAST_RANGE,
    WORD_BITS,
    Flags,
    Step,
    room_row,
    spent_bits,
)
from packcodec.layout.compiler import PLAIN_BITS

State = tuple[int, int, int]
"""low, range, and by how many bytes both have moved up."""

Runs = Sequence[Sequence[Step]]
"""The steps up to the first flag for one more, then those from each flag to the next. The flags
are those of a frame without end."""

START: State = (0, FIRST_RANGE, 0)
# The room of a frame without end, for those who need a number.
ROOMY_BITS = 1 << 20
# How many bits shorter than in an endless frame a tail may be: its end costs 8 bits less in a full
# one, and 1 string in 16 ends 4 bits early by luck.
TAIL_BITS = 12
# What a plain payload starts with, and no string does.
PLAIN = (1 << PLAIN_BITS) - 1


class Course:
    """The interval before each run and after the last, in a frame without end.

    A decoder knows most of it: `states` are its own before the first runs, with what is left of
    the string's value, negative, in place of low. `x` is the string with zeros to `octets` bytes
    and four more.
    """

    def __init__(
        self, runs: Runs, states: Sequence[State] = (START,), x: int = 0, octets: int = 0
    ) -> None:
        self.runs = runs
        self._states, self._x, self._octets = states, x, octets
        self._rest = self._narrowed(len(states) - 1, self[len(states) - 1], (), 0)

    def __getitem__(self, run: int) -> State:
        """Before the run of that number; after all of them for their number."""
        if run >= len(self._states):
            return self._rest[run - len(self._states)]
        low, range_, shifts = self._states[run]
        if self._octets:
            low += self._x >> 8 * (self._octets - shifts)
        return low, range_, shifts

    def end(self, flags: Flags, room_bits: int) -> State:
        """After all of them, where the flags are by the room that is left of so many bits."""
        ample = ample_shifts(room_bits)
        at = len(self.runs)
        while at > 1 and self[at - 1][2] >= ample:
            at -= 1
        state = self[at]
        return self._narrowed(at, state, flags, room_bits)[-1] if at < len(self.runs) else state

    def _narrowed(self, at: int, state: State, flags: Flags, room_bits: int) -> list[State]:
        """After each run from `at` on. Where no flags are given they stand as they are."""
        low, range_, shifts = state
        states = []
        for run in self.runs[at:]:
            if flags:
                row = room_row(room_bits - spent_bits(range_, shifts))
                run = [flags[row][run[0][0] > 0], *run[1:]]
            for start, width, total in run:
                r = range_ // total
                if start:
                    low += r * start
                    range_ = r * width if width else range_ - r * start
                else:
                    range_ = r * width
                while range_ < LEAST_RANGE:
                    range_ <<= 8
                    low <<= 8
                    shifts += 1
            states.append((low, range_, shifts))
        return states


def ample_shifts(room_bits: int) -> int:
    """Where fewer bytes than this are spent, more than enough room is left for any flag."""
    return (room_bits - AMPLE_BITS - 7) // 8


def string(
    course: Course, flags: Flags, header_bits: int, most_octets: int
) -> tuple[int, int] | None:
    """The string that follows a header, as (integer, number of bits).

    `flags` are those of a message with a tail, else empty. None where string and header take more
    than `most_octets` bytes.
    """
    least = most_octets
    if flags:
        _, m = shortest(*course[len(course.runs)])
        least = max(-(-header_bits // 8), -(-(header_bits + m - TAIL_BITS) // 8))
    for octets in range(least, most_octets + 1):
        room = 8 * octets - header_bits
        y, m = shortest(*course.end(flags, room))
        if m <= room:
            # The room belongs to what a tail means, so its last byte is sent even if zero.
            unsaid = max(room - 7 - m, 0) if flags else 0
            return y << unsaid, m + unsaid
    return None


def shortest(low: int, range_: int, shifts: int) -> tuple[int, int]:
    """The shortest string in an interval, as (integer, number of bits)."""
    zeros = (low ^ (low + range_ - 1)).bit_length()
    if low & ((1 << zeros) - 1):
        # Past low, the first number whose differing top bit is one: it has zeros - 1 zeros.
        zeros -= 1
    zeros = min(zeros, WORD_BITS)
    value = -(-low >> zeros)
    while zeros < WORD_BITS and not value & 1:
        value >>= 1
        zeros += 1
    return value, WORD_BITS + 8 * shifts - zeros
