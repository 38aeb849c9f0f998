"""The ledger's durable record: written before each transmission, read back after each reboot.

One text file. A head line (`limits` and their digest), the transmissions that still counted when
the file was last rewritten, then one line appended and synced for each further transmission. Each
line carries its own CRC-32, so that the file can be read with any pager and judged line by line:

    3f0c9a11 {"as_of_us": 0, "limits": "9b1c…", "ledger": 1}
    77aa01d2 {"airtime_us": 61696, "as_of_us": 812000, "scopes": ["868.0-868.6"], …}

A last line without its line end is a write that the power cut: its sync had not returned, so its
transmission had not begun, and it is dropped. Whatever else does not verify, and a file that is
not there, means that the past is unknown: the whole budget counts as just spent.
"""

from collections.abc import Iterable, Sequence
from hashlib import sha256
from typing import Any, Self

from packcodec.edge.disk import DiskFile as DiskFile
from packcodec.edge.disk import DurableFile, fields_of, line_of
from packcodec.errors import RadioError
from packcodec.radio.ledger import Ledger, Snapshot
from packcodec.radio.limits import Limit, Transmission, whole

FORMAT = 1
# A rewrite costs two syncs and a rename; by then this many lines were appended.
APPENDS_BEFORE_REWRITE = 512


class LedgerStore:
    """A ledger and its file, kept in step: ask `ledger` for permits, record here.

    One process at a time may hold a file: two would each spend the whole budget.
    """

    def __init__(
        self, file: DurableFile, ledger: Ledger, past: str, trusted_us: int | None = None
    ) -> None:
        """For :meth:`create` and :meth:`open`; rewrites the file."""
        self.ledger = ledger
        self.past = past
        self._file = file
        self._appends_left = 0
        self._rewrite(trusted_us)

    @classmethod
    def create(
        cls,
        file: DurableFile,
        limits: Iterable[Limit],
        now_us: int,
        *,
        wall_us: int | None = None,
    ) -> Self:
        """Commission a station that has never sent. Raises RadioError where a file exists."""
        if _read(file) is not None:
            raise RadioError(
                "there is a record of transmissions already",
                place=str(file),
                remedy="open it; a new one would forget what was sent",
            )
        return cls(file, Ledger(limits, now_us, wall_us=wall_us), "nothing was ever sent")

    @classmethod
    def open(
        cls,
        file: DurableFile,
        limits: Iterable[Limit],
        now_us: int,
        *,
        wall_us: int | None = None,
        trusted_us: int | None = None,
    ) -> Self:
        """The ledger after a (re)boot; `past` says what was found.

        `now_us` and `wall_us` are the readings of :class:`Ledger`, from here on.
        `trusted_us` is a clock that ran through the power cut and is known to be right, in
        microseconds from the zero that :meth:`record` was given; it only ever shortens the wait.
        A missing file, a line that does not verify, or other limits than those the file was kept
        under: the whole budget counts as just spent. Raises RadioError where the file cannot be
        read or written at all.
        """
        limits = tuple(limits)
        _check_trusted(trusted_us)
        data = _read(file)
        try:
            snapshot, then_us = _parse(data, _digest(limits))
        except _UnknownPastError as unknown:
            ledger = Ledger.spent(limits, now_us, wall_us=wall_us)
            return cls(file, ledger, f"unknown past: {unknown}", trusted_us)
        vouched_us = 0
        if trusted_us is not None and then_us is not None:
            vouched_us = max(0, trusted_us - then_us)
        ledger = Ledger.restored(limits, snapshot, now_us, wall_us=wall_us, elapsed_us=vouched_us)
        return cls(file, ledger, f"{len(snapshot.sent)} transmissions on record", trusted_us)

    def record(
        self,
        start_us: int,
        airtime_us: int,
        scopes: Sequence[str],
        *,
        wall_us: int | None = None,
        trusted_us: int | None = None,
    ) -> None:
        """Make the transmission durable, then return: only now may it be sent.

        The arguments are those of :meth:`Ledger.record`, and `trusted_us` as in :meth:`open`. The
        write takes its time, so add that to `airtime_us`. Raises RadioError, and then nothing may
        be sent: the ledger refuses, or the record could not be made durable (it still counts).
        """
        _check_trusted(trusted_us)
        sent = self.ledger.record(start_us, airtime_us, scopes, wall_us=wall_us)
        try:
            if self._appends_left:
                self._appends_left -= 1
                self._file.append(line_of(_fields(sent, sent.start_us, trusted_us)))
            else:
                self._rewrite(trusted_us)
        except OSError as error:
            # Half a line may stand at the end now; appending to it would spoil the next one too.
            self._appends_left = 0
            raise _not_durable(self._file, error) from error

    def _rewrite(self, trusted_us: int | None) -> None:
        snapshot = self.ledger.snapshot()
        head = {
            "ledger": FORMAT,
            "limits": _digest(self.ledger.limits),
            "as_of_us": snapshot.as_of_us,
            "trusted_us": trusted_us,
        }
        rows = [_fields(sent, snapshot.as_of_us, trusted_us) for sent in snapshot.sent]
        try:
            self._file.replace(b"".join(line_of(fields) for fields in (head, *rows)))
        except OSError as error:
            raise _not_durable(self._file, error) from error
        self._appends_left = APPENDS_BEFORE_REWRITE


class _UnknownPastError(Exception):
    """The file does not say what was sent."""


def _parse(data: bytes | None, digest: str) -> tuple[Snapshot, int | None]:
    """The stored transmissions, and the trusted clock (if any) as of the newest line."""
    if data is None:
        raise _UnknownPastError("there is no record")
    *lines, _cut_off = data.split(b"\n")
    rows = [_verified(line, number) for number, line in enumerate(lines, start=1)]
    if not rows or rows[0].get("ledger") != FORMAT:
        raise _UnknownPastError("the record has no head")
    if rows[0].get("limits") != digest:
        raise _UnknownPastError("the record was kept under other limits")
    try:
        sent = tuple(
            Transmission(row["start_us"], row["airtime_us"], tuple(row["scopes"]))
            for row in rows[1:]
        )
        return Snapshot(rows[-1]["as_of_us"], sent), rows[-1]["trusted_us"]
    except KeyError as missing:
        raise _UnknownPastError(f"a line has no {missing}") from None


def _verified(line: bytes, number: int) -> dict[str, Any]:
    fields = fields_of(line)
    if fields is None:
        raise _UnknownPastError(f"line {number} fails its check")
    return fields


def _fields(sent: Transmission, as_of_us: int, trusted_us: int | None) -> dict[str, Any]:
    return {
        "start_us": sent.start_us,
        "airtime_us": sent.airtime_us,
        "scopes": sent.scopes,
        "as_of_us": as_of_us,
        "trusted_us": trusted_us,
    }


def _check_trusted(trusted_us: int | None) -> None:
    if trusted_us is not None:
        whole(trusted_us, "trusted_us")


def _digest(limits: Iterable[Limit]) -> str:
    return sha256("\n".join(repr(limit) for limit in limits).encode()).hexdigest()


def _read(file: DurableFile) -> bytes | None:
    try:
        return file.read()
    except OSError as error:
        raise RadioError(
            f"the record of transmissions cannot be read: {error}",
            place=str(file),
            remedy="make it readable, or remove it to start with a spent budget",
        ) from error


def _not_durable(file: DurableFile, error: OSError) -> RadioError:
    return RadioError(
        f"the transmission could not be recorded: {error}",
        place=str(file),
        remedy="do not transmit; make room or mend the storage, then ask again",
    )
