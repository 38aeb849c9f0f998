"""What a station keeps on its card, and what happens when the card fails.

Three files: `journal` (`packcodec.edge.journal`), `counter` (`packcodec.edge.slots`) and `ledger`
(`packcodec.edge.ledger_store`). Whatever fails is counted in `troubles` and never raised, once the
station is up; `failed` says that something is not safe now.

Nothing may be sent that is not accounted for. On a full card the counter's file can still be
written in place: it then says that the ledger's file is behind, frames go on, and the next boot
takes the whole budget for spent. On a card that cannot be written at all nothing may be sent.
"""

import fcntl
from collections import Counter as Counts
from collections.abc import Callable, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import IO

from packcodec.edge.disk import DiskFile, DurableFile
from packcodec.edge.journal import Journal
from packcodec.edge.ledger_store import LedgerStore
from packcodec.edge.slots import Slot, Slots
from packcodec.errors import RadioError
from packcodec.frame.sequence import COUNTERS
from packcodec.frozen import replace
from packcodec.monitor.clock import Reading
from packcodec.monitor.kept import Change, Kept
from packcodec.radio.ledger import Ledger
from packcodec.radio.limits import Limit

Files = Callable[[str], DurableFile]

# Where the counter's file is lost and the journal is not: far past any number that was ever used.
LOST_LEAP = 65_536
# Between the ledger's reading of the clock and the end of the frame there is a write to the card.
LEAST_MARGIN_US, MOST_MARGIN_US = 100_000, 5_000_000
RETRY_US = 60_000_000
MOST_TROUBLES = 64
_ZERO = datetime(1970, 1, 1, tzinfo=UTC)


