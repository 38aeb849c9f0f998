"""What each field costs on the air, and the cheapest ways to a shorter transmission.

LoRa airtime moves in blocks of several bytes, so a bit is free or worth a whole block. A frame's
free bits are those that more values could fill at no cost; its excess bits are those that must go
before a block is saved.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from packcodec.budget.room import greatest_bits, rows_list, rows_within
from packcodec.layout.model import (
    Count,
    Group,
    Layout,
    MessageLayout,
    Place,
    Presence,
    Repeat,
    Run,
    Step,
    Value,
    When,
)
from packcodec.radio.airtime import octets_to_next_step
from packcodec.radio.link import Link
from packcodec.schema.model import SpeciesCode

REPAIR_SYMBOL = "repair symbol"


@dataclass(frozen=True, slots=True)
class FieldCost:
    """A field of the greatest frame: `width` bits, `times` over, and what leaving it out saves.

    Narrower than `least_width` it would say too little to be sent; `optional` if it may be missing.
    """

    path: str
    width: int
    times: int
    saved_us: int
    least_width: int
    optional: bool

    @property
    def bits(self) -> int:
        """Of all its values in the frame."""
        return self.width * self.times


@dataclass(frozen=True, slots=True)
class Trim:
    """One way to save a block: `bits` fewer in every value of the field, or in rows left out.

    `saved_us` is more than a block where a whole field or row is more.
    """

    change: str
    path: str
    bits: int
    saved_us: int


@dataclass(frozen=True, slots=True)
class Edges:
    """The block edges round a message's greatest frame on a link.

    `free_bits` more cost nothing (padding of the last byte included). Taking `excess_bits` away
    saves `step_us`; None where there is no shorter step.
    """

    message: str
    frame_bytes: int
    airtime_us: int
    free_bits: int
    excess_bits: int | None
    step_us: int
    fields: tuple[FieldCost, ...]
    trims: tuple[Trim, ...]


def edges_within(
    layout: Layout,
    message: MessageLayout,
    link: Link,
    room_bytes: int | None,
    rows_most: int | None = None,
) -> Edges | None:
    """The edges round the greatest frame that goes into `room_bytes`, with as many rows as fit.

    `rows_most` keeps lists shorter. None as in :func:`block_edges`, and without any room.
    """
    if room_bytes is None:
        return None
    rows = rows_within(layout, message, room_bytes)
    if rows is not None and rows_most is not None:
        rows = min(rows, rows_most)
    room = replace(link, payload_most=min(link.payload_most, room_bytes))
    return block_edges(layout, message, room, rows)


def block_edges(
    layout: Layout, message: MessageLayout, link: Link, rows: int | None = None
) -> Edges | None:
    """The edges round the message's greatest frame with `rows` rows.

    None if it does not fit, and for modelled coding, where no field has a width of its own.
    """
    if layout.schema.coding == "modelled":
        return None
    listed = rows_list(message)
    gone = 0 if listed is None or rows is None else listed.field.most - rows
    bits = greatest_bits(layout, message)
    bits -= gone * listed.element.most_bits if listed is not None else 0
    frame_bytes = _bytes(layout, bits)
    if frame_bytes > link.payload_most:
        return None
    now_us = link.airtime(frame_bytes).airtime_us
    costs = [
        FieldCost(
            path=part.path,
            width=part.width,
            times=part.times,
            saved_us=now_us - _airtime_us(layout, link, bits - part.width * part.times),
            least_width=part.least_width,
            optional=part.optional,
        )
        for part in _parts(layout, message, {} if listed is None else {listed.path: gone})
        if part.width and part.times
    ]
    shorter = _shorter_step(link, frame_bytes)
    excess = None if shorter is None else bits - 8 * (shorter - layout.check.octets)
    step_us = 0 if shorter is None else now_us - link.airtime(shorter).airtime_us
    return Edges(
        message=message.name,
        frame_bytes=frame_bytes,
        airtime_us=now_us,
        free_bits=8 * (_last_of_step(link, frame_bytes) - layout.check.octets) - bits,
        excess_bits=excess,
        step_us=step_us,
        fields=tuple(sorted(costs, key=lambda cost: -cost.saved_us)),
        trims=() if excess is None else _trims(layout, message, link, costs, excess, step_us),
    )


@dataclass(frozen=True, slots=True)
class _Part:
    """One thing that a greatest frame holds, as :class:`FieldCost` tells it."""

    path: str
    width: int
    times: int
    least_width: int
    optional: bool


def _parts(layout: Layout, message: MessageLayout, fewer: dict[str, int]) -> Iterator[_Part]:
    """Everything that a greatest frame holds; `fewer` takes elements off the list of that path."""
    repair = layout.repair
    if repair is not None and message.name in repair.repair.messages:
        yield _Part(REPAIR_SYMBOL, repair.bits, 1, repair.bits, False)
    yield from _group_bits(message.body, 1, fewer)


def _group_bits(group: Group, times: int, fewer: dict[str, int]) -> Iterator[_Part]:
    for step in group.steps:
        yield from _step_bits(step, times, fewer)


def _step_bits(step: Step, times: int, fewer: dict[str, int]) -> Iterator[_Part]:
    match step:
        case Run():
            for place in step.places:
                optional = isinstance(place, Value) and place.field.optional
                yield _Part(_name(place), place.width, times, _least_width(place), optional)
        case When():
            for inner in step.steps:
                yield from _step_bits(inner, times, fewer)
        case Repeat():
            most = step.field.most - fewer.get(step.path, 0)
            yield from _group_bits(step.element, times * most, fewer)


def _name(place: Place) -> str:
    """The path within the message; a presence bit and a list's count have a sign of their own."""
    path = place.path.split(".", 2)[-1]
    match place:
        case Presence():
            return f"{path}?"
        case Count():
            return f"{path} ×"
        case Value():
            return path


