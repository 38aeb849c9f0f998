"""Values of a record, as decoded or in JSON form, for reading a dataset out of them."""

from datetime import UTC, datetime
from typing import Any, Literal

from packcodec.codec.record import AtLeast, AtMost
from packcodec.dataset.model import Count


def instant(value: object) -> datetime | None:
    """A time as decoded or as JSON writes it, in UTC; None where it is absent or partial."""
    if isinstance(value, str):
        value = datetime.fromisoformat(value)
    return value.astimezone(UTC) if isinstance(value, datetime) else None


def number(value: object) -> float | None:
    """A quantity as decoded or in JSON form, a bound as its value."""
    inner = bound(value)[0]
    return None if inner is None else float(inner)


def count(value: object, absent: int) -> Count:
    """A whole number as decoded or in JSON form."""
    inner, side = bound(value)
    return Count(absent if inner is None else int(inner), side == "at least")


def bound(value: Any) -> tuple[Any, Literal["", "at least", "at most"]]:
    """A value as decoded or in JSON form, and which bound it is, if it is one."""
    match value:
        case AtLeast(inner) | {"at_least": inner}:
            return inner, "at least"
        case AtMost(inner) | {"at_most": inner}:
            return inner, "at most"
        case _:
            return value, ""
