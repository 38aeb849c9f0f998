"""What a station knows: what it saw, when it watched, how it is.

Instants are aware and in UTC, as the station's clock told them at the time. `station` is the
number that goes on the air. Whoever makes these has checked them (`packcodec.edge.logs` for logs).
"""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packcodec.frozen import frozen


@frozen
class Detection:
    """One label the model gave to one picture; confidence 0 to 1, individuals 1 or more."""

    station: int
    at: datetime
    label: str
    confidence: float
    individuals: int = 1
    image: str = ""


@frozen
class Stretch:
    """The station really watched from `start` to `end`, by a clock that had been set or not."""

    station: int
    start: datetime
    end: datetime
    clock_trusted: bool = True


@frozen
class Health:
    """The state of the station; `values` are those of the `health` message by field name."""

    station: int
    at: datetime
    values: Mapping[str, Any]
    clock_trusted: bool = True
