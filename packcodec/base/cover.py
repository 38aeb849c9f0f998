"""A station's counters from the first to the last, each in exactly one stretch."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from enum import StrEnum


class State(StrEnum):
    """What is known of a counter."""

    HEARD = "heard"
    RECOVERED = "recovered"
    UNSENT = "nothing sent"
    UNPROTECTED = "nothing sent, or too long to protect"
    LOST = "lost"
    RESTART = "lost or skipped at a restart"


@dataclass(frozen=True, slots=True)
class Counted:
    """A counter of which something is known. `restarted`: its record says so."""

    counter: int
    state: State
    restarted: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """Counters first..end-1, all in one state."""

    first: int
    end: int
    state: State

    def __len__(self) -> int:
        return self.end - self.first


def stretches(known: Iterable[Counted]) -> Iterator[Stretch]:
    """The stretches from the first known counter to the last; `known` in order of counters.

    They follow one another without gap or overlap. What lies between two known counters is lost,
    or, before a record that says the station restarted, lost or skipped. Uses constant memory.
    """
    now: Stretch | None = None
    for each in known:
        if now is not None and each.counter > now.end:
            yield now
            reason = State.RESTART if each.restarted else State.LOST
            now = Stretch(now.end, each.counter, reason)
        if now is not None and now.state != each.state:
            yield now
            now = None
        first = each.counter if now is None else now.first
        now = Stretch(first, each.counter + 1, each.state)
    if now is not None:
        yield now
