"""Tables as generated functions hold them: looked up by subscripts, with nothing left to reckon.

A code said earlier that is absent stands as -1, so its row is the last of those to choose from.
"""

from bisect import bisect_right
from collections.abc import Callable, Mapping, Sequence
from itertools import accumulate
from typing import Any

from packcodec.codec.modelled.coder import TOTAL, Cumulative, Step, meaningless, steps_of
from packcodec.codec.modelled.history import (
    AGES,
    BUCKETS,
    HOUR_ROWS,
    age_row,
    bucket_of,
    set_age_row,
)
from packcodec.codec.modelled.sets import SetOf
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import Classes, fold, unfold

# A table by code is made for so many codes; more are reckoned with.
MOST_LISTED = 4096
# From this age on the row is the last.
OLDEST = 1 << (AGES - 1) // 2
ABSENT = -1
MOST_CODE = 1 << 16  # above every species code

# How a function holds a table: to send by it, the step of each symbol.
Held = Callable[[Cumulative], Any]


def to_read(cumulative: Cumulative) -> tuple[tuple[int, ...], tuple[Step, ...]]:
    """Where each symbol but the first begins, and the step of each."""
    return cumulative[1:-1], steps_of(cumulative)


def to_answer(cumulative: Cumulative) -> tuple[int, Step, Step]:
    """Of a table of no and yes: where yes begins, and the step of each."""
    return (cumulative[1], *steps_of(cumulative))  # type: ignore[return-value]


def nested(rows: Sequence[Any], keys: Sequence[Sequence[int]]) -> Any:
    """Rows in tuples of tuples, a level for each context, which has the value keys[level][i] at i.

    Each context has as many values as its level has places.
    """
    if not keys:
        return rows[0]
    size = len(rows) // len(keys[0])
    return tuple(nested(rows[size * key : size * (key + 1)], keys[1:]) for key in keys[0])


def bucket_keys(codes: int) -> tuple[list[int], bytes | Callable[[int], int] | None]:
    """The keys of a code's bucket, and what gives the index of a code, None if it is the index."""
    size, bucket = bucket_of(codes)
    if codes <= BUCKETS:
        return [*range(1, size), 0], None
    if codes <= MOST_LISTED:
        return list(range(size)), bytes([*map(bucket, range(codes)), 0])
    return list(range(size)), lambda code: bucket(None if code == ABSENT else code)


def folds(codes: int, centres: Sequence[int], *, back: bool) -> tuple[tuple[int, ...], ...]:
    """For each centre, the folded form of each code; or `back`, the code of each folded form."""
    turn = unfold if back else fold
    return tuple(tuple(turn(code, centre, codes) for code in range(codes)) for centre in centres)


def class_of(codes: int) -> bytes | Callable[[int], int]:
    """The class of each code."""
    classes = Classes(codes)
    return bytes(map(classes.of, range(codes))) if codes <= MOST_LISTED else classes.of


def by_age(part: SpeciesPart, held: Held) -> tuple[Any, ...]:
    """What is held of `recent`, for each age up to the oldest."""
    return tuple(held(part.hits[age_row(age)]) for age in range(OLDEST + 1))


class Shares(dict[int, int]):
    """Frequencies of species by their codes; that of a species no table knows is 0."""

    def __missing__(self, code: int) -> int:
        return 0


class NewSpecies:
    """Steps of a species that is none of those seen lately.

    Known species ascend by their codes, as their symbols do.
    """

    def __init__(self, part: SpeciesPart) -> None:
        self.known = part.known
        hours = [_sums(part.known, row) for row in part.new]
        self._hours = hours if len(hours) > 1 else hours * HOUR_ROWS

    def step(self, code: int, recent: Sequence[int], hour: int) -> Step:
        """To send a known species, or that it is another."""
        shares, start_of, starts = self._hours[hour]
        start, width, total = start_of[code], shares[code], TOTAL
        if not width:
            start = starts[-2]
            code, width = MOST_CODE, TOTAL - start
        for out in recent:
            share = shares[out]
            total -= share
            if out < code:
                start -= share
        return start, width, total

    def find(
        self, value: int, range_: int, recent: Sequence[int], hour: int
    ) -> tuple[int | None, Step]:
        """What a decoder's value says, None for another, and its step; raises DecodeError."""
        shares, start_of, starts = self._hours[hour]
        total = TOTAL
        for out in recent:
            total -= shares[out]
        at = value // (range_ // total)
        if at >= total:
            raise meaningless()
        whole = at  # among all, those out of question too
        for out in sorted(recent):
            if whole < start_of[out]:
                break
            whole += shares[out]
        symbol = bisect_right(starts, whole) - 1
        start = starts[symbol]
        step = start - (whole - at), starts[symbol + 1] - start, total
        return self.known[symbol] if symbol < len(self.known) else None, step


def _sums(
    known: Sequence[int], frequencies: Sequence[int]
) -> tuple[Shares, Shares, tuple[int, ...]]:
    """The frequency of each known species, its sum before it, and all sums."""
    starts = (0, *accumulate(frequencies))
    shares = zip(known, frequencies, strict=False)
    return Shares(shares), Shares(zip(known, starts, strict=False)), starts


class There:
    """Whether each known species is in a set: what is held of its odds."""

    def __init__(self, part: SetOf, held: Held) -> None:
        self.known, self.holds = part.known, part.holds_codes
        self._hourly = len(part.there) > 1
        self._part, self._held = part, held
        self._made: dict[tuple[int, int, int], Any] = {}

    def tables(self, seen_in: Mapping[int, int], instances: int, hour: int) -> list[Any]:
        """Of each known species, at its age in the list's instance of that number."""
        hour = hour if self._hourly else 0
        made = self._made
        found = []
        for at, species in enumerate(self.known):
            key = hour, at, set_age_row(instances, seen_in.get(species))
            table = made.get(key)
            if table is None:
                table = made[key] = self._held(self._part.odds_of(*key))
            found.append(table)
        return found
