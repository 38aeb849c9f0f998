"""How far a station's clock is off, told from when its records were received.

A record cannot be received before it was made, and some are received at once. So the delays
(received less said) have a lower edge, and a clock that gains or loses tilts that edge. The edge is
fitted as the line under all points that is closest to them: the edge of their lower convex hull
below their mean (S. Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network
delay measurements", INFOCOM 1999; from memory).

The shortest delay itself cannot be told from a clock that is behind. A message that is sent long
after what it reports, such as the summary of an hour, has that hour in its offset; where times are
put right (`ClockError`) it is taken off, and the rest is taken for at most `HANDLING_S`.
"""

from collections import deque
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from packcodec.codec.record import Record
from packcodec.schema.model import Schema, Time

# A delay this far under the line is no longer noise: the clock was set, or its cell was changed.
JUMP_S = 120.0
LEAST_POINTS = 8
# Over less than this, noise of seconds would pass for a drift of hundreds of ppm.
LEAST_SPAN_S = 6 * 3600.0
# A day with fewer frames may have none that was not delayed; what it tells is no scatter.
LEAST_A_DAY = 4
REMEMBERED_DAYS = 400
DAY_S = 86_400
# From when a record can be sent to when its frame is heard, at the best (common practice, no
# source).
HANDLING_S = 60.0
# The messages that go as soon as they are made, by their time; SUMMARY when its interval is over.
# How long one waits in a batch for others, or one of another name for anything, nobody knows here.
AT_ONCE = ("sighting", "health")
SUMMARY = "summary"
# Whose time is the start of an interval.
INTERVALS = (SUMMARY, "summaries")


@dataclass(frozen=True, slots=True)
class ClockFit:
    """`offset_s` at `at`: received less said, at the least; `drift_ppm` > 0 for a clock that gains.

    `uncertainty_s` is how far the lowest delay of a day lies above the line, at the most. `jumps`
    counts how often the clock was found to have been set since the account began.
    """

    message: str
    at: datetime
    offset_s: float
    drift_ppm: float
    uncertainty_s: float
    points: int
    jumps: int

    def corrected(self, said: datetime) -> datetime:
        """A time that the station said, in the base's time, the shortest delay included."""
        gone_s = (said - self.at).total_seconds()
        return said + timedelta(seconds=self.offset_s - self.drift_ppm * 1e-6 * gone_s)


@dataclass(frozen=True, slots=True)
class ClockError:
    """By how much a clock is behind (ahead where negative): `behind_s` at `at`, by `drift_ppm`.

    `uncertainty_s` holds besides the fit's own what no fit can tell, `HANDLING_S`.
    """

    at: datetime
    behind_s: float
    drift_ppm: float
    uncertainty_s: float

    def correction_s(self, gone_s: float) -> float | None:
        """What to add to a time that the station said, `gone_s` after `at`.

        None where that time is right as far as anyone can tell, which is where the correction
        would be no larger than its uncertainty.
        """
        behind_s = self.behind_s - self.drift_ppm * 1e-6 * gone_s
        return behind_s if abs(behind_s) > self.uncertainty_s else None


def clock_error(fits: Iterable[ClockFit], interval_s: float | None) -> ClockError | None:
    """The clock's error by the kind of message that is sent the soonest; None without a fit.

    `interval_s` is how long the intervals are that summaries tell of, None where that is not sure.
    """
    waits_s = dict.fromkeys(AT_ONCE, 0.0)
    if interval_s is not None:
        waits_s[SUMMARY] = interval_s
    found = [(fit.offset_s - waits_s[fit.message], fit) for fit in fits if fit.message in waits_s]
    if not found:
        return None
    behind_s, best = min(found, key=lambda each: each[0])
    return ClockError(best.at, behind_s, best.drift_ppm, best.uncertainty_s + HANDLING_S)


def time_steps(schema: Schema) -> Mapping[str, float]:
    """By message, how much later than it says an instant may be: times are cut to their steps.

    In seconds; none for the start of an interval, which is a whole step.
    """
    return {
        message.name: 0.0 if message.name in INTERVALS else float(first.step_s)
        for message in schema.messages
        if (first := next((f for f in message.fields if isinstance(f, Time)), None))
    }


