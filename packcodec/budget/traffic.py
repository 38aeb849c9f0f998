"""How often a station sends what: by expected rates, or as a log of frames says it was.

Both kinds of traffic answer the same three questions: how many frames of a message a day has, how
large they are if anyone knows, and what the fullest sliding window holds.
"""

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from math import exp
from statistics import median
from typing import TypeAlias

from packcodec.errors import RadioError
from packcodec.radio.modulations import US_PER_S, up

DAY_S = 86_400
DAY_US = DAY_S * US_PER_S
HOUR_US = 3_600 * US_PER_S

# Frames that come at random may exceed what is counted for a window in one window of ten thousand:
# about one hour in a year. Then the station's ledger makes them wait.
RARELY = 1e-4

# Time on air of a frame of this message and size; size None is the message's greatest.
Cost: TypeAlias = Callable[[str, int | None], int]


@dataclass(frozen=True, slots=True)
class Regular:
    """One frame every `period_s` while the station watches, and at least one in every watch that
    the period reaches."""

    period_s: int

    def __post_init__(self) -> None:
        if type(self.period_s) is not int or not 1 <= self.period_s <= 366 * DAY_S:
            raise RadioError(
                f"a period of {self.period_s!r} s",
                place="rate",
                remedy="give whole seconds, 1 s to a year",
            )

    def per_day(self, watch_s: int) -> Fraction:
        """Frames in a day of `watch_s` seconds of watching."""
        return min(
            Fraction(DAY_S, self.period_s), max(Fraction(1), Fraction(watch_s, self.period_s))
        )

    def most_in(self, window_us: int, watch_s: int) -> int:  # noqa: ARG002
        """A frame that goes a moment late puts two into a window of exactly one period."""
        return window_us // (self.period_s * US_PER_S) + 1


@dataclass(frozen=True, slots=True)
class Random:
    """`frames_per_day` on average, at any time of the watch; at most `most_per_hour` if known."""

    frames_per_day: Fraction
    most_per_hour: int | None = None

    def __post_init__(self) -> None:
        if not 0 <= self.frames_per_day <= 100_000:
            raise RadioError(
                f"{float(self.frames_per_day):.12g} frames a day",
                place="rate",
                remedy="give 0 to 100000",
            )
        if self.most_per_hour is not None and not 1 <= self.most_per_hour <= 100_000:
            raise RadioError(
                f"at most {self.most_per_hour} an hour", place="rate", remedy="give 1 to 100000"
            )

    def per_day(self, watch_s: int) -> Fraction:  # noqa: ARG002
        """The mean, however long the watch is."""
        return self.frames_per_day

    def most_in(self, window_us: int, watch_s: int) -> int:
        """The bound if one is known, else the count that is exceeded RARELY (Poisson)."""
        if self.most_per_hour is not None:
            return self.most_per_hour * up(window_us, HOUR_US)
        share = min(window_us / (watch_s * US_PER_S), 1.0)
        days = max(1.0, window_us / DAY_US)
        return poisson_bound(float(self.frames_per_day) * share * days, RARELY)


Rate: TypeAlias = Regular | Random


def poisson_bound(mean: float, chance: float) -> int:
    """The least n with P(N > n) <= `chance` for a Poisson N of that `mean` (mean below 700)."""
    if mean > 700:
        # exp(-mean) underflows; four standard deviations bound it just as well.
        return int(mean + 4 * mean**0.5) + 1
    term = cumulative = exp(-mean)
    n = 0
    while 1 - cumulative > chance:
        n += 1
        term *= mean / n
        cumulative += term
    return n


@dataclass(frozen=True, slots=True)
class Fullest:
    """The fullest window: time on air in it, the most frames in one, the longest of them.

    `made_of` counts the fullest one's frames by message.
    """

    used_us: int
    frames: int
    longest_us: int
    made_of: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class Expected:
    """Rates by message, over `watch_s` seconds of watching a day.

    `typical` is the bytes of a frame that trained tables hold likely, where there are any.
    """

    rates: Mapping[str, Rate]
    watch_s: int = DAY_S
    typical: Mapping[str, int] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if type(self.watch_s) is not int or not 1 <= self.watch_s <= DAY_S:
            raise RadioError(
                f"{self.watch_s!r} s of watching a day",
                place="watch",
                remedy=f"give whole seconds, 1 to {DAY_S}",
            )

    @property
    def messages(self) -> tuple[str, ...]:
        """The names of the messages that have a rate."""
        return tuple(self.rates)

    def per_day(self, message: str) -> Fraction:
        """Frames a day of one station."""
        return self.rates[message].per_day(self.watch_s)

    def sizes(self, message: str) -> Counter[int] | None:  # noqa: ARG002
        """Nobody knows the sizes of frames that have not been sent."""
        return None

    def typical_bytes(self, message: str) -> int | None:
        """A frame to expect, never to plan by; None where nobody knows."""
        return self.typical.get(message)

    def fullest(self, window_us: int, cost_us: Cost) -> Fullest:
        """Every message's most frames in one window, all together, each of the greatest size.

        Their airtime may be more than the window has: then no transmitter keeps up.
        """
        counts = {name: rate.most_in(window_us, self.watch_s) for name, rate in self.rates.items()}
        costs = {name: cost_us(name, None) for name, count in counts.items() if count}
        return Fullest(
            used_us=sum(counts[name] * each for name, each in costs.items()),
            frames=sum(counts.values()),
            longest_us=max(costs.values(), default=0),
            made_of=tuple((name, counts[name]) for name, each in costs.items() if each),
        )


