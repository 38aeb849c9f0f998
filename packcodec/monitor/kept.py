"""What outlasts a power cut: the records that wait, and the state they came from.

A `Change` is what must be made durable in one piece, for the interval that ends is emptied by the
same stroke that puts its record in the outbox. `Kept` is all of it, and what changes add up to.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Self

from packcodec.monitor.outbox import Entry

State = Mapping[str, Any]


class Change:
    """Entries that came or changed, numbers of those that went, the last sequence really sent, and
    the state where it changed."""

    def __init__(
        self,
        put: Iterable[Entry] = (),
        gone: Iterable[int] = (),
        sent: int | None = None,
        state: State | None = None,
    ) -> None:
        self.put = list(put)
        self.gone = list(gone)
        self.sent = sent
        self.state = state

    def __bool__(self) -> bool:
        return bool(self.put or self.gone or self.sent is not None or self.state is not None)

    def to_json(self) -> dict[str, Any]:
        said: dict[str, Any] = {}
        if self.put:
            said["put"] = [entry.to_json() for entry in self.put]
        if self.gone:
            said["gone"] = self.gone
        if self.sent is not None:
            said["sent"] = self.sent
        if self.state is not None:
            said["state"] = self.state
        return said

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> Self:
        return cls(
            [Entry.of_json(entry) for entry in said.get("put", ())],
            said.get("gone", ()),
            said.get("sent"),
            said.get("state"),
        )


class Kept:
    """`entries` by number, `next_number` for the next, `last_sent` None where nothing ever was."""

    def __init__(
        self,
        entries: Iterable[Entry] = (),
        next_number: int = 0,
        last_sent: int | None = None,
        state: State | None = None,
    ) -> None:
        self.entries = {entry.number: entry for entry in entries}
        self.next_number = next_number
        self.last_sent = last_sent
        self.state = state

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Kept) and self.to_json() == other.to_json()

    def add(self, change: Change) -> None:
        for entry in change.put:
            self.entries[entry.number] = entry
            self.next_number = max(self.next_number, entry.number + 1)
        for number in change.gone:
            self.entries.pop(number, None)
        if change.sent is not None:
            self.last_sent = change.sent
        if change.state is not None:
            self.state = change.state

    def to_json(self) -> dict[str, Any]:
        return {
            "entries": [entry.to_json() for entry in self.entries.values()],
            "next_number": self.next_number,
            "last_sent": self.last_sent,
            "state": self.state,
        }

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> Self:
        return cls(
            [Entry.of_json(entry) for entry in said["entries"]],
            said["next_number"],
            said["last_sent"],
            said["state"],
        )
