"""How much a link lets through: the most frames of one size, and their bytes, in a day."""

from collections.abc import Mapping
from dataclasses import dataclass

from packcodec.budget.traffic import DAY_US
from packcodec.radio.limits import Limit, PauseLimit, SingleLimit, WindowLimit
from packcodec.radio.link import Link
from packcodec.radio.modulations import Airtime
from packcodec.radio.rules import Rule
from packcodec.radio.scopes import ledger_limits


@dataclass(frozen=True, slots=True)
class Allowance:
    """The most frames of `frame_bytes` that any whole day can hold, and what holds them back.

    `at_once` frames may go one after the other before the tightest window is spent; None where no
    window is. `clause` is empty where only the transmitter's own speed is the bound.
    """

    frame_bytes: int
    airtime: Airtime
    at_once: int | None
    frames_per_day: int
    clause: str

    @property
    def bytes_per_day(self) -> int:
        """Whole frames, header and check included."""
        return self.frames_per_day * self.frame_bytes


def allowance(link: Link, frame_bytes: int, rules: Mapping[str, Rule] | None = None) -> Allowance:
    """What the link's rules let through in a day, if nothing else is sent and all windows are used.

    Raises RadioError if the frame is longer than the link takes.
    """
    on_air = link.airtime(frame_bytes)
    allowed = Allowance(frame_bytes, on_air, None, DAY_US // max(on_air.airtime_us, 1), "")
    for limit in ledger_limits(link, rules):
        a_day, at_once = _under(limit, link, on_air)
        if a_day < allowed.frames_per_day:
            allowed = Allowance(frame_bytes, on_air, at_once, a_day, limit.clause)
    return allowed


def _under(limit: Limit, link: Link, on_air: Airtime) -> tuple[int, int | None]:
    """Frames a day, and frames in a row, under one limit."""
    on_one_channel = "@" in limit.scope
    taken_us = max(on_air.channel_us if on_one_channel else on_air.airtime_us, 1)
    match limit:
        case SingleLimit():
            longest_us = on_air.channel_us if on_one_channel else on_air.burst_us
            return (0, 0) if longest_us > limit.limit_us else (DAY_US // taken_us, None)
        case PauseLimit():
            return DAY_US // (taken_us + limit.pause_us), None
        case WindowLimit():
            channels = max(link.hops_over, 1) if on_one_channel else 1
            at_once = limit.limit_us // taken_us * channels
            return at_once * (DAY_US // limit.window_us), at_once
