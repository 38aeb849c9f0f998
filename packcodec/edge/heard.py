"""A frame as a receiver heard it, and what came with it."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Heard:
    """`received` is in UTC or carries its offset; `source` names who heard it.

    `station`, `message` and `sequence` are what the carrier says, where the frame does not.
    """

    frame: bytes
    received: datetime
    source: str
    rssi_dbm: float | None = None
    snr_db: float | None = None
    station: int | None = None
    message: str | None = None
    sequence: int | None = None
