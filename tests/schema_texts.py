"""A schema written back as the TOML and CSV texts it is read from; only tests need it."""

import csv
import io
import json
from decimal import Decimal
from fractions import Fraction

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
    SpeciesTable,
    Time,
)


def toml_of(schema: Schema) -> str:
    frame, policy = schema.frame, schema.policy
    lines = [
        "[schema]",
        f"name = {_text(schema.name)}",
        f"version = {schema.version}",
        f"epoch = {schema.epoch.isoformat()}",
        f"coding = {_text(schema.coding)}",
        f"note = {_text(schema.note)}",
        "[frame]",
        f"tag_bits = {frame.tag_bits}",
        f"message_bits = {frame.message_bits}",
        f"station_bits = {frame.station_bits}",
        f"sequence_bits = {frame.sequence_bits}",
        f"seal = {_text(frame.seal)}" if frame.seal else f"check = {_text(frame.check)}",
        "[policy]",
        f"interval_min = {policy.interval_s // 60}",
        f"independence_min = {policy.independence_s // 60}",
        f"confidence_least = {policy.confidence_least!r}",
        "[stations]",
        *(f"{_text(name)} = {number}" for name, number in schema.stations),
    ]
    if schema.species.capacity:
        lines += ["[species]", 'file = "species.csv"', f"codes = {schema.species.capacity}"]
    if schema.repair is not None:
        repair = schema.repair
        lines += ["[repair]", f"messages = {json.dumps(repair.messages)}"]
        keys = ("window", "stride", "every", "symbols")
        lines += [f"{key} = {getattr(repair, key)}" for key in keys]
        if repair.symbol_bytes is not None:
            lines.append(f"symbol_bytes = {repair.symbol_bytes}")
    for message in schema.messages:
        lines += [
            f"[message.{message.name}]",
            f"code = {message.code}",
            f"note = {_text(message.note)}",
            f"fields = {_tables(message.fields)}",
        ]
    return "\n".join(lines) + "\n"


def csv_of(table: SpeciesTable) -> str:
    """Empty for a table without rows."""
    if not table.rows:
        return ""
    out = io.StringIO()
    writer = csv.writer(out)
    columns = ["code", "label", "scientific_name", "authority", "rank", "common_name", "taxon_id"]
    columns += ["kind", "sensitivity", "report", "added"]
    writer.writerow([*columns, "status"])
    for row in table.rows:
        cells = [getattr(row, column) for column in columns]
        writer.writerow([*cells, "retired" if row.retired else "active"])
    return out.getvalue()


def _tables(fields: tuple[Field, ...]) -> str:
    return "[\n" + "".join(f"  {{ {', '.join(_pairs(field))} }},\n" for field in fields) + "]"


def _pairs(field: Field) -> list[str]:
    shared = [
        f"name = {_text(field.name)}",
        f"optional = {str(field.optional).lower()}",
        f"note = {_text(field.note)}",
    ]
    return [*_own_pairs(field), *shared]


def _own_pairs(field: Field) -> list[str]:
    match field:
        case Integer():
            total = [f"total_of = {_text(field.total_of)}"] if field.total_of else []
            ends = [*_ends(field), *total]
            return ['kind = "integer"', f"low = {field.low}", f"high = {field.high}", *ends]
        case Scaled():
            figures = [f"{key} = {_exact(getattr(field, key))}" for key in ("low", "high", "step")]
            return ['kind = "scaled"', *figures, *_ends(field)]
        case Boolean():
            return ['kind = "boolean"']
        case Flags():
            return ['kind = "flags"', f"flags = {json.dumps(field.flags)}"]
        case Enumeration():
            return ['kind = "enumeration"', f"values = {json.dumps(field.values)}"]
        case SpeciesCode():
            return ['kind = "species"']
        case Time():
            figures = [f"step_s = {field.step_s}", f"span_s = {field.span_s}"]
            return ['kind = "time"', *figures, f"beyond = {_text(field.beyond)}"]
        case Duration():
            figures = [f"step_s = {_exact(field.step_s)}", f"high_s = {_exact(field.high_s)}"]
            return ['kind = "duration"', *figures, _side("above", field.clamp_above)]
        case ListOf():
            inner = ", ".join(f"{{ {', '.join(_pairs(one))} }}" for one in field.fields)
            bounds = [f"least = {field.least}", f"most = {field.most}"]
            return ['kind = "list"', *bounds, f"fields = [{inner}]"]


def _ends(field: Integer | Scaled) -> list[str]:
    return [
        _side("below", field.clamp_below),
        _side("above", field.clamp_above),
        f"unit = {_text(field.unit)}",
    ]


def _side(key: str, clamp: bool) -> str:
    return f"{key} = {_text('clamp' if clamp else 'reject')}"


def _exact(number: Fraction) -> str:
    return format(Decimal(number.numerator) / Decimal(number.denominator), "f")


def _text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False)
