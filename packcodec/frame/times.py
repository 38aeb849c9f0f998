"""Times that are sent modulo a span, made whole by when their frame was received."""

from datetime import datetime, timedelta
from typing import Any

from packcodec.codec.record import PartialTime
from packcodec.errors import CarrierError
from packcodec.schema.model import Field, ListOf, Time


def wraps(fields: tuple[Field, ...]) -> bool:
    """Whether any of `fields`, or of the fields of their lists, is such a time."""
    return any(
        wraps(field.fields)
        if isinstance(field, ListOf)
        else isinstance(field, Time) and field.beyond == "wrap"
        for field in fields
    )


def resolve(value: Any, epoch: datetime, received: datetime) -> Any:
    """`value` with every PartialTime in it set to the instant nearest to `received`.

    Right while delay and clock error together stay under half the span; an exact tie is the
    earlier instant. Raises CarrierError if `received` has no offset from UTC, or if the instant is
    outside the years 1 to 9999.
    """
    match value:
        case dict():
            return {name: resolve(inner, epoch, received) for name, inner in value.items()}
        case list():
            return [resolve(inner, epoch, received) for inner in value]
        case PartialTime():
            if received.utcoffset() is None:
                raise CarrierError(f"{received} has no offset from UTC", place="received")
            first, span = epoch + timedelta(seconds=value.offset_s), timedelta(seconds=value.span_s)
            spans, rest = divmod(received - first, span)
            try:
                return first + (spans + (2 * rest > span)) * span
            except OverflowError:
                raise CarrierError(
                    f"{received} is next to the end of the calendar", place="received"
                ) from None
        case _:
            return value
