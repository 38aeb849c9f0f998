"""What the station's clock is worth, from the clock itself and one that cannot be set.

Two clocks are read together: the *wall* clock, which may start in 1970 or 2000, jump, and drift,
and the *monotonic* one, which starts anywhere at each boot and is never set. Where the two part by
more than drift explains, the wall clock was set.

A wall clock is trusted while somebody who knows attests it (a satellite receiver, a time server),
not while somebody denies it, and otherwise on its own evidence: it shows no earlier than the last
trusted time, as far as that was written down, and not absurdly later. A clock that stands still
while the power is off passes that test and is wrong all the same: say so (`keeps_time`), and
nothing but an attestation or a setting makes it trusted after a boot.
"""

from datetime import datetime, timedelta

from packcodec.frozen import frozen

# Small corrections may set a good clock back by this much.
SLACK = timedelta(minutes=10)
# A station stays out for a year; a clock that shows more than this past the last trusted time is
# not believed on its own word.
FURTHEST = timedelta(days=800)
# Apart by more than this is no drift. 1 part in 2,000 is far beyond any crystal (20 to 100 ppm is
# common practice, no source); 2 s is the coarseness of cheap clocks.
LEAST_STEP = timedelta(seconds=2)
DRIFT = 2_000


@frozen
class Reading:
    """The clocks at one instant: `wall` in UTC, `mono_us` in whole microseconds.

    `attested` is what somebody who knows says of the wall clock; None where nobody does.
    """

    wall: datetime
    mono_us: int
    attested: bool | None = None


class Clock:
    """Judges readings, which it gets in the order they were made.

    `known` is the latest trusted time, which outlasts a boot where the caller keeps it; `trusted`
    is the verdict on the last reading.
    """

    def __init__(self, epoch: datetime, known: datetime | None, *, keeps_time: bool = True) -> None:
        self.known = max(epoch, known or epoch)
        # How old a schema's epoch is when a station is set out, nobody knows.
        self._has_known = known is not None
        self.trusted = False
        self._believable = keeps_time
        self._last: Reading | None = None

    def read(self, now: Reading) -> timedelta:
        """Take a reading; by how much the wall clock was set since the one before."""
        step = self._step(now)
        self._last = now
        if step:
            self._believable = True
        sound = self.known - SLACK <= now.wall
        sound &= not self._has_known or now.wall <= self.known + FURTHEST
        self.trusted = (self._believable and sound) if now.attested is None else now.attested
        if now.attested:
            self.known = now.wall
        elif self.trusted:
            self.known = max(self.known, now.wall)
        self._has_known |= self.trusted
        return step

    def _step(self, now: Reading) -> timedelta:
        if self._last is None:
            return timedelta()
        run = timedelta(microseconds=now.mono_us - self._last.mono_us)
        step = now.wall - self._last.wall - run
        return step if abs(step) > LEAST_STEP + abs(run) / DRIFT else timedelta()


def when(mono_us: int, now: Reading) -> datetime:
    """The wall time of an instant of this boot, by the clocks as they stand now."""
    return now.wall - timedelta(microseconds=now.mono_us - mono_us)


def mono_of(at: datetime, now: Reading) -> int:
    """The monotonic time of a wall time since the clock was last set, by the same clocks."""
    return now.mono_us - (now.wall - at) // timedelta(microseconds=1)
