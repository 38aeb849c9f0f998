"""As many elements as a frame takes: several sightings, or several intervals, under one header.

A message whose last field is a list shares its header, its time and its context among the
elements. Where the element has a duration since the previous one, its times are told by that.
"""

from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from packcodec.codec.record import Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.schema.model import Duration, ListOf, Message, Time

Element = tuple[datetime, Values]
"""An element with its instant; `values` are those of its fields, but for the duration since."""


def batches(
    codec: Codec,
    message: str,
    elements: Sequence[Element],
    limit_bytes: int,
    *,
    station: int | None = None,
    most: int | None = None,
) -> Iterator[Record]:
    """Elements, in the order of time, as records that each fill a frame of `limit_bytes`.

    The message has one time, which says the first element's, and a list as its last field; `most`
    elements go in one record where that is less than the list's own bound. A record ends early
    before an element that comes too long after the one before. Raises EncodeError where the
    message is not of this form, or where one element alone does not fit.
    """
    shape = _shape(codec, message)
    at = 0
    while at < len(elements):
        reach = shape.reach(elements, at, min(most or shape.most, shape.most))
        taken = _most_that_fit(codec, shape, elements[at : at + reach], limit_bytes)
        if not taken:
            raise EncodeError(
                f"not even one element fits {limit_bytes} bytes",
                place=f"message.{message}",
                remedy="use a link with a larger payload",
            )
        yield Record(message, shape.values(elements[at : at + taken]), station)
        at += taken


def frame_bytes(codec: Codec, message: str, values: Values) -> int:
    """Length in bytes of the frame that would carry `values`; raises EncodeError."""
    payload = codec.payloads[message]
    _, bits = payload.pack_bits(*payload.ordered(values))
    return (codec.layout.header_bits + bits + 7) // 8 + codec.layout.check.octets


class _Shape:
    """The names of a message that holds a batch."""

    def __init__(self, message: Message, listed: ListOf, time: Time | None) -> None:
        self.list = listed.name
        self.most = listed.most
        self.time = time.name if time else None
        self.since = next((f for f in listed.fields if isinstance(f, Duration) and f.since), None)
        self.message = message.name

    def reach(self, elements: Sequence[Element], at: int, most: int) -> int:
        """How many elements from `at` on follow one another closely enough."""
        if self.since is None:
            return min(most, len(elements) - at)
        count = 1
        while count < most and at + count < len(elements):
            gap = elements[at + count][0] - elements[at + count - 1][0]
            if gap > timedelta(seconds=float(self.since.high_s)) and not self.since.clamp_above:
                break
            count += 1
        return count

    def values(self, elements: Sequence[Element]) -> Values:
        rows: list[Values] = []
        for number, (when, values) in enumerate(elements):
            before = elements[number - 1][0] if number else when
            gap: dict[str, Any] = {self.since.name: when - before} if self.since else {}
            rows.append({**values, **gap})
        return {self.list: rows} | ({self.time: elements[0][0]} if self.time else {})


def _shape(codec: Codec, name: str) -> _Shape:
    if name not in codec.payloads:
        known = ", ".join(codec.payloads)
        raise EncodeError(f"no message {name!r}", place="message", remedy=f"one of {known}")
    message = codec.payloads[name].message.message
    *head, last = message.fields
    if (
        not isinstance(last, ListOf)
        or len(head) > 1
        or not all(isinstance(field, Time) for field in head)
    ):
        raise EncodeError(
            "is not a batch", place=f"message.{name}", remedy="give it one time, then one list"
        )
    return _Shape(message, last, head[0] if head and isinstance(head[0], Time) else None)


def _most_that_fit(
    codec: Codec, shape: _Shape, elements: Sequence[Element], limit_bytes: int
) -> int:
    """The largest count whose frame fits, found by halving; more elements never make it shorter."""
    low, high = 0, len(elements)
    guess = min(high, limit_bytes)
    while low < high:
        if frame_bytes(codec, shape.message, shape.values(elements[:guess])) <= limit_bytes:
            low = guess
        else:
            high = guess - 1
        guess = (low + high + 1) // 2
    return low
