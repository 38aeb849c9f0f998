"""What has been transmitted when, and when the next transmission may start.

Pure integer arithmetic in microseconds. A regulator's window slides: for every instant `t`, the
time on air inside `[t - window, t)` must not pass the limit, and a transmission that lies partly
inside counts by that part (ERC/REC 70-03, duty cycle categories: one continuous hour, wherever it
begins). Every limit here is such a statement about one *scope*, a sub-band, a channel, a 200 kHz
slice; a transmission names all the scopes it falls into.

**No needless waiting.** Transmissions follow one another (one transmitter), so a new one
`[s, s + a)` comes last. As a window's end runs through it, the new part grows at rate 1 and the
old part shrinks at most at rate 1: the fullest window that touches it ends at `s + a`. A window
limit therefore holds exactly when `min(a, window) + old(s + a - window) <= limit`, where `old(x)`
is the time on air since `x`. `old` never grows with `x`, so each limit has one least `s`, and the
greatest of these is the earliest start: a microsecond sooner breaks a limit.

**Safe under clocks that step.** The ledger has a time of its own. Between two readings it moves
by the least advance of the clocks that were read, and never back. As long as one of them did not
run ahead of true time in between, ledger time advances by no more than true time; by induction
every transmission is truly at least as old as the ledger has it. `old` only falls with age, so
what the ledger permits is permitted. A clock set back counts as standing still, a clock set
forward is overruled by the other: both only make the ledger wait. Where the monotonic clock is
the only one given, that clock must not run ahead.

**Safe over a reboot.** The time off is unknown. Ledger time resumes where the last snapshot was
taken, plus what a trusted clock vouches for (`elapsed_us`), and a transmission begun by then
counts whole, as if it had ended as the station came back. Say that it had airtime `a` and the
station was back after `a - d`, so that it really sent `a - d` at most. In the scopes it shares
with older ones these look `d` older than they are; `old` is off by `d` at most (it has slope 1),
and the `d` counted but never sent makes up for it (older pauses were over when it began). In every
other scope nothing makes up for it, so what is recorded there is moved later by `d`. With no
snapshot left at all, the whole budget counts as just spent (:meth:`Ledger.spent`).

The ledger accounts for what it was told, and is never a licence: the local regulator decides.
"""

from collections.abc import Iterable, Sequence
from typing import Self

from packcodec.errors import RadioError
from packcodec.frozen import frozen, replace
from packcodec.radio.limits import (
    Limit,
    Transmission,
    WindowLimit,
    check_limit,
    in_seconds,
    least_start_us,
    longest_us,
    on_air_us,
    reach_us,
    whole,
)


@frozen
class Snapshot:
    """What must be stored: the transmissions that still count, as known at ledger time `as_of_us`.

    At most one of them, the newest, ends after `as_of_us`.
    """

    as_of_us: int
    sent: tuple[Transmission, ...]


@frozen
class Permit:
    """When a transmission may start, and the limit that holds it back.

    `start_us` is on the caller's monotonic clock; None means never, for `limit` has no room for so
    long a transmission. `limit` is None where nothing holds it back but the transmitter itself.
    """

    start_us: int | None
    limit: Limit | None


@frozen
class Use:
    """One window limit at one instant: what the window that ends there holds, and what is left."""

    limit: WindowLimit
    used_us: int

    @property
    def remaining_us(self) -> int:
        """What the window still has room for, in microseconds; 0 once the limit is reached."""
        return max(0, self.limit.limit_us - self.used_us)


