"""The station's running totals: what it has counted so far, kept before the frame that tells it.

A record counts once, when its first frame is made, with all that is left out of it to make it fit.
If it goes again under another number, it tells the same total. A station that cannot be sure of
its totals leaves them out for so many records that a base never takes one from before for the one
before it.
"""

from collections.abc import Iterable, Mapping
from typing import Any

from packcodec.codec.record import Values
from packcodec.codec.totals import RunningTotal, running_totals
from packcodec.schema.model import Message

State = Mapping[str, Any]


class Totals:
    """`kept` is what `state` gave; None where it is lost, or where there was none: see `fresh`."""

    def __init__(
        self, messages: Iterable[Message], kept: State | None = None, *, fresh: bool
    ) -> None:
        """`fresh` says that the station has never sent a frame, and so counts from 0."""
        self._totals = {
            message.name: told for message in messages if (told := tuple(running_totals(message)))
        }
        silence = {
            name: 0 if fresh else max(each.silence for each in told)
            for name, told in self._totals.items()
        }
        kept = kept or {}
        self._values: dict[str, dict[str, int]] = {
            name: dict(kept.get("values", {}).get(name, {})) for name in self._totals
        }
        self._silent: dict[str, int] = {**silence, **kept.get("silent", {})}
        self._counted: dict[str, int] = dict(kept.get("counted", {}))

    def __bool__(self) -> bool:
        """Whether the schema has any."""
        return bool(self._totals)

    def told(self, message: str, entry: int, values: Values) -> Values:
        """`values` of the record of `entry` with its totals, nothing left out of it yet."""
        own = {
            total.field: self._after(message, entry, total, values)
            for total in self._totals.get(message, ())
        }
        return {**values, **own} if own else values

    def count(self, message: str, entry: int, values: Values) -> None:
        """A frame of that record was made; `values` as `told` gave them."""
        if message not in self._totals:
            return
        if self._silent[message]:
            self._silent[message] -= 1
            return
        self._values[message] = {each.field: values[each.field] for each in self._totals[message]}
        self._counted[message] = entry

    def state(self) -> State:
        """What must outlast a power cut, as JSON data."""
        return {
            "values": dict(self._values),
            "silent": dict(self._silent),
            "counted": dict(self._counted),
        }

    def _after(self, message: str, entry: int, total: RunningTotal, values: Values) -> int | None:
        if self._silent[message]:
            return None
        before = self._values[message].get(total.field, 0)
        if self._counted.get(message) == entry:
            return before
        return (before + total.counted(values)) % total.modulus
