"""The canonical form of a schema, and the identity derived from it.

The canonical form holds what decides the meaning of bits on the air and nothing else: names,
ranges, units, frame, coding, epoch, and the founding rows of the species code table. Notes,
labels, reporting policy, station names and species rows that joined later are left out, so they
may change while stations are in the field. It is JSON with sorted keys, no spaces and no numbers
but integers (fractions are text), in UTF-8, which is also its RFC 8785 form: the same bytes on
every system.
"""

import json
from fractions import Fraction
from hashlib import sha256
from typing import Any

from packcodec.schema.model import (
    UNSEALED,
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

FORMAT = 1


def canonical_form(schema: Schema) -> str:
    """The text whose SHA-256 is the identity of the layout."""
    frame = schema.frame
    return json.dumps(
        {
            "format": FORMAT,
            "name": schema.name,
            "version": schema.version,
            "epoch": schema.epoch.strftime("%Y-%m-%dT%H:%M:%SZ"),
            "coding": schema.coding,
            "frame": {
                "tag_bits": frame.tag_bits,
                "message_bits": frame.message_bits,
                "station_bits": frame.station_bits,
                "sequence_bits": frame.sequence_bits,
                "check": frame.check,
                **({"seal": frame.seal} if frame.seal not in UNSEALED else {}),
            },
            "species": {
                "capacity": schema.species.capacity,
                "rows": [
                    [row.code, row.kind, row.scientific_name or row.label]
                    for row in schema.species.rows
                    if not row.added
                ],
            },
            **_repair(schema),
            **_models(schema),
            "messages": [
                {
                    "name": message.name,
                    "code": message.code,
                    "fields": [_field(field) for field in message.fields],
                }
                for message in sorted(schema.messages, key=lambda message: message.code)
            ],
        },
        sort_keys=True,
        separators=(",", ":"),
        ensure_ascii=False,
    )


def identity_of(schema: Schema) -> bytes:
    """SHA-256 (FIPS 180-4) of the canonical form, 32 bytes."""
    return sha256(canonical_form(schema).encode("utf-8")).digest()


def tag_of(identity: bytes, bits: int) -> int:
    """The first `bits` (0 to 32) bits of the identity, as sent in the frame header."""
    return int.from_bytes(identity[:4], "big") >> (32 - bits)


def _repair(schema: Schema) -> dict[str, Any]:
    """Nothing for a schema without repair, whose identity is older than the option."""
    repair = schema.repair
    if repair is None:
        return {}
    return {
        "repair": {
            "messages": list(repair.messages),
            "symbol_bytes": repair.symbol_bytes or 0,
            "window": repair.window,
            "stride": repair.stride,
            "every": repair.every,
            # Younger than the rest, and so only there where it says something.
            **({"symbols": repair.symbols} if repair.symbols > 1 else {}),
        }
    }


def _models(schema: Schema) -> dict[str, Any]:
    """The tables of modelled coding; nothing where they are those that the format gives."""
    models = schema.models
    if models is None or schema.coding != "modelled":
        return {}
    return {
        "models": {
            "species": list(models.species),
            "tables": [
                [
                    table.path,
                    list(table.contexts),
                    table.around,
                    str(table.centre),
                    table.kin.hex(),
                    [row.hex() for row in table.rows],
                ]
                for table in sorted(models.tables, key=lambda table: table.path)
            ],
        }
    }


def _field(field: Field) -> dict[str, Any]:
    said: dict[str, Any] = {"name": field.name, "optional": field.optional}
    match field:
        case Integer():
            said |= {"kind": "integer", "low": str(field.low), "high": str(field.high)}
            said |= {"unit": field.unit, "clamp": _clamp(field)}
            said |= {"total_of": field.total_of} if field.total_of else {}
        case Scaled():
            said |= {"kind": "scaled", "low": _exact(field.low), "high": _exact(field.high)}
            said |= {"step": _exact(field.step), "unit": field.unit, "clamp": _clamp(field)}
        case Boolean():
            said |= {"kind": "boolean"}
        case Flags():
            said |= {"kind": "flags", "flags": list(field.flags)}
        case Enumeration():
            said |= {"kind": "enumeration", "values": list(field.values)}
        case SpeciesCode():
            said |= {"kind": "species"}
        case Time():
            said |= {"kind": "time", "step_s": field.step_s, "span_s": field.span_s}
            said |= {"beyond": field.beyond}
        case Duration():
            said |= {"kind": "duration", "step_s": _exact(field.step_s)}
            said |= {"high_s": _exact(field.high_s), "clamp": [False, field.clamp_above]}
            said |= {"since": field.since} if field.since else {}
        case ListOf():
            said |= {"kind": "list", "least": field.least, "most": field.most}
            said |= {"fields": [_field(inner) for inner in field.fields]}
    return said


def _clamp(field: Integer | Scaled) -> list[bool]:
    return [field.clamp_below, field.clamp_above]


def _exact(number: Fraction) -> str:
    return f"{number.numerator}/{number.denominator}"
