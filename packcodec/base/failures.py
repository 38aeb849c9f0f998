"""Frames that name a station and do not verify with its key: forged, or sealed with another key.

Every frame is tried, for a real one must not be lost among forged ones; that costs one decryption.
What a flood must not cost is room: of a station's failures so many a day are kept and the rest are
only told. And somebody has to know: at `ALARM_A_DAY` there is an event. spec/seal.md, "Forgeries".
"""

from datetime import UTC, date, datetime, timedelta

from packcodec.base.events import Forgeries

# Damage on the way makes some; a forger who keeps below this has one chance in 10**5 a year, at the
# shortest tag.
ALARM_A_DAY = 100
# More than a station sends in a day: a base that was given the wrong key lets nothing real go.
MOST_KEPT_A_DAY = 2000


def day_of(received: datetime) -> date:
    """The day (UTC) a failure counts for."""
    return received.astimezone(UTC).date()


def alarm(station: int, day: date, before: int, after: int) -> Forgeries | None:
    """The event of a count of failures that went from `before` to `after`."""
    return Forgeries(station, day, after) if before < ALARM_A_DAY <= after else None


def is_recent(failed: Forgeries, now: datetime) -> bool:
    """Whether it is an alarm of this day or of the one before."""
    today = day_of(now)
    return failed.count >= ALARM_A_DAY and today - timedelta(days=1) <= failed.day <= today


def in_words(failed: Forgeries) -> str:
    """An alarm in one line."""
    most = " or more" if failed.count >= MOST_KEPT_A_DAY else ""
    return (
        f"station {failed.station}: ALARM: {failed.count} frames{most} of {failed.day} that name "
        "it do not verify: somebody forges them, or its key is another one"
    )


class Failures:
    """Counts for the newest day of each station: one count a key."""

    def __init__(self) -> None:
        self._days: dict[int, tuple[date, int]] = {}

    def failed(self, station: int | None, received: datetime) -> Forgeries | None:
        """A frame that names this station did not verify with its key; None for no such station."""
        if station is None:
            return None
        day = day_of(received)
        newest, count = self._days.get(station, (day, 0))
        if day < newest:
            return None
        count = count if day == newest else 0
        self._days[station] = day, count + 1
        return alarm(station, day, count, count + 1)
