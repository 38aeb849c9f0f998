"""A day's messages against one link: sizes, airtime, a verdict a rule, the battery.

The worst case decides: a rule is asked about the fullest sliding window that the plan can have,
not about the day's average.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cache

from packcodec.budget.messages import MessagePlan, message_plan, sent_bytes_of, size_verdict
from packcodec.budget.room import Room, room_of, rows_list, splits
from packcodec.budget.traffic import Traffic
from packcodec.budget.verdict import AirtimeOf, Verdict, verdicts
from packcodec.errors import RadioError
from packcodec.layout.model import Layout, MessageLayout
from packcodec.radio.chips import TransmitCurrent, find_chip, known_chips, transmit_row
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
from packcodec.radio.modulations import Airtime, up
from packcodec.radio.rules import Rule

# A class A device opens two receive windows after each uplink; eight symbols are enough to notice
# that nothing comes (common practice, no source).
RECEIVE_WINDOWS = 2
RECEIVE_WINDOW_SYMBOLS = 8

MJ_PER_WH = 3_600_000


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
class Energy:
    """A day's energy and the time on the pack; `radio_known` is false where no table has the chip.

    `days` is None where the sun carries the load. `bytes_per_joule` counts whole frames, and all
    that the radio takes. `counted_dbm` is the power whose current counts: the next at or above the
    link's that the chip's sheet has; None where no sheet is asked.
    """

    day: DayEnergy
    days: float | None
    bytes_per_joule: float | None
    radio_known: bool
    counted_dbm: int | None = None


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
        """Mean time on air of one station, all messages together."""
        return sum(message.airtime_us_per_day for message in self.messages)

    def airtime_us(self, message: str, frame_bytes: int | None = None) -> int:
        """Time on air of one frame as it is sent here, 0 if it is not; None is the greatest."""
        of = next(each for each in self.layout.messages if each.name == message)
        most = next(each.sent_bytes for each in self.messages if each.name == message)
        on_air = _on_air(self.link, of, most, frame_bytes)
        return 0 if on_air is None else on_air.airtime_us

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
    frame at its greatest size, so they are upper bounds. With one they are those of its frames, as
    are the fullest windows; but a modelled frame is counted there at the 99th percentile of its
    message at least, for another season's frames will have other sizes.
    Raises RadioError for a message that the layout lacks, for `rows_most` out of 1 to the
    most rows of any message, and for figures of the supply out of range.
    """
    if rows_most is not None:
        check_rows(layout, rows_most)
    named = {message.name: message for message in layout.messages}
    for name in traffic.messages:
        if name not in named:
            raise RadioError(
                f"no message {name!r}", place="traffic", remedy=f"one of {', '.join(named)}"
            )
    room = room_of(link, rules)
    sent_bytes = {
        name: sent_bytes_of(layout, named[name], room, rows_most) for name in traffic.messages
    }

    @cache
    def airtime_of(name: str, frame_bytes: int | None) -> Airtime | None:
        return _on_air(link, named[name], sent_bytes[name], frame_bytes)

    messages = tuple(
        message_plan(layout, named[name], traffic, sent_bytes[name], airtime_of)
        for name in traffic.messages
    )
    if layout.schema.coding == "modelled":
        airtime_at_worst = _no_shorter_than_p99(messages, airtime_of)
    else:
        airtime_at_worst = airtime_of
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
            size_verdict(room, messages, rows_most),
            *verdicts(_as_sent(link, messages), traffic, airtime_at_worst, rules),
        ),
        energy=_energy(link, supply, messages),
    )


def _no_shorter_than_p99(messages: tuple[MessagePlan, ...], airtime_of: AirtimeOf) -> AirtimeOf:
    p99_bytes = {message.name: message.p99_bytes or 0 for message in messages}

    def airtime_at_worst(name: str, frame_bytes: int | None) -> Airtime | None:
        if frame_bytes is not None:
            frame_bytes = max(frame_bytes, p99_bytes[name])
        return airtime_of(name, frame_bytes)

    return airtime_at_worst


def check_rows(layout: Layout, rows_most: int, place: str = "rows_most") -> None:
    """RadioError naming `place` for rows out of 1 to the most of any message that can be cut."""
    lists = [rows_list(message) for message in layout.messages]
    most = max((listed.field.most for listed in lists if listed is not None), default=0)
    if not 1 <= rows_most <= most:
        remedy = f"give 1 to {most}" if most else "no message here has rows to leave out"
        raise RadioError(f"at most {rows_most} rows", place=place, remedy=remedy)


def _on_air(
    link: Link, message: MessageLayout, most: int | None, frame_bytes: int | None
) -> Airtime | None:
    """A frame as it is sent: whole, cut to `most`, in several of `most`, or not at all (None)."""
    if most is None:
        return None
    if frame_bytes is None or frame_bytes <= most:
        return link.airtime(most if frame_bytes is None else frame_bytes)
    if rows_list(message) is None:
        return None
    one = link.airtime(most)
    frames = up(frame_bytes, most) if splits(message) else 1
    return Airtime(frames * one.airtime_us, one.burst_us, frames * one.channel_us)


def _as_sent(link: Link, messages: tuple[MessagePlan, ...]) -> Link:
    """The link with its room as far as it is used, so that no finding speaks of longer frames."""
    longest = max((each.sent_bytes for each in messages if each.sent_bytes), default=None)
    return link if longest is None else replace(link, payload_most=longest)


def _energy(link: Link, supply: Supply, messages: tuple[MessagePlan, ...]) -> Energy:
    row = None if supply.radio_w is not None else _sheet_row(link)
    radio_mj = _radio_mj(link, supply, messages, row)
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
        bytes_per_joule=octets_per_joule(int(sent), day.radio_wh * MJ_PER_WH) if radio_mj else None,
        radio_known=radio_mj is not None,
        counted_dbm=None if row is None else row.power_dbm,
    )


def _sheet_row(link: Link) -> TransmitCurrent | None:
    """What the link's chip draws while sending; None where no sheet says."""
    power_dbm = link.power_as("conducted")
    if link.chip not in known_chips() or power_dbm is None or not link.frequencies_hz:
        return None
    try:
        return transmit_row(find_chip(link.chip), power_dbm, link.frequencies_hz[0])
    except RadioError:
        # The chip's sheet has no current for that power: an amplifier's is for the user to say.
        return None


def _radio_mj(
    link: Link, supply: Supply, messages: tuple[MessagePlan, ...], row: TransmitCurrent | None
) -> float | None:
    """The radio's energy a day, millijoules; None where nobody says what it draws."""
    airtime_us = sum(message.airtime_us_per_day for message in messages)
    if supply.radio_w is not None:
        return supply.radio_w * airtime_us / 1000
    if row is None:
        return None
    frames = float(sum(message.frames_per_day for message in messages))
    listen_us = int(frames * _listening_us(link))
    chip, frequency_hz = find_chip(link.chip), link.frequencies_hz[0]
    spent = transmission_energy(chip, airtime_us, row.power_dbm, frequency_hz, listen_us=listen_us)
    return spent.total_mj


def _listening_us(link: Link) -> int:
    """How long the receiver is on after one uplink."""
    if not isinstance(link.answer, Lora):
        return 0
    return RECEIVE_WINDOWS * RECEIVE_WINDOW_SYMBOLS * link.answer.symbol_us