class Clock:
    """The lower edges of the delays, one for each kind of message, since the clock was last set."""

    def __init__(self) -> None:
        self._edges: dict[str, _Edge] = {}
        self._last: datetime | None = None
        # What the clock was known by whenever it turned out to have been set, and up to when.
        self._ended: list[tuple[datetime, list[ClockFit]]] = []

    def heard(self, message: str, said: datetime | None, received: datetime) -> None:
        """A record whose station trusts its clock; call in order of reception."""
        if said is None:
            return
        edge = self._edges.get(message)
        if edge is not None and self._last is not None and edge.jumps(said, received):
            self._ended.append((self._last, self.fits()))
            self._edges.clear()
            edge = None
        if edge is None:
            edge = self._edges[message] = _Edge(received)
        edge.add(said, received)
        self._last = received

    def turns(self) -> list[datetime]:
        """When the last record was received before each time that the clock was set, in order."""
        return [end for end, _ in self._ended]

    def fits(self, at: datetime | None = None) -> list[ClockFit]:
        """The clock by each kind of message that came often enough; the tightest first.

        As it was when a record was received `at`, or as it is now.
        """
        if at is not None:
            for end, ended in self._ended:
                if at <= end:
                    return ended
        jumps = len(self._ended)
        fits = [edge.fit(message, jumps) for message, edge in self._edges.items()]
        return sorted(
            (fit for fit in fits if fit is not None), key=lambda fit: (fit.offset_s, fit.message)
        )


class _Edge:
    """Points (seconds since `start`, delay in seconds), and the lower hull of them."""

    def __init__(self, start: datetime) -> None:
        self.start = start
        self.hull: list[tuple[float, float]] = []
        self.sum_x = 0.0
        self.points = 0
        # The lowest delay of each whole day, and the day that is not over.
        self.lows: deque[tuple[float, float]] = deque(maxlen=REMEMBERED_DAYS)
        self._day, self._of_day, self._low = -1.0, 0, (0.0, 0.0)

    def jumps(self, said: datetime, received: datetime) -> bool:
        """Whether a delay is so short that the clock must have been set since the one before."""
        least = (received - said).total_seconds() + JUMP_S
        # The hull's last point lies on or above the line, so most delays need no closer look.
        if self.points < LEAST_POINTS or least >= self.hull[-1][1]:
            return False
        return least < self._line((received - self.start).total_seconds())

    def add(self, said: datetime, received: datetime) -> None:
        point = (received - self.start).total_seconds(), (received - said).total_seconds()
        hull = self.hull
        self._add_low(point)
        if hull and hull[-1][0] == point[0]:
            point = min(point, hull.pop())
        while len(hull) >= 2 and _turn(hull[-2], hull[-1], point) <= 0:
            hull.pop()
        hull.append(point)
        self.sum_x += point[0]
        self.points += 1

    def _add_low(self, point: tuple[float, float]) -> None:
        day = point[0] // DAY_S
        if day != self._day:
            if self._of_day >= LEAST_A_DAY:
                self.lows.append(self._low)
            self._day, self._of_day, self._low = day, 0, point
        self._of_day += 1
        if point[1] < self._low[1]:
            self._low = point

    def fit(self, message: str, jumps: int) -> ClockFit | None:
        if self.points < LEAST_POINTS or self.hull[-1][0] - self.hull[0][0] < LEAST_SPAN_S:
            return None
        offset, slope = self._edge()
        last_x = self.hull[-1][0]
        lows = [*self.lows, self._low] if self._of_day >= LEAST_A_DAY else self.lows
        scatter = max(y - (offset + slope * x) for x, y in lows or self.hull)
        return ClockFit(
            message=message,
            at=self.start + timedelta(seconds=last_x),
            offset_s=offset + slope * last_x,
            drift_ppm=-slope * 1e6,
            uncertainty_s=scatter,
            points=self.points,
            jumps=jumps,
        )

    def _line(self, x: float) -> float:
        offset, slope = self._edge()
        return offset + slope * x

    def _edge(self) -> tuple[float, float]:
        """(delay at x = 0, slope) of the hull's edge below the mean."""
        mean = self.sum_x / self.points
        if len(self.hull) == 1:
            return self.hull[0][1], 0.0
        right = next((at for at, (x, _) in enumerate(self.hull) if x >= mean), len(self.hull) - 1)
        (x0, y0), (x1, y1) = self.hull[max(0, right - 1)], self.hull[max(1, right)]
        slope = (y1 - y0) / (x1 - x0)
        return y0 - slope * x0, slope


def _turn(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Positive where a, b, c turn left, as a lower hull does."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def said_time(record: Record) -> datetime | None:
    """The first time in a record, if it is one that is known."""
    for value in record.values.values():
        if isinstance(value, datetime):
            return value
    return None
