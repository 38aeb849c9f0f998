"""At the receiver, pure: frames and times in, events out; what came, what is missing, and why."""

from packcodec.base.account import Account, Base, read_frame
from packcodec.base.ask import Asked, ask, never_used
from packcodec.base.clock import ClockFit
from packcodec.base.cover import Counted, State, Stretch, stretches
from packcodec.base.events import (
    Accepted,
    Contradicted,
    Duplicate,
    Event,
    Forgeries,
    Gap,
    Missing,
    Recovered,
    Rejected,
    Restart,
    Unsent,
    Why,
)

__all__ = [
    "Accepted",
    "Account",
    "Asked",
    "Base",
    "ClockFit",
    "Contradicted",
    "Counted",
    "Duplicate",
    "Event",
    "Forgeries",
    "Gap",
    "Missing",
    "Recovered",
    "Rejected",
    "Restart",
    "State",
    "Stretch",
    "Unsent",
    "Why",
    "ask",
    "never_used",
    "read_frame",
    "stretches",
]
