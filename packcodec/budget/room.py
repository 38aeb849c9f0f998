"""What a frame has room for on a link, and how many rows of a list that leaves.

A message with a list `rows` and a field `left_out` can be cut, as the monitor does: rows are left
out and counted. A batch (at most one time, then a list) is split over several frames. Every other
message goes whole or not at all.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout, Repeat
from packcodec.radio.legal import largest_frame, rules_for
from packcodec.radio.link import Link
from packcodec.radio.rules import Rule
from packcodec.schema.model import Time

ROWS, LEFT_OUT = "rows", "left_out"


@dataclass(frozen=True, slots=True)
class Room:
    """The longest frame in bytes (None: not even an empty one), what sets it, and its clause."""

    frame_bytes: int | None
    set_by: str
    clause: str
    evidence: str


def room_of(link: Link, rules: Mapping[str, Rule] | None = None) -> Room:
    """The least of the link's own room and what its rules leave for one transmission."""
    most = largest_frame(link, rules)
    if most == link.payload_most:
        return Room(most, f"link {link.name}", link.citation, link.evidence)
    tightest = min(rules_for(link, rules), key=lambda rule: largest_under(link, rule))
    return Room(most, f"rule {tightest.id}", tightest.citation, tightest.evidence)


def largest_under(link: Link, rule: Rule) -> int:
    """The longest frame under one rule alone; -1 for not even an empty one."""
    longest = largest_frame(link, dict.fromkeys(link.rules, rule))
    return -1 if longest is None else longest


def rows_list(message: MessageLayout) -> Repeat | None:
    """The list whose rows a frame gives up; None for a message that goes whole or not at all."""
    lists = {step.field.name: step for step in message.body.steps if isinstance(step, Repeat)}
    if any(field.name == LEFT_OUT for field in message.message.fields):
        return lists.get(ROWS)
    before, last = message.message.fields[:-1], message.message.fields[-1:]
    batch = len(before) <= 1 and all(isinstance(field, Time) for field in before)
    return lists.get(last[0].name) if batch and last else None


def splits(message: MessageLayout) -> bool:
    """Whether the rows that one frame gives up go in the next."""
    counted = any(field.name == LEFT_OUT for field in message.message.fields)
    return rows_list(message) is not None and not counted


def greatest_bits(layout: Layout, message: MessageLayout) -> int:
    """The message's greatest frame without padding and check, a repair symbol included."""
    repair = layout.repair
    extra = repair.bits if repair is not None and message.name in repair.repair.messages else 0
    return layout.header_bits + extra + message.body.most_bits


def bytes_with(layout: Layout, message: MessageLayout, rows: int) -> int:
    """The greatest frame with at most `rows` rows; without a list to cut, the greatest frame.

    A modelled frame is told by its bound, which frames of real records stay far below.
    """
    listed = rows_list(message)
    if listed is None:
        return message.most_frame_bytes
    gone = listed.field.most - min(max(rows, listed.field.least), listed.field.most)
    bits = greatest_bits(layout, message) - gone * listed.element.most_bits
    bits += PLAIN_BITS if layout.schema.coding == "modelled" else 0
    return min(-(-bits // 8) + layout.check.octets, message.most_frame_bytes)


def rows_within(layout: Layout, message: MessageLayout, room_bytes: int) -> int | None:
    """The most full rows in a frame of `room_bytes`; None without a list, or if it never fits."""
    listed = rows_list(message)
    if listed is None:
        return None
    counts = range(listed.field.most, listed.field.least - 1, -1)
    return next((n for n in counts if bytes_with(layout, message, n) <= room_bytes), None)
