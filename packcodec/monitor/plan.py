"""How the day's airtime is shared out: evenly, with a reserve, and never past a rule.

The rules are the ledger's. Within them ordinary frames are paced, so that no morning spends the
day: airtime is earned at the even rate of the tightest window and spent as frames go. What quiet
hours leave over is saved, up to a few intervals' worth, and lets a busy one say more. A reserve for
priority sightings is never touched by anything else; a sighting itself waits for the rules alone.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence

from packcodec.radio.ledger import Use
from packcodec.radio.limits import Limit, WindowLimit
from packcodec.radio.link import Link

# Sightings that can always go at once, and the part of a limit that they may bind at most.
RESERVED_SIGHTINGS = 3
RESERVED_PART = 4
# Intervals whose airtime is saved.
SAVED_INTERVALS = 6


class Plan:
    """Paces the ordinary frames of one link; times are monotonic, in microseconds.

    `frame_most` is the longest frame the link's rules let go in one piece.
    """

    def __init__(
        self,
        link: Link,
        limits: Iterable[Limit],
        scopes: Sequence[str],
        *,
        frame_most: int,
        sighting_bytes: int,
        interval_us: int,
        now_us: int,
    ) -> None:
        self._link = link
        self.frame_most = frame_most
        self._windows = [
            limit for limit in limits if isinstance(limit, WindowLimit) and limit.scope in scopes
        ]
        self._sightings_us = RESERVED_SIGHTINGS * self.airtime_us(min(sighting_bytes, frame_most))
        # Earned microseconds a microsecond, as a fraction: of the tightest window.
        self._earns, self._per = min(
            ((each.limit_us - self.reserve_us(each), each.window_us) for each in self._windows),
            key=lambda rate: rate[0] / rate[1],
            default=(1, 1),
        )
        self.share_us = interval_us * self._earns // self._per
        self._most = max(SAVED_INTERVALS * self.share_us, self.airtime_us(frame_most)) * self._per
        # One interval's, so that a start is not dumb; the ledger knows what was sent before.
        self._earned = self.share_us * self._per
        self._now_us = now_us

    def airtime_us(self, frame_bytes: int) -> int:
        """Time on air of a frame; at least 1, for a ledger knows no shorter one."""
        return max(1, self._link.airtime(frame_bytes).airtime_us)

    def reserve_us(self, limit: WindowLimit) -> int:
        """What of this limit is kept for sightings."""
        return min(self._sightings_us, limit.limit_us // RESERVED_PART)

    def room_us(self, now_us: int) -> int:
        """The airtime earned and not spent."""
        earned = self._earned + max(0, now_us - self._now_us) * self._earns
        self._earned, self._now_us = min(earned, self._most), max(now_us, self._now_us)
        return self._earned // self._per

    def allowed_bytes(self, waiting: int, now_us: int) -> int:
        """The longest frame worth making while `waiting` frames do: an even share of an interval's
        airtime, or its part of what was saved."""
        room_us = max(self.room_us(now_us) // max(waiting, 1), self.share_us)
        return self._longest_within(room_us)

    def ordinary_bytes(self, margin_us: int) -> int:
        """The longest frame that leaves the reserve in every window, charged with `margin_us`."""
        rooms_us = [each.limit_us - self.reserve_us(each) - margin_us for each in self._windows]
        return self._longest_within(min(rooms_us)) if rooms_us else self.frame_most

    def wait_us(self, airtime_us: int, now_us: int) -> int:
        """How long until so much has been earned."""
        self.room_us(now_us)
        missing = min(airtime_us * self._per, self._most) - self._earned
        return max(0, -(-missing // self._earns))

    def keeps_reserve(self, airtime_us: int, uses: Iterable[Use]) -> bool:
        """Whether the reserve is still there after a frame of that airtime."""
        return all(
            use.remaining_us - airtime_us >= self.reserve_us(use.limit)
            for use in uses
            if use.limit in self._windows
        )

    def spend(self, airtime_us: int) -> None:
        """A frame went, of any kind; a sighting may spend what is yet to be earned."""
        self._earned = max(self._earned - airtime_us * self._per, -self._most)

    def _longest_within(self, room_us: int) -> int:
        sizes = range(self.frame_most + 1)
        return max(0, bisect_right(sizes, room_us, key=self.airtime_us) - 1)
