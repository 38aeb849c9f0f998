"""The frame counter on disk: two slots, each with its own check, the older one written over.

A write that the power cuts spoils the slot it was in and leaves the other, which still says what
was promised. A slot that rots looks the same, and may have promised one leap more: so that is added
wherever only one slot verifies. The file is of one size from the start: writing in place needs no
room on a full disk, and a single sync.
"""

from packcodec.edge.disk import DurableFile, fields_of, line_of
from packcodec.errors import RadioError
from packcodec.frozen import frozen

# A sector of the card each, so that a torn sector is a torn slot.
SLOT_BYTES = 512


@frozen
class Slot:
    """`below`: every sequence below it may have been used. `boots`: starts so far.

    `leap`: how far `below` moves at the next reservation, at most. `unrecorded`: frames have gone
    since that the ledger's file does not know of.
    """

    below: int = 0
    boots: int = 0
    leap: int = 0
    unrecorded: bool = False


class Slots:
    """`now` is what the newest whole slot says; None where there is none.

    `damaged`: only one of them is whole.
    """

    def __init__(self, file: DurableFile) -> None:
        """Raises RadioError where the file cannot be read."""
        self._file = file
        self.now: Slot | None = None
        self._turn = 0
        data = self._read()
        self.absent = data is None
        self.damaged = False
        for slot in (data or b"")[:SLOT_BYTES], (data or b"")[SLOT_BYTES:]:
            found = _parsed(slot)
            self.damaged |= found is None and not self.absent
            if found is not None and found[0] > self._turn:
                self._turn, self.now = found

    def keep(self, slot: Slot) -> None:
        """Make `slot` durable. Raises OSError, and then what was kept before still stands."""
        turn = self._turn + 1
        written = _slot_bytes(turn, slot)
        if self.now is None:
            self._file.replace(written + written)
        else:
            self._file.overwrite(turn % 2 * SLOT_BYTES, written)
        self._turn, self.now = turn, slot

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
        "leap": slot.leap,
        "unrecorded": slot.unrecorded,
    }
    return line_of(fields).ljust(SLOT_BYTES)


def _parsed(data: bytes) -> tuple[int, Slot] | None:
    fields = fields_of(data.partition(b"\n")[0])
    if fields is None:
        return None
    turn = fields.pop("turn")
    return turn, Slot(**fields)
