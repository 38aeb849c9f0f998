"""As many elements as a frame takes: several sightings, or several intervals, under one header.

A message whose last field is a list shares its header, its time and its context among the
elements. Where the element has a duration since the previous one, its times are told by that.
"""

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime, timedelta
from math import inf
from typing import TYPE_CHECKING

from packcodec.codec.record import Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.schema.model import Duration, Field, ListOf, Message, SpeciesCode, Time

if TYPE_CHECKING:
    from packcodec.codec.modelled.payload import ModelledPayload

_US = timedelta(microseconds=1)

# Messages that hold a batch of others (spec/station.md).
BATCHES: Mapping[str, str] = {"sightings": "sighting", "summaries": "summary"}

Element = tuple[datetime, Values]
"""An element with its instant; `values` are those of its fields, but for the duration since."""


def batches(
    codec: Codec,
    message: str,
    elements: Sequence[Element],
    limit_bytes: int,
    *,
    station: int | None = None,
    timed: bool = True,
) -> Iterator[Record]:
    """Elements, in the order of time, as records that each fill a frame of `limit_bytes`.

    The message has at most one time, which says the first element's, and a list as its last field.
    A record ends early before an element that comes too long after the one before, or before it.
    Of elements by an unset clock, which are not `timed`, only the durations between them are said.
    Raises EncodeError where the message is not of this form, or where one element alone does not
    fit.
    """
    shape = _Shape(codec, message, timed)
    at = 0
    while at < len(elements):
        near = elements[at : at + shape.reach(elements, at, shape.most)]
        taken = _most_that_fit(codec, shape, near, limit_bytes)
        if not taken:
            raise EncodeError(
                f"not even one element fits {limit_bytes} bytes",
                place=f"message.{message}",
                remedy="use a link with a larger payload",
            )
        yield Record(message, as_sets(codec, message, shape.values(near[:taken])), station)
        at += taken


def batches_of(
    codec: Codec, message: str, elements: Sequence[Element], most: int
) -> Iterator[Values]:
    """The same by number: at most `most` elements a record, whatever its size."""
    shape = _Shape(codec, message)
    at = 0
    while at < len(elements):
        taken = shape.reach(elements, at, min(most, shape.most))
        yield shape.values(elements[at : at + taken])
        at += taken


def batch_list(message: Message) -> ListOf | None:
    """The list of a message that holds a batch: its last field, after one time or nothing."""
    *head, last = message.fields
    alone = isinstance(last, ListOf) and not last.optional
    if not alone or len(head) > 1 or not all(isinstance(field, Time) for field in head):
        return None
    assert isinstance(last, ListOf)
    return last


def unbatched(message: Message, values: Values) -> Iterator[tuple[datetime | None, Values]]:
    """The elements of a batch, as `batches` takes them; no instants where it says no time."""
    *head, listed = message.fields
    assert isinstance(listed, ListOf)
    at = values[head[0].name] if head else None
    since = next((f.name for f in listed.fields if isinstance(f, Duration) and f.since), None)
    for row in values[listed.name]:
        if isinstance(at, datetime) and since:
            at += timedelta(seconds=row[since])
        element = {name: value for name, value in row.items() if name != since}
        yield at if isinstance(at, datetime) else None, element


def single_of(message: Message) -> Message | None:
    """The message that each element of a batch is, if it is one of BATCHES."""
    listed = batch_list(message) if message.name in BATCHES else None
    if listed is None:
        return None
    fields = (f for f in listed.fields if not (isinstance(f, Duration) and f.since))
    return Message(BATCHES[message.name], message.code, (*message.fields[:-1], *fields))


def singles(message: Message, record: Record) -> list[Record]:
    """The sightings or summaries of a batch, or the record itself where it is none."""
    single = single_of(message)
    if single is None:
        return [record]
    head = message.fields[:-1]
    return [
        Record(
            single.name,
            {**{field.name: at for field in head}, **values},
            record.station,
            record.sequence,
        )
        for at, values in unbatched(message, record.values)
    ]


def as_sets(codec: Codec, message: str, values: Values) -> Values:
    """`values` with the rows of every list of one species each in the order of the species' codes.

    Modelled coding sends such rows as a set, which costs far less. Lists that follow a clock, and
    those with a species twice, stay as they are.
    """
    codes = {row.label: row.code for row in codec.schema.species.rows}
    return _sorted(codec.payloads[message].message.message.fields, values, codes)


