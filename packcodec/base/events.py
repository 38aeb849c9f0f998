"""What a base can say about a frame that it heard, and about those that it did not."""

from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import TypeAlias

from packcodec.codec.record import Record


class Why(StrEnum):
    """Why a frame that is sound in itself is not taken, or not a record at all."""

    DAMAGED = "damaged"
    UNKNOWN_SCHEMA = "unknown schema"
    UNREADABLE = "unreadable"
    UNNUMBERED = "unnumbered"
    REPLAY = "replay"
    CONFLICT = "conflict"


class Missing(StrEnum):
    """Why numbers are missing between two that were heard.

    LOST: sent and not heard, as far as anyone can tell. RESTART: the station says that it started
    anew, and numbers it skipped then cannot be told from lost ones.
    """

    LOST = "lost"
    RESTART = "lost or skipped at a restart"


@dataclass(frozen=True, slots=True)
class Accepted:
    """A new record. `late` where a higher counter came before it; `identity` is the layout's."""

    record: Record
    counter: int
    identity: bytes
    late: bool = False


@dataclass(frozen=True, slots=True)
class Duplicate:
    """A further copy of a frame that was accepted."""

    station: int
    counter: int


@dataclass(frozen=True, slots=True)
class Gap:
    """Counters first..end-1 have not been heard. They may still come late, or be recovered."""

    station: int
    first: int
    end: int
    reason: Missing


@dataclass(frozen=True, slots=True)
class Restart:
    """The station says that it started anew with this counter."""

    station: int
    counter: int


@dataclass(frozen=True, slots=True)
class Recovered:
    """A record that was lost and that the erasure code gave back; `source` is its symbol."""

    record: Record
    counter: int
    identity: bytes
    source: bytes


@dataclass(frozen=True, slots=True)
class Unsent:
    """The code proves that this counter was skipped; or else, unless `surely`, that its record is
    lost and was too long for a symbol."""

    station: int
    counter: int
    surely: bool


@dataclass(frozen=True, slots=True)
class Contradicted:
    """The station's repair symbols cannot all be true; what they gave so far is in doubt.

    `counters` are those recovered within the window. The cause is a station that forgot its ring
    without saying so, or a forged frame.
    """

    station: int
    counters: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Forgeries:
    """An alarm: so many frames of one day (UTC) name this station and do not verify with its key.

    Somebody forges them, or the station has another key than this base.
    """

    station: int
    day: date
    count: int


@dataclass(frozen=True, slots=True)
class Rejected:
    """Not a record, and why. The frame is to be kept as it came.

    `station` is the one that the frame names, where its key is there to judge the frame by.
    """

    why: Why
    detail: str
    station: int | None = None


Event: TypeAlias = (
    Accepted | Duplicate | Gap | Restart | Recovered | Unsent | Contradicted | Forgeries | Rejected
)
