"""What no record tells, in words and as JSON, for the commands of a base."""

from collections.abc import Iterable, Iterator
from typing import Any

from packcodec.base.untold import Untold, summed
from packcodec.schema.remedy import counted


def stretch_words(each: Untold) -> str:
    """One stretch in one line: how much of what, between which numbers, or why that is unknown."""
    counted = f"unknown, {each.why}" if each.counted is None else str(each.counted)
    where = f"up to {each.last}, after {each.first - 1}, with {each.missing} missing between"
    return f"{each.message}.{each.count} that no record tells: {counted} ({where})"


def sum_words(found: Iterable[Untold]) -> Iterator[str]:
    """Each count with what was lost of it but is counted all the same, in one line."""
    for (message, count), (known, unknown) in summed(found).items():
        stretches = counted(unknown, "stretch", "stretches")
        rest = f", and an unknown number in {stretches}" if unknown else ""
        yield f"{message}.{count}: {known} counted by running totals alone{rest}"


def untold_json(each: Untold) -> dict[str, Any]:
    """One stretch as JSON data; `counted` is null where it is unknown."""
    return {
        "message": each.message,
        "count": each.count,
        "after": each.first - 1,
        "up_to": each.last,
        "missing": each.missing,
        "counted": each.counted,
        "unknown_for": each.why,
    }
