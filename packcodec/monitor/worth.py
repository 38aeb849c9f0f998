"""What is left out when not everything fits: the least worth sending, counted, never in silence.

The rows of a summary stand in order of worth, so cutting from the end is cutting by worth.
"""

from collections.abc import Iterator, Mapping
from typing import Any

from packcodec.codec.record import AtLeast, Record, Values
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import as_sets, frame_bytes
from packcodec.frozen import replace
from packcodec.monitor.vocabulary import ROWS, Form, form_of
from packcodec.schema.model import Flags, ListOf, Species

RESTARTED, CLOCK_UNSET = "restarted", "clock_unset"

# What a row gives up before another row is given up for it, in this order.
SHED = ("detections", "first", "last")


def worth(species: Species, row: Mapping[str, Any], season: int) -> tuple[Any, ...]:
    """A sort key, most worth sending first.

    Priority species, then what had not been seen this season, then what has been seen least
    (`season` counts its detections so far, this interval's included), then the larger groups and
    the more visits.
    """
    return (
        species.report != "priority",
        season > row["detections"],
        season,
        -row["most"],
        -row["visits"],
        species.code,
    )


def as_sent(codec: Codec, record: Record) -> Record:
    """`record` as it goes: modelled coding sends rows cheaply in the order of their codes."""
    if codec.schema.coding != "modelled":
        return record
    return replace(record, values=as_sets(codec, record.message, record.values))


def sent_bytes(codec: Codec, record: Record) -> int:
    """Length of the frame that carries `record` as it goes, as `frame_bytes` has it."""
    return frame_bytes(codec, as_sent(codec, record))


def fit(codec: Codec, record: Record, limit_bytes: int) -> Record:
    """`record` with as much of it as fits a frame of `limit_bytes` (header and check included).

    Rows give up their optional times and counts before a row is given up, both from the end of
    the list, and `left_out` grows by the rows that went. The rest of the record is untouched; of a
    batch, the first element gives.
    Raises EncodeError if it does not fit without any rows.
    """
    if sent_bytes(codec, record) <= limit_bytes:
        return record
    for shorter in _shorter(codec, record):
        if sent_bytes(codec, shorter) <= limit_bytes:
            return shorter
        record = shorter
    raise EncodeError(
        f"takes {sent_bytes(codec, record)} bytes at the least, over the {limit_bytes} there are",
        place=f"message.{record.message}",
        remedy="use a link with a larger payload, or give the message fewer fields",
    )


def least(codec: Codec, record: Record) -> Record:
    """`record` with everything given up that can be."""
    *_, shortest = (record, *_shorter(codec, record))
    return shortest


def _shorter(codec: Codec, record: Record) -> Iterator[Record]:
    """`record`, giving up one thing more each time; nothing where it has no rows to give up."""
    form = form_of(codec.payloads[record.message].message.message)
    listed, inner = form.fields.get(ROWS), form.first(record.values)
    if not isinstance(listed, ListOf) or "left_out" not in form.fields or not inner[ROWS]:
        return
    rows = [dict(row) for row in inner[ROWS]]
    for name in [name for name in SHED for f in listed.fields if f.name == name and f.optional]:
        for row in reversed(rows):
            row[name] = None
            yield _with_rows(codec, form, record, rows, 0)
    for kept in range(len(rows) - 1, listed.least - 1, -1):
        yield _with_rows(codec, form, record, rows[:kept], len(rows) - kept)


def settled(codec: Codec, message: str, values: Values) -> Values:
    """`values` as the message carries them; raises EncodeError naming what it cannot carry."""
    payload = codec.payloads[message]
    return payload.unpack_values(payload.pack_values(values))


def flagged(codec: Codec, message: str, values: Values, flag: str) -> Values:
    """`values` with a flag of their state set, where the schema has it: of a batch, the first's."""
    form = form_of(codec.payloads[message].message.message)
    field, inner = form.fields.get("state"), form.first(values)
    if not isinstance(field, Flags) or flag not in field.flags:
        return values
    flags = {*(inner["state"] or ()), flag}
    return form.with_first(values, {"state": [each for each in field.flags if each in flags]})


def _with_rows(codec: Codec, form: Form, record: Record, rows: list[Values], gone: int) -> Record:
    left_out = form.first(record.values)["left_out"]
    before = left_out.value if isinstance(left_out, AtLeast) else left_out or 0
    values = form.with_first(record.values, {ROWS: rows, "left_out": before + gone})
    return replace(record, values=settled(codec, record.message, values))
