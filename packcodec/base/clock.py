"""How far a station's clock is off, told from when its records were received.

A record cannot be received before it was made, and some are received at once. So the delays
(received less said) have a lower edge, and a clock that gains or loses tilts that edge. The edge is
fitted as the line under all points that is closest to them: the edge of their lower convex hull
below their mean (S. Moon, P. Skelly, D. Towsley, "Estimation and removal of clock skew from network
delay measurements", INFOCOM 1999; from memory).

The shortest delay itself cannot be told from a clock that is behind. A message that is sent long
after what it reports, such as the summary of an hour, has that hour in its offset.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta

from packcodec.codec.record import Record

# A delay this far under the line is no longer noise: the clock was set, or its cell was changed.
JUMP_S = 120.0
LEAST_POINTS = 8
# Over less than this, noise of seconds would pass for a drift of hundreds of ppm.
LEAST_SPAN_S = 6 * 3600.0


@dataclass(frozen=True, slots=True)
class ClockFit:
    """`offset_s` at `at`: received less said, at the least; `drift_ppm` > 0 for a clock that gains.

    `uncertainty_s` is how far the lowest delays scatter around the line. `jumps` counts how often
    the clock was found to have been set since the account began.
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


class Clock:
    """The lower edges of the delays, one for each kind of message."""

    def __init__(self) -> None:
        self._edges: dict[str, _Edge] = {}

    def heard(self, message: str, said: datetime | None, received: datetime) -> None:
        """A record whose station trusts its clock; call in order of reception."""
        if said is not None:
            self._edges.setdefault(message, _Edge(received)).add(said, received)

    def fits(self) -> list[ClockFit]:
        """The clock by each kind of message that came often enough; the tightest first."""
        fits = [edge.fit(message) for message, edge in self._edges.items()]
        return sorted(
            (fit for fit in fits if fit is not None), key=lambda fit: (fit.offset_s, fit.message)
        )


class _Edge:
    """Points (seconds since `start`, delay in seconds), and the lower hull of them."""

    def __init__(self, start: datetime) -> None:
        self.start = start
        self.jumps = 0
        self._clear()

    def _clear(self) -> None:
        self.hull: list[tuple[float, float]] = []
        self.sum_x = 0.0
        self.points = 0

    def add(self, said: datetime, received: datetime) -> None:
        point = (received - self.start).total_seconds(), (received - said).total_seconds()
        hull = self.hull
        # The hull's last point lies on or above the line, so most delays need no closer look.
        least = point[1] + JUMP_S
        if self.points >= LEAST_POINTS and least < hull[-1][1] and least < self._line(point[0]):
            self._clear()
            self.jumps += 1
            hull = self.hull
        if hull and hull[-1][0] == point[0]:
            point = min(point, hull.pop())
        while len(hull) >= 2 and _turn(hull[-2], hull[-1], point) <= 0:
            hull.pop()
        hull.append(point)
        self.sum_x += point[0]
        self.points += 1

    def fit(self, message: str) -> ClockFit | None:
        if self.points < LEAST_POINTS or self.hull[-1][0] - self.hull[0][0] < LEAST_SPAN_S:
            return None
        offset, slope = self._edge()
        last_x = self.hull[-1][0]
        scatter = max(y - (offset + slope * x) for x, y in self.hull)
        return ClockFit(
            message=message,
            at=self.start + timedelta(seconds=last_x),
            offset_s=offset + slope * last_x,
            drift_ppm=-slope * 1e6,
            uncertainty_s=scatter,
            points=self.points,
            jumps=self.jumps,
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
