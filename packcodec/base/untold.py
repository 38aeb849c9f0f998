"""What a station counted that no record here tells, from the running totals of its records.

Between two records that tell a running total, the totals' difference is all that the station
counted after the first, up to and with the second. What is left when the second's own count is
taken away was lost with frames in between, or left out of the second to make it fit. That is exact,
or it is said to be unknown: see `Why`.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from enum import StrEnum

from packcodec.codec.record import Values
from packcodec.codec.totals import RunningTotal, running_totals
from packcodec.schema.model import Schema


class Why(StrEnum):
    """Why what was counted in a stretch is not known."""

    NO_TOTAL = "no total before or after it"
    TOO_LONG = "so long that the total may have gone round"
    CONTRADICTED = "the totals contradict the counts"


@dataclass(frozen=True, slots=True)
class Known:
    """A counter of which something is known, with its record, if it holds one of this schema.

    `foreign` where it was read with another schema: totals are not compared across it.
    """

    counter: int
    message: str = ""
    values: Values | None = None
    foreign: bool = False


@dataclass(frozen=True, slots=True)
class Untold:
    """What `count` of `message` came to and no record tells, between two records.

    They have the counters `first` - 1 and `last`; of those between, nothing is known of `missing`.
    `counted` is None where that is unknown, for the reason `why`.
    """

    message: str
    count: str
    first: int
    last: int
    missing: int
    counted: int | None
    why: Why | None = None


@dataclass(slots=True)
class _Last:
    """The last record of a message: its counter, the missing counters before it, its total."""

    counter: int
    missing: int
    total: int | None


def untold(schema: Schema, known: Iterable[Known]) -> Iterator[Untold]:
    """Every stretch of one station in which counters are missing, or something was left out.

    `known` in order of counters, recovered ones and those known to hold nothing among them; of one
    that is there twice the first counts. A stretch is told at the record of the message that ends
    it. Uses constant memory.
    """
    totals = {message.name: tuple(running_totals(message)) for message in schema.messages}
    last: dict[tuple[str, str], _Last] = {}
    missing, following = 0, None
    for each in known:
        if following is not None:
            if each.counter < following:
                continue
            missing += each.counter - following
        following = each.counter + 1
        if each.foreign:
            for one in last.values():
                one.total = None
        for total in totals.get(each.message, ()) if each.values is not None else ():
            assert each.values is not None
            place = each.message, total.field
            now = _Last(each.counter, missing, each.values.get(total.field))
            found = _between(each, total, last.get(place), now)
            last[place] = now
            if found is not None:
                yield found


def _between(each: Known, total: RunningTotal, one: _Last | None, now: _Last) -> Untold | None:
    if one is None:
        return None
    missing = now.missing - one.missing
    counted, why = _counted(each.values or {}, total, one.total, now.total, missing)
    if not missing and not counted:
        return None
    count = f"{total.rows}.{total.count}" if total.rows else total.count
    return Untold(each.message, count, one.counter + 1, now.counter, missing, counted, why)


def _counted(
    values: Values, total: RunningTotal, before: int | None, after: int | None, missing: int
) -> tuple[int | None, Why | None]:
    if before is None or after is None:
        return None, Why.NO_TOTAL
    if missing > total.bridged:
        return None, Why.TOO_LONG
    all_of_it, own = (after - before) % total.modulus, total.counted(values)
    if not all_of_it:
        # The same record once more, or nothing at all.
        return 0, None
    if all_of_it < own:
        return None, Why.CONTRADICTED
    return all_of_it - own, None


def summed(found: Iterable[Untold]) -> Mapping[tuple[str, str], tuple[int, int]]:
    """By message and count: how much no record tells, and in how many stretches that is unknown."""
    sums: dict[tuple[str, str], tuple[int, int]] = {}
    for each in found:
        counted, unknown = sums.get((each.message, each.count), (0, 0))
        unknown += each.counted is None
        sums[each.message, each.count] = counted + (each.counted or 0), unknown
    return sums
