"""From the steps of an encoder to the shortest string of bits in its interval.

The string is the shortest that, read as a fraction with zeros after its end, lies in the interval,
and that leaves no more than the last 32 bits unsaid. What it costs beyond the information is under
1.1 bits, for the frame tells its length.

Whether a list has one more element is asked near the end of the room, and the room is told by what
was said. So a list at the end of a message is first spelt as in a frame without end, where nobody
asks. Then sizes are tried, from the one that this takes; only the steps near the end change, and
are taken again.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import chain
from types import MappingProxyType

from packcodec.codec.modelled.coder import (
    END,
    FIRST_RANGE,
    LEAST_RANGE,
    SURE_BITS,
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
"""The steps up to where it is asked for one more element, then those from each question to the
next, without the questions; and `END` where the last was answered with no."""

START: State = (0, FIRST_RANGE, 0)
# Of a list that ends where there is surely one more: longer than any room.
NOWHERE: State = (0, FIRST_RANGE, 1 << 32)
# So near the end the room is likely to count; where it does so earlier, all runs are taken again.
NEAR_RUNS = 16
# The room of a frame without end, for those who need a number.
ROOMY_BITS = 1 << 20
# What a plain payload starts with, and no string does.
PLAIN = (1 << PLAIN_BITS) - 1


class Course:
    """The interval before some runs and after the last, in a frame without end.

    `known` are states by the number of the run that they stand before, and `ends` those after all,
    where the flags are by a room of so many bits. A decoder knows some near the end, and its own
    end, and spares an encoder's way there.
    """

    def __init__(
        self,
        runs: Runs,
        known: Mapping[int, State] = MappingProxyType({0: START}),
        ends: Mapping[int, State] = MappingProxyType({}),
    ) -> None:
        self.runs = runs
        self._ends = ends
        last = max(known)
        self._states: list[State | None] = [None] * (max(len(runs) - NEAR_RUNS, last) + 1)
        for at, state in known.items():
            self._states[at] = state
        far = len(self._states) - 1
        if far > last:
            state = _narrowed([chain.from_iterable(runs[last:far])], state)[-1]
            self._states[far] = state
        self._states += _narrowed(runs[far:], state)

    @property
    def endless(self) -> State:
        """After all of them."""
        state = self._states[-1]
        assert state is not None
        return state

    def end(self, flags: Flags, room_bits: int) -> State:
        """After all of them, where the flags are by the room that is left of so many bits."""
        if room_bits in self._ends:
            return self._ends[room_bits]
        if not flags:
            return self.endless
        at = len(self.runs)
        while at > 1:
            at -= 1
            # Where nobody asks all stays as it is, and all before it.
            before = self._states[at]
            if before and room_bits - spent_bits(before[1], before[2]) >= SURE_BITS:
                break
        state = self._states[at] or _narrowed(self.runs[:1], START)[-1]
        return _narrowed(self.runs[at:], state, flags, room_bits)[-1]


def spent_after(runs: Runs) -> list[int]:
    """The bits spent after each run, in a frame without end."""
    return [spent_bits(range_, shifts) for _, range_, shifts in _narrowed(runs, START)]


def _narrowed(
    runs: Iterable[Iterable[Step]], state: State, flags: Flags = (), room_bits: int = 0
) -> list[State]:
    """After each run; where flags are given, with the one before each that the room asks for."""
    low, range_, shifts = state
    least = LEAST_RANGE
    states = []
    for steps in runs:
        if flags:
            left = room_bits - spent_bits(range_, shifts)
            if left < SURE_BITS:
                steps = (flags[room_row(left)][steps is not END], *steps)
            elif steps is END:
                return [NOWHERE]
        for start, width, total in steps:
            r = range_ // total
            if start:
                low += r * start
                range_ = r * width if width else range_ - r * start
            else:
                range_ = r * width
            while range_ < least:
                range_ <<= 8
                low <<= 8
                shifts += 1
        states.append((low, range_, shifts))
    return states


def heard(
    runs: Runs, known: Mapping[int, State], end: State, x: int, octets: int, room_bits: int
) -> Course:
    """An encoder's course from what a decoder saw while it read `x`, `octets` bytes with the fill.

    Its states have what is left of the string's value in place of low.
    """
    x <<= WORD_BITS

    def state_of(read: State) -> State:
        value, range_, shifts = read
        return (x >> 8 * (octets - shifts)) - value, range_, shifts

    states = {at: state_of(state) for at, state in known.items()}
    return Course(runs, states, {room_bits: state_of(end)})


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
        least = -(-(header_bits + m) // 8)
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
