"""A day's messages against one link: sizes, airtime, a verdict a rule, the battery.

The worst case decides: a rule is asked about the fullest sliding window that the plan can have,
not about the day's average.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache
from statistics import median

from packcodec.budget.room import Room, bytes_with, room_of, rows_list, rows_within
from packcodec.budget.traffic import Traffic
from packcodec.budget.verdict import AirtimeOf, Verdict, percent, verdicts
from packcodec.errors import RadioError
from packcodec.layout.model import Layout, MessageLayout
from packcodec.radio.chips import find_chip, known_chips
from packcodec.radio.energy import (
    BaseLoad,
    DayEnergy,
    Pack,
    day_energy,
    octets_per_joule,
    steady_days,
    transmission_energy,
)
from packcodec.radio.link import Link
from packcodec.radio.lora import Lora
from packcodec.radio.modulations import Airtime
from packcodec.radio.rules import Rule

FRAME_SIZE = "frame size"
# A class A device opens two receive windows after each uplink; eight symbols are enough to notice
# that nothing comes (common practice, no source).
RECEIVE_WINDOWS = 2
RECEIVE_WINDOW_SYMBOLS = 8


@dataclass(frozen=True, slots=True)
class Supply:
    """What feeds the station. `awake_h` hours a day it draws the awake load, 0 to 24.

    `radio_w` is what a radio draws while it sends, where the link's chip is in no table.
    """

    pack: Pack = field(default_factory=Pack)
    load: BaseLoad = field(default_factory=BaseLoad)
    awake_h: float = 24.0
    solar_wh: float = 0.0
    radio_w: float | None = None


@dataclass(frozen=True, slots=True)
class MessagePlan:
    """One message on this link. Bytes are whole frames; airtimes whole microseconds.

    `typical_bytes` is the median of a log's frames, None without a log. `sent_bytes` is the
    greatest frame as it is sent here, None if none fits. Where the greatest frame is longer than
    the room, a message that can be cut keeps `rows` full rows at least, and `beyond_share` of the
    log's frames lose some (or are not sent at all, where `cuts` is false).
    """

    name: str
    frames_per_day: Fraction
    least_bytes: int
    typical_bytes: int | None
    greatest_bytes: int
    sent_bytes: int | None
    cuts: bool
    rows: int | None
    rows_most: int | None
    beyond_share: float | None
    least_airtime: Airtime | None
    typical_airtime: Airtime | None
    sent_airtime: Airtime | None
    airtime_us_per_day: int
    bytes_per_day: float

    @property
    def whole(self) -> bool:
        """Whether every frame goes as it is."""
        return self.sent_bytes == self.greatest_bytes or self.beyond_share == 0

    @property
    def sendable(self) -> bool:
        """Whether every frame goes, if need be with fewer rows; one without any says too little."""
        return self.whole or bool(self.rows)


@dataclass(frozen=True, slots=True)
class Energy:
    """A day's energy and the time on the pack; `radio_known` is false where no table has the chip.

    `days` is None where the sun carries the load. `bytes_per_joule` counts whole frames.
    """

    day: DayEnergy
    days: float | None
    bytes_per_joule: float | None
    radio_known: bool


@dataclass(frozen=True, slots=True)
class Budget:
    """A day planned against a link, with what was asked, so that it can be asked again changed."""

    layout: Layout
    link: Link
    traffic: Traffic
    rules: Mapping[str, Rule] | None
    supply: Supply
    rows_most: int | None
    room: Room
    messages: tuple[MessagePlan, ...]
    verdicts: tuple[Verdict, ...]
    energy: Energy

    @property
    def fits(self) -> bool:
        """Whether no verdict is no."""
        return all(verdict.fits is not False for verdict in self.verdicts)

    @property
    def share(self) -> Fraction | None:
        """The part of the tightest limit in time that is used."""
        shares = [verdict.share for verdict in self.verdicts if verdict.share is not None]
        return max(shares, default=None)

    @property
    def filled(self) -> Fraction:
        """As `share`, of the limits that more frames would fill; 0 without such a limit."""
        uses = [use for verdict in self.verdicts for use in verdict.uses]
        return max((use.share for use in uses if not use.one_frame), default=Fraction(0))

    @property
    def airtime_us_per_day(self) -> int:
        return sum(message.airtime_us_per_day for message in self.messages)

    @property
    def price_per_day(self) -> Fraction | None:
        """What the carrier bills a day, at the greatest sizes; None where it has no price."""
        if self.link.price_per_quantum is None:
            return None
        return sum(
            (
                message.frames_per_day * (self.link.price(message.sent_bytes) or 0)
                for message in self.messages
                if message.sent_bytes is not None
            ),
            Fraction(0),
        )


def plan_budget(
    layout: Layout,
    link: Link,
    traffic: Traffic,
    *,
    rules: Mapping[str, Rule] | None = None,
    supply: Supply | None = None,
    rows_most: int | None = None,
) -> Budget:
    """Plan one station's day on `link`.

    `rules` is every rule by id, a user's own included; None is the package's. `rows_most` keeps
    lists shorter than the schema allows. Without a log, a day's airtime and energy count every
    frame at its greatest size, so they are upper bounds.
    Raises RadioError for a message that the layout lacks, fewer than no rows, and a power for which
    the radio's current is not known.
    """
    if rows_most is not None and rows_most < 0:
        raise RadioError(f"at most {rows_most} rows", place="rows_most", remedy="give 0 or more")
    named = {message.name: message for message in layout.messages}
    for name in traffic.messages:
        if name not in named:
            raise RadioError(
                f"no message {name!r}", place="traffic", remedy=f"one of {', '.join(named)}"
            )
    room = room_of(link, rules)
    sent_bytes = {name: _sent(layout, named[name], room, rows_most) for name in traffic.messages}

    @cache
    def airtime_of(name: str, frame_bytes: int | None) -> Airtime | None:
        most = sent_bytes[name]
        if most is None or (frame_bytes is not None and frame_bytes > most):
            cut = most is not None and rows_list(named[name]) is not None
            return link.airtime(most) if cut and most is not None else None
        return link.airtime(most if frame_bytes is None else frame_bytes)

    messages = tuple(
        _message(layout, named[name], traffic, sent_bytes[name], airtime_of)
        for name in traffic.messages
    )
    supply = supply or Supply()
    return Budget(
        layout=layout,
        link=link,
        traffic=traffic,
        rules=rules,
        supply=supply,
        rows_most=rows_most,
        room=room,
        messages=messages,
        verdicts=(
            _size_verdict(room, messages, rows_most),
            *verdicts(_as_sent(link, messages), traffic, airtime_of, rules),
        ),
        energy=_energy(link, supply, messages),
    )


def _sent(layout: Layout, message: MessageLayout, room: Room, rows_most: int | None) -> int | None:
    """The greatest frame of a message as it is sent; None if none fits."""
    if room.frame_bytes is None or message.least_frame_bytes > room.frame_bytes:
        return None
    listed = rows_list(message)
    if listed is None:
        return min(message.most_frame_bytes, room.frame_bytes)
    rows = rows_within(layout, message, room.frame_bytes)
    if rows is None:
        return room.frame_bytes
    return bytes_with(layout, message, rows if rows_most is None else min(rows, rows_most))


def _message(
    layout: Layout,
    message: MessageLayout,
    traffic: Traffic,
    sent_bytes: int | None,
    airtime_of: AirtimeOf,
) -> MessagePlan:
    name, sizes, per_day = message.name, traffic.sizes(message.name), traffic.per_day(message.name)
    typical = None if sizes is None else int(median(sizes.elements()))
    listed = rows_list(message)
    beyond = None
    if sizes is not None:
        longer = sum(n for size, n in sizes.items() if sent_bytes is None or size > sent_bytes)
        beyond = longer / sizes.total()
    mean_us, mean_bytes = _means(name, sizes, sent_bytes, airtime_of)
    return MessagePlan(
        name=name,
        frames_per_day=per_day,
        least_bytes=message.least_frame_bytes,
        typical_bytes=typical,
        greatest_bytes=message.most_frame_bytes,
        sent_bytes=sent_bytes,
        cuts=listed is not None,
        rows=None if sent_bytes is None else rows_within(layout, message, sent_bytes),
        rows_most=None if listed is None else listed.field.most,
        beyond_share=beyond,
        least_airtime=airtime_of(name, message.least_frame_bytes),
        typical_airtime=None if typical is None else airtime_of(name, typical),
        sent_airtime=airtime_of(name, None),
        airtime_us_per_day=int(per_day * mean_us),
        bytes_per_day=float(per_day * mean_bytes),
    )


def _means(
    name: str, sizes: Mapping[int, int] | None, sent_bytes: int | None, airtime_of: AirtimeOf
) -> tuple[Fraction, Fraction]:
    """Mean airtime and mean bytes of a frame as sent; without sizes, those of the greatest."""
    counted: dict[int | None, int] = {None: 1} if sizes is None else dict(sizes.items())
    frames = sum(counted.values())
    airtime_us = total_bytes = 0
    for size, n in counted.items():
        on_air = airtime_of(name, size)
        if on_air is not None and sent_bytes is not None:
            airtime_us += n * on_air.airtime_us
            total_bytes += n * min(size or sent_bytes, sent_bytes)
    return Fraction(airtime_us, frames), Fraction(total_bytes, frames)


def _as_sent(link: Link, messages: tuple[MessagePlan, ...]) -> Link:
    """The link with its room as far as it is used, so that no finding speaks of longer frames."""
    longest = max((each.sent_bytes for each in messages if each.sent_bytes), default=None)
    return link if longest is None else replace(link, payload_most=longest)


def _size_verdict(room: Room, messages: tuple[MessagePlan, ...], rows_most: int | None) -> Verdict:
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
            "" if message.beyond_share is None else f" ({percent(message.beyond_share)} of them)"
        )
        return f"{longest} does not go whole{share}: {has}"
    kept = f"{message.rows} of {message.rows_most} rows go, the rest is left out and counted"
    share = "" if message.beyond_share is None else f" in {percent(message.beyond_share)} of frames"
    return f"{longest} is cut to {message.sent_bytes}{share} ({kept}): {has}"


def _energy(link: Link, supply: Supply, messages: tuple[MessagePlan, ...]) -> Energy:
    radio_mj = _radio_mj(link, supply, messages)
    chip = find_chip(link.chip) if link.chip in known_chips() else None
    monitor_wh = supply.load.day_wh(supply.awake_h)
    if chip is not None:
        day = day_energy(supply.load, chip, radio_mj or 0.0, awake_h=supply.awake_h)
    else:
        day = DayEnergy(monitor_wh, (radio_mj or 0.0) / 1000 / 3600)
    sent = sum(message.bytes_per_day for message in messages)
    return Energy(
        day=day,
        days=steady_days(supply.pack, day.total_wh, supply.solar_wh),
        bytes_per_joule=octets_per_joule(int(sent), radio_mj) if radio_mj else None,
        radio_known=radio_mj is not None,
    )


def _radio_mj(link: Link, supply: Supply, messages: tuple[MessagePlan, ...]) -> float | None:
    """The radio's energy a day, millijoules; None where nobody says what it draws."""
    airtime_us = sum(message.airtime_us_per_day for message in messages)
    if supply.radio_w is not None:
        return supply.radio_w * airtime_us / 1000
    power_dbm = link.power_as("conducted")
    if link.chip not in known_chips() or power_dbm is None or not link.frequencies_hz:
        return None
    frames = float(sum(message.frames_per_day for message in messages))
    return transmission_energy(
        find_chip(link.chip),
        airtime_us,
        power_dbm,
        link.frequencies_hz[0],
        listen_us=int(frames * _listening_us(link)),
    ).total_mj


def _listening_us(link: Link) -> int:
    """How long the receiver is on after one uplink."""
    if not isinstance(link.answer, Lora):
        return 0
    return RECEIVE_WINDOWS * RECEIVE_WINDOW_SYMBOLS * link.answer.symbol_us