class Keeping:
    """`ledger` is None where the link knows no limits; `kept` where the journal says nothing.

    `margin_us` is what the ledger is charged for each frame besides its time on air.
    """

    def __init__(
        self, files: Files, layout: bytes, limits: Sequence[Limit], now: Reading, leap: int
    ) -> None:
        """Opens, or makes, the three files, and reserves the first `leap` numbers of this boot.

        Raises RadioError for a store that has lost count of its numbers.
        """
        self.troubles: Counts[str] = Counts()
        self.failed = False
        self.margin_us = LEAST_MARGIN_US
        self._retry_us = now.mono_us
        self._slots = Slots(files("counter"))
        self._journal = self._open_journal(files("journal"), layout)
        self.kept = self._journal.kept if self._journal else None
        incomplete = self._forget_sources()
        self._store: LedgerStore | None = None
        self.ledger = self._open_ledger(files("ledger"), limits, now) if limits else None
        self.first = _first_number(self._slots, self.kept)
        self.reserved = self.first
        self.boots = 1 + (self._slots.now.boots if self._slots.now else 0)
        behind = incomplete or (self.ledger is not None and self._store is None)
        self._leap = leap
        self._keep(Slot(min(self.first + leap, COUNTERS), self.boots, leap, behind))

    def trouble(self, words: str) -> None:
        """Count what went wrong; words that are ever new must not fill the memory."""
        known = words in self.troubles or len(self.troubles) < MOST_TROUBLES
        self.troubles[words if known else "and more of other kinds"] += 1

    def commit(
        self, change: Change, all_of_it: Callable[[], Kept], now_us: int, *, tidy: bool
    ) -> bool:
        """Make a change durable, or everything where the last attempt failed; whether it is."""
        if not (change or self.failed):
            return True
        if self._journal is None or (self.failed and now_us < self._retry_us):
            return False
        try:
            self._journal.add(change, all_of_it, tidy=tidy)
        except OSError as error:
            self._retry_us = now_us + RETRY_US
            self._fail(f"journal: {error}")
        else:
            self.failed = False
        return not self.failed

    def reserve(self, below: int) -> None:
        """Promise that no later boot uses a number below `below`; `reserved` says if it worked."""
        slot = self._slots.now or Slot()
        self._keep(replace(slot, below=below, boots=self.boots, leap=self._leap))

    def enter(self, read: Callable[[], Reading], airtime_us: int, scopes: Sequence[str]) -> bool:
        """Put a frame's time on air on record, from now; False where it must not be sent now."""
        if self.ledger is None:
            return True
        now = read()
        on_air_us, wall_us = airtime_us + self.margin_us, _wall_us(now)
        try:
            if self._store is None:
                self.ledger.record(now.mono_us, on_air_us, scopes, wall_us=wall_us)
                return self.is_behind()
            trusted_us = wall_us if now.attested else None
            self._store.record(
                now.mono_us, on_air_us, scopes, wall_us=wall_us, trusted_us=trusted_us
            )
        except RadioError as error:
            if not isinstance(error.__cause__, OSError):
                return False
            self._fail(f"ledger: {error.__cause__}")
            return self.is_behind()
        if self._slots.now is not None and self._slots.now.unrecorded and not self.failed:
            self._keep(replace(self._slots.now, unrecorded=False))
        return self._in_time(read().mono_us - now.mono_us)

    def _in_time(self, took_us: int) -> bool:
        """Whether the moment that was entered is not over; it counts all the same."""
        if took_us <= self.margin_us:
            return True
        self.margin_us = min(2 * took_us, MOST_MARGIN_US)
        return False

    def is_behind(self) -> bool:
        """Whether it is on record that a file is behind; else nothing may be sent."""
        slot = self._slots.now
        return slot is not None and (slot.unrecorded or self._keep(replace(slot, unrecorded=True)))

    def _keep(self, slot: Slot) -> bool:
        try:
            self._slots.keep(slot)
        except OSError as error:
            self._fail(f"counter: {error}")
            return False
        self.reserved = slot.below
        return True

    def _open_journal(self, file: DurableFile, layout: bytes) -> Journal | None:
        try:
            journal = Journal(file, layout)
        except OSError as error:
            self._fail(f"journal: {error}")
            return None
        if journal.damaged:
            self.trouble(f"journal: {journal.damaged} lines or records lost")
        return journal

    def _forget_sources(self) -> bool:
        """Forget the repair code's sources where some may be missing, and running totals likewise.

        Whether that must stay on record: for damage, the journal says so itself.
        """
        if self._journal is None or not (self._journal.kept.sources or self._journal.kept.totals):
            return False
        unrecorded = self._slots.now is not None and self._slots.now.unrecorded
        if unrecorded or self._journal.damaged:
            self._journal.kept.sources.clear()
            self._journal.kept.totals = None
        return unrecorded

    def _open_ledger(self, file: DurableFile, limits: Sequence[Limit], now: Reading) -> Ledger:
        """The account and its file; without one, the whole budget counts as spent."""
        wall_us, slot = _wall_us(now), self._slots.now
        try:
            if slot is not None and slot.unrecorded:
                file.replace(b"")
            if self._slots.absent and file.read() is None:
                self._store = LedgerStore.create(file, limits, now.mono_us, wall_us=wall_us)
            else:
                trusted_us = wall_us if now.attested else None
                self._store = LedgerStore.open(
                    file, limits, now.mono_us, wall_us=wall_us, trusted_us=trusted_us
                )
        except (RadioError, OSError) as error:
            self._fail(f"ledger: {error}")
            return Ledger.spent(limits, now.mono_us, wall_us=wall_us)
        return self._store.ledger

    def _fail(self, words: str) -> None:
        self.failed = True
        self.trouble(words)


def folder(path: Path) -> tuple[Files, IO[bytes] | None]:
    """Files in a folder that no other process uses, and the lock to be closed at the end.

    Raises RadioError where another process holds it.
    """
    held = None
    try:
        path.mkdir(parents=True, exist_ok=True)
        held = (path / "lock").open("wb")
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        raise RadioError(
            "another process holds the store",
            place=str(path),
            remedy="two stations on one store would each spend the whole budget: stop one",
        ) from None
    except OSError:
        # A card that cannot be written: the files say so themselves.
        held = None
    return lambda name: DiskFile(path / name), held


def _first_number(slots: Slots, kept: Kept | None) -> int:
    """The first number that was surely never used."""
    if slots.now is not None:
        more = slots.now.leap if slots.damaged else 0
        return min(slots.now.below + more, COUNTERS)
    if kept is not None and kept.last_sent is not None:
        return min(kept.last_sent + LOST_LEAP, COUNTERS)
    if slots.absent:
        return 0
    raise RadioError(
        "the frame counter does not verify, and nothing else says what was sent",
        place="store",
        remedy="give the station a new number (and key), and an empty store",
    )


def _wall_us(now: Reading) -> int:
    return (now.wall - _ZERO) // timedelta(microseconds=1)
