"""Running totals: a count kept beside the interval's own, so that what was lost is still counted.

A message may have an integer field that is the running total, modulo a power of two, of a count in
the same message. Of two records that both tell it the difference is what the station counted
between them, whatever became of the records in between. spec/wire-format.md, "Running totals".
"""

from collections.abc import Iterator

from packcodec.codec.record import AtLeast, AtMost, Values
from packcodec.frozen import frozen
from packcodec.schema.model import Integer, ListOf, Message


@frozen
class RunningTotal:
    """`field` is the total of `count`, of each row of `rows` where that is not empty.

    It is told modulo `modulus`, a power of two; one record counts `most` (0 up) at the most.
    """

    field: str
    rows: str
    count: str
    modulus: int
    most: int

    def counted(self, values: Values) -> int:
        """What one record counts: a bound as what it is at least or at most, what is absent 0.

        `values` as they were decoded, or in their JSON form.
        """
        rows = (values.get(self.rows) or ()) if self.rows else (values,)
        return sum(_number(row.get(self.count)) for row in rows)

    @property
    def bridged(self) -> int:
        """How many records may be unknown between two, for the total not to have gone round."""
        return (self.modulus - 1) // self.most - 1 if self.most else self.modulus

    @property
    def silence(self) -> int:
        """How many records a station that lost its total sends without: more than is bridged."""
        return self.bridged + 1


def running_totals(message: Message) -> Iterator[RunningTotal]:
    """The running totals of a message, in the order they are sent."""
    fields = {field.name: field for field in message.fields}
    for field in message.fields:
        if not isinstance(field, Integer) or not field.total_of:
            continue
        rows, _, count = field.total_of.rpartition(".")
        listed = fields.get(rows)
        inner = listed.fields if isinstance(listed, ListOf) else message.fields
        times = listed.most if isinstance(listed, ListOf) else 1
        high = next(each.high for each in inner if isinstance(each, Integer) and each.name == count)
        yield RunningTotal(field.name, rows, count, field.high + 1, times * high)


def _number(value: object) -> int:
    match value:
        case AtLeast(bound) | AtMost(bound) | {"at_least": bound} | {"at_most": bound}:
            return int(bound)
        case int():
            return value
    return 0
