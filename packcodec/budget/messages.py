"""One message on a link: what its frames weigh, how much of them goes, and what they cost."""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from packcodec.budget.room import Room, bytes_with, rows_list, rows_within, splits
from packcodec.budget.traffic import Traffic
from packcodec.budget.verdict import AirtimeOf, Verdict, nearest_percent
from packcodec.layout.model import Layout, MessageLayout
from packcodec.radio.modulations import Airtime

FRAME_SIZE = "frame size"
# Modelled frames have no greatest size worth planning for: what 99 of 100 stay within decides.
RARE_SHARE = 0.01


@dataclass(frozen=True, slots=True)
class MessagePlan:
    """One message on this link. Bytes are whole frames; airtimes whole microseconds.

    `typical_bytes` is the median of a log's frames, or of those that trained tables hold likely;
    None where nobody knows. 99 of 100 of a log's frames stay within `p99_bytes`, None without one.
    `sent_bytes` is the greatest frame as it is sent here, None if none fits. Where the greatest
    frame is longer than the room, `rows` full rows at least go in one, and `beyond_share` of the
    log's frames lose the others, or are several frames here where the message `splits`. Without
    rows they are not sent; a plan bears that where it is `rare_share` of a log's frames or less.
    """

    name: str
    frames_per_day: Fraction
    least_bytes: int
    typical_bytes: int | None
    p99_bytes: int | None
    greatest_bytes: int
    sent_bytes: int | None
    splits: bool
    rows: int | None
    rows_most: int | None
    beyond_share: float | None
    rare_share: float
    least_airtime: Airtime | None
    typical_airtime: Airtime | None
    p99_airtime: Airtime | None
    sent_airtime: Airtime | None
    airtime_us_per_day: int
    bytes_per_day: float

    @property
    def whole(self) -> bool:
        """Whether every frame goes as it is."""
        return self.sent_bytes == self.greatest_bytes or self.beyond_share == 0

    @property
    def sendable(self) -> bool:
        """Whether frames go, all but rare ones, if need be with fewer rows; one without any says
        too little."""
        rare = self.beyond_share is not None and self.beyond_share <= self.rare_share
        return self.whole or bool(self.rows) or rare


def sent_bytes_of(
    layout: Layout, message: MessageLayout, room: Room, rows_most: int | None
) -> int | None:
    """The greatest frame of a message as it is sent; None if none fits.

    The rows of a modelled frame have no size of their own: they fill the room to its last byte.
    """
    if room.frame_bytes is None or message.least_frame_bytes > room.frame_bytes:
        return None
    if rows_list(message) is None or layout.schema.coding == "modelled":
        most = (
            message.most_frame_bytes
            if rows_most is None
            else bytes_with(layout, message, rows_most)
        )
        return min(most, room.frame_bytes)
    rows = rows_within(layout, message, room.frame_bytes)
    if rows is None:
        return room.frame_bytes
    return bytes_with(layout, message, rows if rows_most is None else min(rows, rows_most))


def p99_of(sizes: Counter[int]) -> int:
    """The least size that 99 of 100 stay within."""
    left = -(-99 * sizes.total() // 100)
    for size in sorted(sizes):
        left -= sizes[size]
        if left <= 0:
            break
    return size


def message_plan(
    layout: Layout,
    message: MessageLayout,
    traffic: Traffic,
    sent_bytes: int | None,
    airtime_of: AirtimeOf,
) -> MessagePlan:
    """One message of the traffic, no longer than `sent_bytes` on the air (None: it does not go).

    `airtime_of(message, frame_bytes)` is as in :func:`packcodec.budget.verdict.verdicts`.
    """
    name, sizes, per_day = message.name, traffic.sizes(message.name), traffic.per_day(message.name)
    typical = traffic.typical_bytes(name)
    p99 = None if sizes is None else p99_of(sizes)
    listed = rows_list(message)
    beyond = None
    if sizes is not None:
        longer = sum(n for size, n in sizes.items() if sent_bytes is None or size > sent_bytes)
        beyond = longer / sizes.total()
    mean_us, mean_bytes = _means(name, sizes, sent_bytes, splits(message), airtime_of)
    return MessagePlan(
        name=name,
        frames_per_day=per_day,
        least_bytes=message.least_frame_bytes,
        typical_bytes=typical,
        p99_bytes=p99,
        greatest_bytes=message.most_frame_bytes,
        sent_bytes=sent_bytes,
        splits=splits(message),
        rows=None if sent_bytes is None else rows_within(layout, message, sent_bytes),
        rows_most=None if listed is None else listed.field.most,
        beyond_share=beyond,
        rare_share=RARE_SHARE if layout.schema.coding == "modelled" else 0.0,
        least_airtime=airtime_of(name, message.least_frame_bytes),
        typical_airtime=None if typical is None else airtime_of(name, typical),
        p99_airtime=None if p99 is None else airtime_of(name, p99),
        sent_airtime=airtime_of(name, None),
        airtime_us_per_day=int(per_day * mean_us),
        bytes_per_day=float(per_day * mean_bytes),
    )


def _bytes_sent(size: int | None, most: int, split: bool) -> int:
    """Of one frame; the headers that splitting adds are left out."""
    return most if size is None else size if split else min(size, most)


def _means(
    name: str,
    sizes: Mapping[int, int] | None,
    sent_bytes: int | None,
    split: bool,
    airtime_of: AirtimeOf,
) -> tuple[Fraction, Fraction]:
    """Mean airtime and mean bytes of a frame as sent; without sizes, those of the greatest."""
    counted: dict[int | None, int] = {None: 1} if sizes is None else dict(sizes.items())
    frames = sum(counted.values())
    airtime_us = total_bytes = 0
    for size, n in counted.items():
        on_air = airtime_of(name, size)
        if on_air is not None and sent_bytes is not None:
            airtime_us += n * on_air.airtime_us
            total_bytes += n * _bytes_sent(size, sent_bytes, split)
    return Fraction(airtime_us, frames), Fraction(total_bytes, frames)


def size_verdict(room: Room, messages: tuple[MessagePlan, ...], rows_most: int | None) -> Verdict:
    """Whether every frame fits the link's room, whole or with rows left out and counted."""
    told = "; ".join(_size_words(each, room, rows_most) for each in messages if not each.whole)
    limit = "no frame at all" if room.frame_bytes is None else f"{room.frame_bytes} bytes"
    return Verdict(
        subject=FRAME_SIZE,
        fits=all(message.sendable for message in messages),
        told=told or f"every frame fits the {limit} that {room.set_by} has room for",
        clause=room.clause,
        evidence=room.evidence,
    )


def _size_words(message: MessagePlan, room: Room, rows_most: int | None) -> str:
    if rows_most is not None and message.rows == rows_most:
        return f"{message.name} keeps {message.rows} of {message.rows_most} rows, as asked"
    longest = f"{message.name} of up to {message.greatest_bytes} bytes"
    has = f"{room.set_by} has room for {room.frame_bytes or 0}"
    if not message.rows:
        share = (
            ""
            if message.beyond_share is None
            else f" ({nearest_percent(message.beyond_share)} of them)"
        )
        return f"{longest} does not go whole{share}: {has}"
    rest = "goes in the next" if message.splits else "is left out and counted"
    least = "at least " if message.rare_share else ""
    kept = f"{least}{message.rows} of {message.rows_most} rows go, the rest {rest}"
    share = (
        ""
        if message.beyond_share is None
        else f" in {nearest_percent(message.beyond_share)} of frames"
    )
    return f"{longest} is cut to {message.sent_bytes}{share} ({kept}): {has}"
