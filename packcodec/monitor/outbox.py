"""What waits to be sent, in the order it goes, and what makes room when there is too much.

A priority sighting goes first, then health, then summaries; the oldest first within each, so that
the frame counter tells the order of records that carry no time. Where there is no room the least
wanted go, the oldest of them first, and are counted: a summary before health before a sighting.
"""

from collections import Counter
from collections.abc import Container, Iterable, Iterator
from itertools import islice
from typing import Any, Self

from packcodec.frozen import frozen
from packcodec.monitor.vocabulary import HEALTH, SIGHTING

# 4,096 hourly summaries are 170 days of them.
MOST_ENTRIES = 4096

_TURN = {SIGHTING: 0, HEALTH: 1}
_LAST_TURN = 2


@frozen
class Entry:
    """A record that waits. `payload` is packed; `mono_us` is when it was, in the boot `boot`."""

    number: int
    message: str
    payload: bytes
    boot: int
    mono_us: int

    @property
    def urgent(self) -> bool:
        """Whether it goes at once, out of the reserve: a priority sighting."""
        return self.message == SIGHTING

    def to_json(self) -> list[Any]:
        """As JSON data, the payload in hexadecimal; `of_json` takes it back."""
        return [self.number, self.message, self.payload.hex(), self.boot, self.mono_us]

    @classmethod
    def of_json(cls, kept: list[Any]) -> Self:
        """What `to_json` gave."""
        number, message, payload, boot, mono_us = kept
        return cls(number, message, bytes.fromhex(payload), boot, mono_us)


class Outbox:
    """`dropped` counts by message what went to make room; `next` is the next entry's number."""

    def __init__(
        self,
        entries: Iterable[Entry] = (),
        *,
        next_number: int = 0,
        dropped: Counter[str] | None = None,
        most: int = MOST_ENTRIES,
    ) -> None:
        self._turns: tuple[dict[int, Entry], ...] = ({}, {}, {})
        self.next = next_number
        self.dropped: Counter[str] = Counter(dropped or {})
        self._most = most
        for entry in entries:
            self._turns[_turn(entry)][entry.number] = entry
            self.next = max(self.next, entry.number + 1)

    def __len__(self) -> int:
        return sum(len(turn) for turn in self._turns)

    def __iter__(self) -> Iterator[Entry]:
        """In the order they go."""
        for turn in self._turns:
            yield from turn.values()

    def first(self, but: Container[str] = ()) -> Entry | None:
        """What goes next, of the messages that are not in `but`."""
        return next((entry for entry in self if entry.message not in but), None)

    def alike(self, entry: Entry, most: int) -> list[Entry]:
        """What waits of that entry's message, the oldest first."""
        turn = self._turns[_turn(entry)].values()
        return list(islice((each for each in turn if each.message == entry.message), most))

    def put(
        self, message: str, payload: bytes, boot: int, mono_us: int
    ) -> tuple[Entry, list[Entry]]:
        """Add a record: its entry, and the entries that went to make room for it."""
        entry = Entry(self.next, message, payload, boot, mono_us)
        self.next += 1
        self._turns[_turn(entry)][entry.number] = entry
        gone = []
        while len(self) > self._most:
            turn = next(turn for turn in reversed(self._turns) if turn)
            old = turn.pop(next(iter(turn)))
            self.dropped[old.message] += 1
            gone.append(old)
        return entry, gone

    def replace(self, entry: Entry) -> None:
        """Put `entry` in place of the one with its number and message."""
        self._turns[_turn(entry)][entry.number] = entry

    def remove(self, entry: Entry) -> None:
        """Let it go: it was sent, or never can be. One that is not there is no error."""
        self._turns[_turn(entry)].pop(entry.number, None)


def _turn(entry: Entry) -> int:
    return _TURN.get(entry.message, _LAST_TURN)
