"""The station's report of its own health: when it is due, and what is in it.

`health` has these fields from the engine itself, where the schema has them and the caller does not
say otherwise. By `boots`, `last_sent` and `first_number` a base tells numbers that were lost from
numbers that were never used: those after `last_sent` and before `first_number`.

    restarts         starts since the station was set out, the first one not counted
    boots            starts since the station was set out, this one included
    last_sent        the last number that went before this start, or may have
    first_number     the first number of this start
    waiting          records that wait to be sent
    discarded        records that went to make room for others, since the station was set out
    storage_failed   what is stored is not safe: the card is full, read-only or broken

A whole number is sent modulo its field's range where the field starts at 0 and does not clamp.
"""

from collections.abc import Mapping
from typing import Any

from packcodec.codec.record import Values
from packcodec.monitor.vocabulary import HEALTH
from packcodec.schema.model import Field, Integer, Schema

EVERY_S = 86_400


class Reports:
    """One boot's reports; the first is due at once, as soon as anything was told."""

    def __init__(self, schema: Schema, every_s: int, now_us: int) -> None:
        self._fields = next(
            (message.fields for message in schema.messages if message.name == HEALTH), ()
        )
        self._every_us = every_s * 1_000_000
        self._next_us = now_us
        self._told: Mapping[str, Any] | None = None
        self._told_failure = False

    def tell(self, values: Mapping[str, Any]) -> None:
        """What the caller knows, by field; it stands until it is told anew."""
        self._told = {**(self._told or {}), **values}

    def due(self, now_us: int, storage_failed: bool) -> bool:
        """Whether it is time for one: once every so often, and when the card fails."""
        if self._told is None:
            return False
        return now_us >= self._next_us or (storage_failed and not self._told_failure)

    def take(self, own: Mapping[str, Any], now_us: int, storage_failed: bool) -> Values:
        """The values of a report that goes now; `own` are those of the engine."""
        daily = now_us >= self._next_us
        if daily:
            self._next_us = now_us + self._every_us
        # Told once until the next daily report, however often the card fails and mends.
        self._told_failure = storage_failed or not daily
        own = {field.name: _within(field, own) for field in self._fields if field.name in own}
        return {**own, **(self._told or {})}


def _within(field: Field, own: Mapping[str, Any]) -> Any:
    value = own[field.name]
    if isinstance(field, Integer) and type(value) is int and field.low == 0:
        return value if field.clamp_above else value % (field.high + 1)
    return value
