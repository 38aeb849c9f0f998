"""From the steps of an encoder to the shortest string of bits in its interval.

The string is the shortest that, read as a fraction with zeros after its end, lies in the interval,
and that leaves no more than the last 32 bits unsaid. What it costs beyond the information is under
1.1 bits, for the frame tells its length.

Whether a list has one more element is said by the room that is left, and the room by what was
said. So a list at the end of a message is first spelt as in a frame without end. Then sizes are
tried, from one that is surely too small; only the steps near the end change, and are taken again.
"""

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from types import MappingProxyType

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
    """The interval before some runs and after the last, in a frame without end.

    `known` are states by the number of the run that they stand before, the earliest first; a
    decoder knows some near the end, and spares an encoder's way there.
    """

    def __init__(
        self, runs: Runs, known: Mapping[int, State] = MappingProxyType({0: START})
    ) -> None:
        self.runs = runs
        last = max(known)
        self._states: list[State | None] = [None] * (last + 1)
        for at, state in known.items():
            self._states[at] = state
        self._states += _narrowed(runs[last:], known[last])

    @property
    def endless(self) -> State:
        """After all of them."""
        state = self._states[-1]
        assert state is not None
        return state

    def within(self, room_bits: int) -> int:
        """How many runs spend no more than so many bits, of an encoder's course."""
        spent = [spent_bits(state[1], state[2]) for state in self._states[1:] if state]
        return bisect_right(spent, room_bits)

    def end(self, flags: Flags, room_bits: int) -> State:
        """After all of them, where the flags are by the room that is left of so many bits."""
        at = len(self.runs)
        while at > 1:
            # Where a flag has ample room it stays as it is, and all before it.
            before = self._states[at - 1]
            if before and room_bits - spent_bits(before[1], before[2]) >= AMPLE_BITS:
                break
            at -= 1
        state = self._states[at] or _narrowed(self.runs[:1], START)[-1]
        return _narrowed(self.runs[at:], state, flags, room_bits)[-1] if self.runs[at:] else state


def _narrowed(runs: Runs, state: State, flags: Flags = (), room_bits: int = 0) -> list[State]:
    """After each run; where flags are given, with that for the room in place of each run's own."""
    low, range_, shifts = state
    states = []
    for run in runs:
        steps = run
        if flags:
            left = room_bits - spent_bits(range_, shifts)
            if left < AMPLE_BITS:
                steps = (flags[room_row(left)][run[0][0] > 0], *run[1:])
        for start, width, total in steps:
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


def states_of(read: Mapping[int, State], x: int, octets: int) -> dict[int, State]:
    """A decoder's states as the encoder's.

    It has what is left of the string's value in place of low. `x` is the string with zeros to
    `octets` bytes.
    """
    x <<= WORD_BITS
    return {
        at: ((x >> 8 * (octets - shifts)) - value, range_, shifts)
        for at, (value, range_, shifts) in read.items()
    }


def string(
    course: Course, flags: Flags, header_bits: int, most_octets: int
) -> tuple[int, int] | None:
    """The string that follows a header, as (integer, number of bits).

    `flags` are those of a message with a tail, else empty. None where string and header take more
    than `most_octets` bytes.
    """
    least = most_octets
    if flags:
        _, m = shortest(*course.endless)
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
