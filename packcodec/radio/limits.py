"""What a limit is, and what each kind asks of a transmission that follows others.

A limit speaks about one *scope*: a sub-band, a channel, a 200 kHz slice, by whatever name the
caller gives it. All times are whole microseconds. :mod:`packcodec.radio.ledger` keeps the account.
"""

from collections.abc import Sequence
from typing import TypeAlias

from packcodec.errors import RadioError
from packcodec.frozen import frozen


@frozen
class WindowLimit:
    """At most `limit_us` on air in any `window_us`: duty cycle, dwell, listen-before-talk total.

    A scope that the law leaves free is declared with `limit_us == window_us`.
    """

    scope: str
    limit_us: int
    window_us: int
    clause: str = ""

    def __str__(self) -> str:
        return _worded(
            self, f"{in_seconds(self.limit_us)} on air in any {in_seconds(self.window_us)}"
        )


@frozen
class SingleLimit:
    """No single transmission longer than `limit_us`."""

    scope: str
    limit_us: int
    clause: str = ""

    def __str__(self) -> str:
        return _worded(self, f"{in_seconds(self.limit_us)} in one transmission")


@frozen
class PauseLimit:
    """After a transmission of airtime a: silence for `pause_us + times_airtime * a`."""

    scope: str
    pause_us: int = 0
    times_airtime: int = 0
    clause: str = ""

    def __str__(self) -> str:
        times = f" and {self.times_airtime} times the airtime" if self.times_airtime else ""
        return _worded(
            self, f"a pause of {in_seconds(self.pause_us)}{times} after each transmission"
        )


Limit: TypeAlias = WindowLimit | SingleLimit | PauseLimit


@frozen
class Transmission:
    """An emission inside `[start_us, start_us + airtime_us)` of ledger time."""

    start_us: int
    airtime_us: int
    scopes: tuple[str, ...]

    @property
    def end_us(self) -> int:
        """The first microsecond after it, in ledger time."""
        return self.start_us + self.airtime_us


def least_start_us(limit: Limit, airtime_us: int, sent: Sequence[Transmission]) -> int | None:
    """The least ledger time at which `limit` lets `airtime_us` start after `sent`; None is never.

    Ledger time is never negative, so 0 stands for 'at any time'.
    """
    match limit:
        case SingleLimit():
            return None if airtime_us > limit.limit_us else 0
        case PauseLimit():
            return max((t.end_us + reach_us(limit, t.airtime_us) for t in sent), default=0)
        case WindowLimit():
            return _least_start_in_window_us(limit, airtime_us, sent)


def _least_start_in_window_us(
    limit: WindowLimit, airtime_us: int, sent: Sequence[Transmission]
) -> int | None:
    """The least s with min(a, window) + old(s + a - window) <= limit, walking from the newest."""
    room_us = limit.limit_us - min(airtime_us, limit.window_us)
    if room_us < 0:
        return None
    for transmission in reversed(sent):
        if transmission.airtime_us > room_us:
            return transmission.end_us - room_us + limit.window_us - airtime_us
        room_us -= transmission.airtime_us
    return 0


def reach_us(limit: Limit, airtime_us: int) -> int:
    """For how long after its end a transmission matters to `limit`."""
    match limit:
        case WindowLimit():
            return limit.window_us
        case PauseLimit():
            return limit.pause_us + limit.times_airtime * airtime_us
        case SingleLimit():
            return 0


def on_air_us(sent: Sequence[Transmission], window_us: int, end_us: int) -> int:
    """The time on air inside `[end_us - window_us, end_us)`."""
    return sum(max(0, min(t.end_us, end_us) - max(t.start_us, end_us - window_us)) for t in sent)


def longest_us(scope: str, limits: Sequence[Limit]) -> int:
    """The longest time on air that any limit of the scope allows.

    Raises RadioError for a pause in multiples of an airtime that nothing bounds.
    """
    bounds = [limit.limit_us for limit in limits if not isinstance(limit, PauseLimit)]
    times = [limit for limit in limits if isinstance(limit, PauseLimit) and limit.times_airtime]
    if times and not bounds:
        raise RadioError(
            "the pause grows with the airtime, and nothing bounds the airtime",
            place=f"limit of {scope}",
            remedy="add a SingleLimit or a WindowLimit for this scope",
        )
    # A pause alone still needs a transmission to have ended: the shortest there is.
    return max(bounds, default=1)


def check_limit(limit: Limit) -> None:
    """Raise RadioError for a limit whose numbers are not whole or not in range."""
    place = f"limit of {limit.scope}"
    match limit:
        case WindowLimit():
            whole(limit.window_us, "window_us", least=1, place=place)
            whole(limit.limit_us, "limit_us", least=1, most=limit.window_us, place=place)
        case SingleLimit():
            whole(limit.limit_us, "limit_us", least=1, place=place)
        case PauseLimit():
            whole(limit.pause_us, "pause_us", least=0, place=place)
            whole(limit.times_airtime, "times_airtime", least=0, place=place)


def whole(
    value: int, name: str, *, least: int | None = None, most: int | None = None, place: str = ""
) -> int:
    """`value`, or RadioError where it is not an int in `least..most`."""
    low = value if least is None else least
    high = value if most is None else most
    if type(value) is int and low <= value <= high:
        return value
    bounds = f" of at least {least}" if least is not None else ""
    bounds += f" and at most {most}" if most is not None else ""
    kind = "whole microseconds" if name.endswith("_us") else "a whole number"
    raise RadioError(f"{name} is {value!r}", place=place or "ledger", remedy=f"give {kind}{bounds}")


def _worded(limit: Limit, text: str) -> str:
    clause = f" ({limit.clause})" if limit.clause else ""
    return f"{limit.scope}: {text}{clause}"


def in_seconds(duration_us: int) -> str:
    """Microseconds as exact seconds, without trailing zeros."""
    seconds, part_us = divmod(duration_us, 1_000_000)
    return f"{seconds}.{part_us:06d}".rstrip("0").rstrip(".") + " s"
