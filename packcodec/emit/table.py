"""A layout as a table of plain data, for languages whose fixed code walks it at run time.

The table holds what templates/frozen.py.txt and templates/javascript.js need and no more: one
entry a field, in the order they are sent. A quantity's code c stands for (plus + c × by) / under.
"""

from collections.abc import Callable, Iterator
from datetime import UTC, datetime
from fractions import Fraction
from math import gcd
from typing import Any

from packcodec.emit.carry import crc_of_identity
from packcodec.layout.compiler import LARGEST_FRAME_BYTES, codes_of
from packcodec.layout.model import Layout, RepairLayout
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)

Literal = Callable[[Any], str]


def table(layout: Layout) -> dict[str, Any]:
    """The table; every value is text, whole number, boolean, or a list or dict of them."""
    schema, frame = layout.schema, layout.schema.frame
    whole = {
        "name": schema.name,
        "epoch_s": (schema.epoch - datetime(1970, 1, 1, tzinfo=UTC)).days * 86400
        + (schema.epoch - datetime(1970, 1, 1, tzinfo=UTC)).seconds,
        "tag": layout.tag,
        "tag_bits": frame.tag_bits,
        "message_bits": frame.message_bits,
        "station_bits": frame.station_bits,
        "sequence_bits": frame.sequence_bits,
        "check_bits": layout.check.bits,
        "polynomial": layout.check.polynomial,
        "crc_of_identity": crc_of_identity(layout),
        "most_bytes": LARGEST_FRAME_BYTES,
        "species_codes": schema.species.capacity,
        "species": [[row.code, row.label] for row in schema.species.rows],
        "messages": [
            {
                "name": each.name,
                "code": each.message.code,
                "fields": [_field(field, schema) for field in each.message.fields],
            }
            for each in layout.messages
        ],
    }
    if layout.check.sealed:
        whole |= {"identity": layout.identity.hex(), "hides": layout.check.hides}
    if layout.repair is not None:
        whole["repair"] = _repair(layout, layout.repair)
    return whole


def _repair(layout: Layout, of: RepairLayout) -> dict[str, Any]:
    codes = {each.name: each.message.code for each in layout.messages}
    return {
        "messages": [codes[name] for name in of.repair.messages],
        "every": of.repair.every,
        "symbols": of.repair.symbols,
        "window": of.repair.window,
        "stride": of.repair.stride,
        "held_bits": of.held_bits,
        "symbol_bytes": of.symbol_bytes,
        "sent_bits": of.sent_bits,
        "code_bits": max(codes.values()).bit_length(),
    }


def _field(field: Field, schema: Schema) -> dict[str, Any]:
    said: dict[str, Any] = {"name": field.name, "optional": field.optional}
    codes = codes_of(field, schema)
    sized = {"codes": codes, "bits": (codes - 1).bit_length()}
    match field:
        case Integer(low=low, clamp_below=below, clamp_above=above):
            return said | _quantity("integer", Fraction(low), Fraction(1), below, above) | sized
        case Scaled(low=low, step=step, clamp_below=below, clamp_above=above):
            return said | _quantity("scaled", low, step, below, above) | sized
        case Duration(step_s=step, clamp_above=above):
            return said | _quantity("scaled", Fraction(0), step, False, above) | sized
        case Boolean():
            return said | {"kind": "boolean"} | sized
        case Flags(flags=flags):
            return said | {"kind": "flags", "flags": list(flags)}
        case Enumeration(values=values):
            return said | {"kind": "enumeration", "values": list(values)} | sized
        case SpeciesCode():
            return said | {"kind": "species"} | sized
        case Time(step_s=step_s, span_s=span_s, beyond=beyond):
            told = {"step_s": step_s, "span_s": span_s, "wrap": beyond == "wrap"}
            return said | {"kind": "time"} | told | sized
        case ListOf(least=least, most=most, fields=fields):
            inner = {"least": least, "fields": [_field(each, schema) for each in fields]}
            return said | {"kind": "list"} | sized | inner | {"most": most}


def _quantity(kind: str, low: Fraction, step: Fraction, below: bool, above: bool) -> dict[str, Any]:
    under = low.denominator * step.denominator // gcd(low.denominator, step.denominator)
    return {
        "kind": kind,
        "by": int(step * under),
        "plus": int(low * under),
        "under": under,
        "below": below,
        "above": above,
    }


def lines(value: Any, literal: Literal, depth: int = 0) -> Iterator[str]:
    """The table as source text: containers of containers broken over lines, the rest on one."""
    if not _broken(value):
        yield literal(value)
        return
    opening, closing = ("{", "}") if isinstance(value, dict) else ("[", "]")
    yield opening
    indent = "    " * (depth + 1)
    items = value.items() if isinstance(value, dict) else [(None, each) for each in value]
    for key, each in items:
        first, *rest = lines(each, literal, depth + 1)
        text = f"{literal(key)}: {first}" if key is not None else first
        *middle, last = [indent + text, *rest]
        yield from middle
        yield f"{last},"
    yield "    " * depth + closing


def _broken(value: Any) -> bool:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list) else ()
    return any(isinstance(each, dict | list) for each in inner) and any(
        isinstance(each, dict) or _broken(each) or isinstance(value, list) for each in inner
    )