class Ledger:
    """The account of one transmitter under several limits at once.

    Every method takes `now_us`, the monotonic clock read at the call, and optionally `wall_us`, a
    second clock that may be stepped; any whole microseconds, from any zero. Readings are made when
    the method is called, never ahead of time. Memory holds the transmissions of the longest
    window or pause and nothing older.
    """

    def __init__(self, limits: Iterable[Limit], now_us: int, *, wall_us: int | None = None) -> None:
        """An account of a transmitter that has sent nothing yet.

        Raises RadioError for a limit that is not a whole number in range, and for a pause in
        multiples of an airtime that no limit of its scope bounds.
        """
        self._limits = tuple(limits)
        for limit in self._limits:
            check_limit(limit)
        self._by_scope = {
            scope: tuple(limit for limit in self._limits if limit.scope == scope)
            for scope in {limit.scope for limit in self._limits}
        }
        self._longest_us = {s: longest_us(s, of) for s, of in self._by_scope.items()}
        self._sent: tuple[Transmission, ...] = ()
        self._ledger_us = 0
        self._now_us = whole(now_us, "now_us")
        self._wall_us = wall_us if wall_us is None else whole(wall_us, "wall_us")

    @classmethod
    def spent(cls, limits: Iterable[Limit], now_us: int, *, wall_us: int | None = None) -> Self:
        """An account of a transmitter whose past is unknown: every budget has just been spent.

        In each scope one transmission, as long as the longest limit allows, ends now. No lawful
        past has more time on air since any instant, nor asks for a longer pause.
        """
        ledger = cls(limits, now_us, wall_us=wall_us)
        ledger._sent = tuple(
            Transmission(-spent_us, spent_us, (scope,))
            for scope, spent_us in sorted(ledger._longest_us.items())
        )
        return ledger

    @classmethod
    def restored(
        cls,
        limits: Iterable[Limit],
        snapshot: Snapshot,
        now_us: int,
        *,
        wall_us: int | None = None,
        elapsed_us: int = 0,
    ) -> Self:
        """The account after a reboot. `limits` are those under which the snapshot was taken.

        `elapsed_us` is the time since `snapshot.as_of_us` that a trusted clock vouches for (less
        that clock's error); leave it out where there is none.
        Raises RadioError for a negative `elapsed_us` or a scope that has no limit.
        """
        ledger = cls(limits, now_us, wall_us=wall_us)
        since_us = whole(snapshot.as_of_us, "as_of_us", least=0)
        since_us += whole(elapsed_us, "elapsed_us", least=0)
        for transmission in snapshot.sent:
            ledger._check_scopes(transmission.scopes)
        begun = [t for t in snapshot.sent if t.end_us > since_us]
        ledger._ledger_us = max([since_us, *(t.end_us for t in begun)])
        shared = frozenset(scope for t in begun for scope in t.scopes)
        ledger._sent = tuple(
            part
            for transmission in snapshot.sent
            for part in _split(transmission, shared, ledger._ledger_us - since_us)
        )
        return ledger

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The limits that the account is kept under, in the order they were given."""
        return self._limits

    def snapshot(self) -> Snapshot:
        """What :meth:`restored` needs, as of the latest reading."""
        return Snapshot(self._ledger_us, self._sent)

    def permit(
        self, airtime_us: int, now_us: int, scopes: Sequence[str], *, wall_us: int | None = None
    ) -> Permit:
        """The earliest start of a transmission of `airtime_us` in `scopes`, and what holds it back.

        A start later than `now_us` is a forecast: ask again when it has come.
        Raises RadioError for an airtime below 1 and for a scope that has no limit here.
        """
        self._check_request(airtime_us, scopes)
        self._read(now_us, wall_us)
        start_us = max([self._ledger_us, *(t.end_us for t in self._sent)])
        binding: Limit | None = None
        for limit in self._limits:
            if limit.scope not in scopes:
                continue
            least_us = least_start_us(limit, airtime_us, self._sent_in(limit.scope))
            if least_us is None:
                return Permit(None, limit)
            if least_us > start_us:
                start_us, binding = least_us, limit
        return Permit(now_us + start_us - self._ledger_us, binding)

    def earliest_start(
        self, airtime_us: int, now_us: int, scopes: Sequence[str], *, wall_us: int | None = None
    ) -> int | None:
        """:meth:`permit`, the start alone; None means never."""
        return self.permit(airtime_us, now_us, scopes, wall_us=wall_us).start_us

    def record(
        self, start_us: int, airtime_us: int, scopes: Sequence[str], *, wall_us: int | None = None
    ) -> Transmission:
        """Enter a transmission that starts now, at the clock reading `start_us`.

        Record first, then transmit: the emission must lie inside `airtime_us` from this reading,
        so a station that needs a moment between the two adds that moment to the airtime.
        Raises RadioError, and records nothing, where the transmission may not start yet.
        """
        permit = self.permit(airtime_us, start_us, scopes, wall_us=wall_us)
        if permit.start_us != start_us:
            raise _refusal(permit, airtime_us, start_us)
        transmission = Transmission(self._ledger_us, airtime_us, tuple(scopes))
        self._sent = (*self._still_counting(), transmission)
        return transmission

    def used(self, now_us: int, *, wall_us: int | None = None) -> tuple[Use, ...]:
        """For each window limit, in the order given, the window that ends now."""
        self._read(now_us, wall_us)
        return tuple(
            Use(limit, on_air_us(self._sent_in(limit.scope), limit.window_us, self._ledger_us))
            for limit in self._limits
            if isinstance(limit, WindowLimit)
        )

    def _read(self, now_us: int, wall_us: int | None) -> None:
        """Move ledger time by the least advance of the clocks read, never back."""
        advance_us = whole(now_us, "now_us") - self._now_us
        if wall_us is not None:
            whole(wall_us, "wall_us")
            if self._wall_us is not None:
                advance_us = min(advance_us, wall_us - self._wall_us)
        self._ledger_us += max(0, advance_us)
        self._now_us, self._wall_us = now_us, wall_us

    def _sent_in(self, scope: str) -> list[Transmission]:
        return [t for t in self._sent if scope in t.scopes]

    def _still_counting(self) -> Iterable[Transmission]:
        return (
            t
            for t in self._sent
            if any(
                t.end_us + reach_us(limit, t.airtime_us) > self._ledger_us
                for scope in t.scopes
                for limit in self._by_scope[scope]
            )
        )

    def _check_request(self, airtime_us: int, scopes: Sequence[str]) -> None:
        whole(airtime_us, "airtime_us", least=1)
        self._check_scopes(scopes)

    def _check_scopes(self, scopes: Sequence[str]) -> None:
        # A mistyped scope must not pass as one without limits, nor a transmission as in none.
        unknown = [scope for scope in scopes if scope not in self._by_scope]
        if unknown or (self._limits and not scopes) or isinstance(scopes, str):
            raise RadioError(
                f"no limit is known for {unknown[0]!r}" if unknown else "no scope is named",
                place="ledger",
                remedy=f"name scopes out of {', '.join(sorted(self._by_scope))}",
            )


def _split(
    transmission: Transmission, shared: frozenset[str], later_us: int
) -> Iterable[Transmission]:
    """As it stands in the shared scopes, `later_us` later in all others."""
    kept = tuple(scope for scope in transmission.scopes if scope in shared)
    moved = tuple(scope for scope in transmission.scopes if scope not in shared)
    if kept:
        yield replace(transmission, scopes=kept)
    if moved:
        yield replace(transmission, start_us=transmission.start_us + later_us, scopes=moved)


def _refusal(permit: Permit, airtime_us: int, start_us: int) -> RadioError:
    if permit.start_us is None:
        return RadioError(
            f"{in_seconds(airtime_us)} can never be sent: the limit is {permit.limit}",
            place="ledger",
            remedy="send less at a time, or faster",
        )
    cause = f"the limit is {permit.limit}" if permit.limit else "the transmitter is still sending"
    return RadioError(
        f"not yet: {cause}",
        place="ledger",
        remedy=f"wait {in_seconds(permit.start_us - start_us)} and ask again",
    )
