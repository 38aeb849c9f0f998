"""The frame counter on disk: two slots, each with its own check, the older one written over.

A write that the power cuts spoils the slot it was in and leaves the other, which is older by one
leap at most and so still says what was promised. The file is of one size from the start: writing in
place needs no room on a full disk, and a single sync.
"""

from dataclasses import dataclass, replace

from packcodec.edge.disk import DurableFile, fields_of, line_of
from packcodec.errors import RadioError

# A sector of the card each, so that a torn sector is a torn slot.
SLOT_BYTES = 512


@dataclass(frozen=True, slots=True)
class Slot:
    """`below`: every sequence below it may have been used. `boots`: starts so far.

    `unrecorded`: frames have gone since that the ledger's file does not know of.
    """

    below: int = 0
    boots: int = 0
    unrecorded: bool = False


class Slots:
    """`now` is what the newest whole slot says."""

    def __init__(self, file: DurableFile) -> None:
        """Raises RadioError where the file is there and neither slot verifies."""
        self._file = file
        self.now = Slot()
        self._turn = 0
        data = self._read()
        self.fresh = data is None
        if data is not None:
            whole = [slot for slot in map(_parsed, (data[:SLOT_BYTES], data[SLOT_BYTES:])) if slot]
            if not whole:
                raise RadioError(
                    "neither slot of the frame counter verifies",
                    place=str(file),
                    remedy="give the station a new number (and key), and start with an empty store",
                )
            self._turn, self.now = max(whole, key=lambda pair: pair[0])

    def keep(self, slot: Slot) -> None:
        """Make `slot` durable. Raises OSError, and then what was kept before still stands."""
        turn = self._turn + 1
        written = _slot_bytes(turn, slot)
        if self.fresh:
            self._file.replace(written + written)
        else:
            self._file.overwrite(turn % 2 * SLOT_BYTES, written)
        self.fresh = False
        self._turn, self.now = turn, slot

    def keep_changed(self, *, below: int | None = None, unrecorded: bool | None = None) -> None:
        """`keep` with these changed. Raises OSError."""
        self.keep(
            replace(
                self.now,
                below=self.now.below if below is None else below,
                unrecorded=self.now.unrecorded if unrecorded is None else unrecorded,
            )
        )

    def _read(self) -> bytes | None:
        try:
            return self._file.read()
        except OSError as error:
            raise RadioError(
                f"the frame counter cannot be read: {error}",
                place=str(self._file),
                remedy="make it readable",
            ) from error


def _slot_bytes(turn: int, slot: Slot) -> bytes:
    fields = {
        "turn": turn,
        "below": slot.below,
        "boots": slot.boots,
        "unrecorded": slot.unrecorded,
    }
    return line_of(fields).ljust(SLOT_BYTES)


def _parsed(data: bytes) -> tuple[int, Slot] | None:
    fields = fields_of(data.partition(b"\n")[0])
    if fields is None:
        return None
    return fields["turn"], Slot(fields["below"], fields["boots"], fields["unrecorded"])