def _least_width(place: Place) -> int:
    """Half the bits of a measure still say something; a species or a count needs all of them."""
    measures = isinstance(place, Value) and not isinstance(place.field, SpeciesCode)
    return -(-place.width // 2) if measures else place.width


def _bytes(layout: Layout, bits: int) -> int:
    return -(-bits // 8) + layout.check.octets


def _airtime_us(layout: Layout, link: Link, bits: int) -> int:
    return link.airtime(_bytes(layout, bits)).airtime_us


def _last_of_step(link: Link, frame_bytes: int) -> int:
    """The longest frame that takes no longer than one of `frame_bytes`."""
    free = octets_to_next_step(link.modulation, link.overhead_bytes + frame_bytes)
    return min(frame_bytes + free, link.payload_most)


def _shorter_step(link: Link, frame_bytes: int) -> int | None:
    """The longest shorter frame that takes less time; None if none does."""
    now = link.airtime(frame_bytes)
    sizes = range(frame_bytes - 1, -1, -1)
    return next((size for size in sizes if link.airtime(size) != now), None)


def _trims(
    layout: Layout,
    message: MessageLayout,
    link: Link,
    costs: list[FieldCost],
    excess: int,
    step_us: int,
) -> tuple[Trim, ...]:
    """The ways to save one block, the one that gives up the least first."""
    trims = [*_carried(layout, link, excess, step_us)]
    for cost in costs:
        bits = -(-excess // cost.times)
        if cost.width - bits >= cost.least_width:
            words = f"{cost.path} in {cost.width - bits} instead of {cost.width} bits"
            trims.append(Trim(words, cost.path, bits, step_us))
        elif bits <= cost.width and cost.optional:
            trims.append(Trim(f"leave out {cost.path}", cost.path, cost.width, cost.saved_us))
    listed = rows_list(message)
    if listed is not None and listed.element.most_bits:
        rows = -(-excess // listed.element.most_bits)
        words = f"{rows} row{'s' if rows > 1 else ''} fewer"
        trims.append(Trim(words, listed.field.name, rows * listed.element.most_bits, step_us))
    return tuple(sorted(trims, key=lambda trim: trim.bits))


def _carried(layout: Layout, link: Link, excess: int, step_us: int) -> Iterator[Trim]:
    """Header fields that the link tells of itself cost nothing to leave out."""
    frame = layout.schema.frame
    widths = {name: getattr(frame, f"{name}_bits") for name in link.carrier_says}
    names = [name for name, width in widths.items() if width]
    whole = sum(widths.values())
    # A cipher starts at a byte of the header, which must stay one.
    if whole >= excess and not (layout.check.hides and whole % 8):
        keys = " = ".join(f"{name}_bits" for name in names)
        yield Trim(f"{keys} = 0: the link tells it itself", " ".join(names), 0, step_us)
