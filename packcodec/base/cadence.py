"""How often a station reports, and whether it is overdue: no report is not 'no sighting'."""

from collections import deque
from datetime import datetime, timedelta

# A station that watches by day is silent every night: what it did in two or three days counts.
REMEMBERED = 64
PATIENCE = 1.5
# No silence shorter than this is an alarm, however fast frames came before it.
LEAST_SILENCE = timedelta(minutes=15)


class Cadence:
    """The pauses between frames whose counters follow one another, which no loss has stretched."""

    def __init__(self) -> None:
        self._last: tuple[int, datetime] | None = None
        self._pauses: deque[timedelta] = deque(maxlen=REMEMBERED)

    def heard(self, counter: int, received: datetime) -> None:
        """A frame; call in order of reception."""
        if self._last is not None and counter == self._last[0] + 1:
            self._pauses.append(received - self._last[1])
        self._last = counter, received

    @property
    def next_expected(self) -> datetime | None:
        """When the next frame is due: after a middling pause. None while no pause is known."""
        if self._last is None or not self._pauses:
            return None
        return self._last[1] + sorted(self._pauses)[len(self._pauses) // 2]

    @property
    def overdue_from(self) -> datetime | None:
        """When silence becomes worth an alarm: half as long again as the longest known pause."""
        if self._last is None or not self._pauses:
            return None
        return self._last[1] + max(PATIENCE * max(self._pauses), LEAST_SILENCE)