def _sorted(fields: Sequence[Field], values: Values, codes: dict[str, int]) -> Values:
    found = dict(values)
    for field in fields:
        rows = values.get(field.name)
        if not isinstance(field, ListOf) or not isinstance(rows, list):
            continue
        rows = [_sorted(field.fields, row, codes) for row in rows]
        species = [each.name for each in field.fields if isinstance(each, SpeciesCode)]
        clocked = any(isinstance(each, Duration) and each.since for each in field.fields)
        if len(species) == 1 and not clocked:
            said = [row.get(species[0]) for row in rows]
            if all(label in codes for label in said) and len(set(said)) == len(said):
                rows.sort(key=lambda row: codes[row[species[0]]])
        found[field.name] = rows
    return found


def frame_bytes(codec: Codec, record: Record) -> int:
    """Length in bytes of the frame that would carry `record`; raises EncodeError.

    Without a sequence it is taken for one that carries a repair field, if any frame does.
    """
    payload = codec.payloads[record.message]
    _, bits = payload.pack_bits(*payload.ordered(record.values))
    repair = codec.layout.repair
    if repair is not None and repair.rides(record.message, record.sequence or 0):
        bits += repair.bits
    return (codec.layout.header_bits + bits + 7) // 8 + codec.layout.check.octets


class _Shape:
    """The names of a message that holds a batch."""

    def __init__(self, codec: Codec, name: str, timed: bool = True) -> None:
        if name not in codec.payloads:
            known = ", ".join(codec.payloads)
            raise EncodeError(f"no message {name!r}", place="message", remedy=f"one of {known}")
        message = codec.payloads[name].message.message
        listed = batch_list(message)
        if listed is None:
            raise EncodeError(
                "is not a batch", place=f"message.{name}", remedy="give it one time, then one list"
            )
        self.message = name
        self.list = listed.name
        self.most = listed.most
        self.time = message.fields[0].name if len(message.fields) > 1 else None
        self.timed = timed
        self.since = next((f for f in listed.fields if isinstance(f, Duration) and f.since), None)
        self.step_s = int(self.since.step_s) if self.since else 1

    def reach(self, elements: Sequence[Element], at: int, most: int) -> int:
        """How many elements from `at` on follow one another closely enough."""
        most = min(most, len(elements) - at)
        if self.since is None:
            return most
        longest = inf if self.since.clamp_above else self.since.high_s // self.since.step_s
        before = 0
        for count in range(1, most):
            steps = self._steps(elements[at][0], elements[at + count][0])
            if not 0 <= steps - before <= longest:
                return count
            before = steps
        return most

    def values(self, elements: Sequence[Element]) -> Values:
        first = elements[0][0]
        rows: list[Values] = []
        before = 0
        for when, values in elements:
            row = dict(values)
            if self.since is not None:
                steps = self._steps(first, when)
                row[self.since.name] = float((steps - before) * self.step_s)
                before = steps
            rows.append(row)
        return {self.list: rows} | ({self.time: first if self.timed else None} if self.time else {})

    def _steps(self, first: datetime, when: datetime) -> int:
        """Whole steps since the first element, so that what is cut off does not add up."""
        step_us = 1_000_000 * self.step_s
        steps, rest = divmod((when - first) // _US, step_us)
        # Half a step goes to the even number, as `round` has it.
        return steps + (2 * rest > step_us - steps % 2)


def _most_that_fit(
    codec: Codec, shape: _Shape, elements: Sequence[Element], limit_bytes: int
) -> int:
    """The largest count whose frame fits, as though more elements never made it shorter.

    A good guess is confirmed by its neighbour; else the count is found by halving.
    """
    low, high = 0, len(elements)
    guess = _guess(codec, shape, elements[:limit_bytes], limit_bytes)
    confirmed = False
    while low < high:
        values = as_sets(codec, shape.message, shape.values(elements[:guess]))
        if frame_bytes(codec, Record(shape.message, values)) <= limit_bytes:
            low = guess
        else:
            high = guess - 1
        guess = (low + high + 1) // 2 if confirmed else min(low + 1, high) if low else high
        confirmed = True
    return low


def _guess(codec: Codec, shape: _Shape, elements: Sequence[Element], limit_bytes: int) -> int:
    """How many of these elements may fit, one at least."""
    if codec.schema.coding == "fixed":
        return len(elements)
    payload: ModelledPayload = codec.payloads[shape.message]  # type: ignore[assignment]
    values = as_sets(codec, shape.message, shape.values(elements))
    fitting = payload.fitting(values, limit_bytes - codec.layout.check.octets)
    return min(max(fitting, 1), len(elements))
