"""What outlasts a power cut: the records that wait, and the state they came from.

A `Change` is what must be made durable in one piece, for the interval that ends is emptied by the
same stroke that puts its record in the outbox. `Kept` is all of it, and what changes add up to.
"""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Self

from packcodec.monitor.again import Again
from packcodec.monitor.outbox import Entry

State = Mapping[str, Any]


class Change:
    """Entries that came or changed, numbers of those that went, the last sequence really sent, and
    the state where it changed.

    For what may go again: the frame of the sequence `sent`, the number and counters of a missing
    list, and the sequences that went again. For the repair code: of a frame that was made the
    oldest sequence that its ring knows, its own, and its source. `totals` are the running totals,
    if a frame told them.
    """

    def __init__(
        self,
        put: Iterable[Entry] = (),
        gone: Iterable[int] = (),
        sent: int | None = None,
        state: State | None = None,
        frame: bytes | None = None,
        taken: tuple[int, Sequence[int]] | None = None,
        went: Iterable[int] = (),
        made: tuple[int, int, bytes] | None = None,
        totals: State | None = None,
    ) -> None:
        self.put = list(put)
        self.gone = list(gone)
        self.sent = sent
        self.state = state
        self.frame = frame
        self.taken = taken
        self.went = list(went)
        self.made = made
        self.totals = totals

    def __bool__(self) -> bool:
        told = (self.sent, self.state, self.taken, self.made, self.totals)
        return bool(self.put or self.gone or self.went) or any(each is not None for each in told)

    def to_json(self) -> dict[str, Any]:
        """As JSON data, bytes in hexadecimal; `of_json` takes it back."""
        said: dict[str, Any] = {}
        if self.put:
            said["put"] = [entry.to_json() for entry in self.put]
        if self.gone:
            said["gone"] = self.gone
        if self.sent is not None:
            said["sent"] = self.sent
        if self.state is not None:
            said["state"] = self.state
        if self.frame is not None:
            said["frame"] = self.frame.hex()
        if self.taken is not None:
            said["taken"] = self.taken
        if self.went:
            said["went"] = self.went
        if self.made is not None:
            oldest, sequence, source = self.made
            said["made"] = [oldest, sequence, source.hex()]
        if self.totals is not None:
            said["totals"] = self.totals
        return said

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> Self:
        """What `to_json` gave."""
        return cls(
            [Entry.of_json(entry) for entry in said.get("put", ())],
            said.get("gone", ()),
            said.get("sent"),
            said.get("state"),
            bytes.fromhex(said["frame"]) if "frame" in said else None,
            said.get("taken"),
            said.get("went", ()),
            _made(*said["made"]) if "made" in said else None,
            said.get("totals"),
        )


def _made(oldest: int, sequence: int, source: str) -> tuple[int, int, bytes]:
    return oldest, sequence, bytes.fromhex(source)


class Kept:
    """`entries` by number, `next_number` for the next, `last_sent` None where nothing ever was;
    `again` is what may go again, `sources` are those of the repair code by sequence, and `totals`
    the running totals, None where there are none or where they are lost."""

    def __init__(
        self,
        entries: Iterable[Entry] = (),
        next_number: int = 0,
        last_sent: int | None = None,
        state: State | None = None,
        again: Again | None = None,
        sources: Mapping[int, bytes] | None = None,
        totals: State | None = None,
    ) -> None:
        self.entries = {entry.number: entry for entry in entries}
        self.next_number = next_number
        self.last_sent = last_sent
        self.state = state
        self.again = again or Again()
        self.sources = dict(sources or {})
        self.totals = totals

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Kept) and self.to_json() == other.to_json()

    def add(self, change: Change) -> None:
        """Take in a change, in the order they were made."""
        for entry in change.put:
            self.entries[entry.number] = entry
            self.next_number = max(self.next_number, entry.number + 1)
        for number in change.gone:
            self.entries.pop(number, None)
        if change.sent is not None:
            self.last_sent = change.sent
        if change.state is not None:
            self.state = change.state
        if change.sent is not None and change.frame is not None:
            self.again.keep(change.sent, change.frame)
        if change.taken is not None:
            self.again.take(*change.taken)
        for sequence in change.went:
            self.again.went(sequence)
        if change.made is not None:
            oldest, sequence, source = change.made
            self.sources = {n: kept for n, kept in self.sources.items() if n >= oldest}
            self.sources[sequence] = source
        if change.totals is not None:
            self.totals = change.totals

    def to_json(self) -> dict[str, Any]:
        """As JSON data, bytes in hexadecimal; `of_json` takes it back."""
        said: dict[str, Any] = {
            "entries": [entry.to_json() for entry in self.entries.values()],
            "next_number": self.next_number,
            "last_sent": self.last_sent,
            "state": self.state,
        }
        if self.again:
            said["again"] = self.again.to_json()
        if self.sources:
            said["sources"] = [[n, source.hex()] for n, source in self.sources.items()]
        if self.totals is not None:
            said["totals"] = self.totals
        return said

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> Self:
        """What `to_json` gave."""
        return cls(
            [Entry.of_json(entry) for entry in said["entries"]],
            said["next_number"],
            said["last_sent"],
            said["state"],
            Again.of_json(said["again"]) if "again" in said else None,
            {n: bytes.fromhex(source) for n, source in said.get("sources", ())},
            said.get("totals"),
        )