@dataclass(frozen=True, slots=True)
class Sent:
    """One frame of a log: when it was ready (`at_s`, Unix seconds), whose, how large."""

    station: int
    at_s: int
    message: str
    frame_bytes: int


@dataclass(frozen=True, slots=True)
class Logged:
    """The frames that a log gives, and on how many station-days.

    A day's figures are means over `station_days`; the fullest window is the fullest of any station.
    `interval_s` is the interval that its summaries are of, None if nobody says. Station-days are
    those that a frame was sent on where they are not given: a frame may wait past midnight.
    """

    sent: tuple[Sent, ...]
    interval_s: int | None = None
    station_days: int = 0

    def __post_init__(self) -> None:
        if not self.sent:
            raise RadioError("the log gives no frame", place="log", remedy="give a longer log")
        object.__setattr__(self, "sent", tuple(sorted(self.sent, key=_by_station_and_time)))
        if not self.station_days:
            days = {(each.station, each.at_s // DAY_S) for each in self.sent}
            object.__setattr__(self, "station_days", len(days))

    @property
    def messages(self) -> tuple[str, ...]:
        """The names of the messages sent, the first sent first."""
        return tuple(dict.fromkeys(each.message for each in self.sent))

    def per_day(self, message: str) -> Fraction:
        """Frames a station-day."""
        return Fraction(sum(each.message == message for each in self.sent), self.station_days)

    def sizes(self, message: str) -> Counter[int]:
        """How often each size in bytes was sent."""
        return Counter(each.frame_bytes for each in self.sent if each.message == message)

    def typical_bytes(self, message: str) -> int | None:
        """The median frame."""
        return int(median(self.sizes(message).elements()))

    def fullest(self, window_us: int, cost_us: Cost) -> Fullest:
        """The fullest window that any station had, each frame sent when ready or when it can be."""
        stations = (
            _fullest_of(sent, _on_air(sent, cost_us), window_us)
            for sent in self.by_station().values()
        )
        return max(stations, key=lambda fullest: fullest.used_us)

    def by_station(self) -> dict[int, list[Sent]]:
        """The frames of each station in the order of time."""
        stations: dict[int, list[Sent]] = {}
        for each in self.sent:
            stations.setdefault(each.station, []).append(each)
        return stations


Traffic: TypeAlias = Expected | Logged


def _by_station_and_time(sent: Sent) -> tuple[int, int]:
    return sent.station, sent.at_s


def _on_air(sent: Iterable[Sent], cost_us: Cost) -> list[tuple[int, int]]:
    """(start, airtime) of each frame: one after the other, none before it is ready."""
    emissions: list[tuple[int, int]] = []
    free_us: int | None = None
    for each in sent:
        ready_us = each.at_s * US_PER_S
        start_us = ready_us if free_us is None else max(ready_us, free_us)
        airtime_us = cost_us(each.message, each.frame_bytes)
        emissions.append((start_us, airtime_us))
        free_us = start_us + airtime_us
    return emissions


def _fullest_of(
    sent: Sequence[Sent], emissions: Sequence[tuple[int, int]], window_us: int
) -> Fullest:
    """The fullest half-open window of emissions in order; it ends where one of them ends.

    A window that slides on loses at most as fast as a new emission fills it, so no other end has
    to be looked at.
    """
    used_us = frames = oldest = held_us = 0
    fullest = range(0)
    for newest, (start_us, airtime_us) in enumerate(emissions):
        held_us += airtime_us
        begin_us = start_us + airtime_us - window_us
        while sum(emissions[oldest]) <= begin_us:
            held_us -= emissions[oldest][1]
            oldest += 1
        outside_us = max(0, begin_us - emissions[oldest][0])
        if held_us - outside_us > used_us:
            used_us, fullest = held_us - outside_us, range(oldest, newest + 1)
        frames = max(frames, newest - oldest + 1)
    made_of = Counter(sent[number].message for number in fullest if emissions[number][1])
    longest_us = max((airtime for _, airtime in emissions), default=0)
    return Fullest(used_us, frames, longest_us, tuple(made_of.items()))
