"""Plain values of any message, to fill frames whose content does not matter but their size does."""

from datetime import timedelta
from typing import Any

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


def plain_values(
    schema: Schema, fields: tuple[Field, ...], *, optional: bool, rows: int
) -> dict[str, Any]:
    """The low end of every number; optional fields as told; `rows` elements where a list may."""
    return {
        field.name: _value(schema, field, optional, rows)
        if optional or not field.optional
        else None
        for field in fields
    }


def _value(schema: Schema, field: Field, optional: bool, rows: int) -> Any:
    match field:
        case Integer() | Scaled():
            return field.low
        case Boolean():
            return True
        case Flags():
            return field.flags[:1]
        case Enumeration():
            return field.values[-1]
        case SpeciesCode():
            return schema.species.rows[-1].label
        case Time():
            return schema.epoch + timedelta(seconds=field.span_s // field.step_s // 2)
        case Duration():
            return field.high_s
        case ListOf():
            element = plain_values(schema, field.fields, optional=optional, rows=rows)
            return [element] * min(max(rows, field.least), field.most)
