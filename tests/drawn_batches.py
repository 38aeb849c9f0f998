"""Batches at random: a time and a list with species, gaps and inner lists, and values for them.

What the drawn schemas of strategies.py seldom or never hold: gaps since the element before, more
species than are remembered, and lists long enough for a history.
"""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from random import Random
from typing import Any

from every_kind import schema_of
from model_tables import with_models
from strategies import species_table

from packcodec.errors import LayoutError
from packcodec.layout import compile_layout
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

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)
KNOWN, CAPACITY = 12, 40


def drawn_batch(seed: int) -> tuple[Schema, dict[str, Any]]:
    """A schema of one message `m`, with tables of its own or the general ones, and a record."""
    random = Random(seed)
    while not _fits(schema := _schema(random)):
        pass
    return schema, {field.name: _value(field, random) for field in schema.messages[0].fields}


def _fits(schema: Schema) -> bool:
    try:
        compile_layout(schema)
    except LayoutError:
        return False  # it could grow past every radio
    return True


def _schema(random: Random) -> Schema:
    fields = _message(random)
    widths = {"tag_bits": random.choice((0, 8, 13))}
    schema = replace(
        schema_of(*fields, check="auto", **widths),
        species=species_table(KNOWN, CAPACITY),
        coding="modelled",
    )
    if random.random() < 0.7:
        schema = with_models(schema, random.randrange(1 << 32))
    return schema


def _message(random: Random) -> tuple[Field, ...]:
    step_s, span_s = random.choice(((60, 172_800), (3600, 86_400), (7, 70_000)))
    beyond: Any = random.choice(("wrap", "reject"))
    head: list[Field] = [Time("at", step_s, span_s, beyond, random.random() < 0.3)]
    if random.random() < 0.5:
        head.append(Integer("level", 0, random.choice((1, 7, 30, 100_000)), optional=True))
    if random.random() < 0.3:
        head.insert(random.randrange(2), _list("earlier", random, 2))
    return (*head, _list("rows", random, 2))


def _list(name: str, random: Random, depth: int) -> ListOf:
    gap: Any = Duration("after", Fraction(random.choice((1, 60, 3600))), Fraction(36000))
    parts: list[Field] = [
        replace(gap, since="previous", optional=random.random() < 0.2),
        SpeciesCode("species"),
        SpeciesCode("prey", optional=True),
        SpeciesCode("second"),
        Integer("individuals", 1, random.choice((1, 2, 8, 24, 25))),
        Integer("weight", 0, random.choice((500, 5000, 1 << 20, 1 << 40))),
        Scaled("confidence", Fraction(1, 4), Fraction(1), Fraction(1, 20), optional=True),
        Boolean("young"),
        Enumeration("sex", ("f", "m", "u"), random.random() < 0.5),
        Flags("marks", ("a", "b", "c", "d", "e", "f")),
    ]
    weights = (0.5, 0.9, 0.2, 0.1, 0.5, 0.4, 0.4, 0.3, 0.2, 0.2)
    fields = [part for part, share in zip(parts, weights, strict=True) if random.random() < share]
    random.shuffle(fields)
    if depth > 1 and random.random() < 0.4:
        fields.append(_list("inner", random, depth - 1))
    if not fields:
        fields.append(SpeciesCode("species"))
    least = random.choice((0, 0, 1, 3))
    most = least + random.choice((0, 2, 12, 60))
    return ListOf(name, tuple(fields), least, max(most, 1), random.random() < 0.2 and depth == 1)


def _value(field: Field, random: Random) -> Any:
    """Small steps and few species at a time, and now and then anything."""
    rare = random.random() < 0.1
    if getattr(field, "optional", False) and random.random() < 0.3:
        return None
    match field:
        case Integer(low=low, high=high):
            return random.randint(low, high if rare else min(high, low + 9))
        case Scaled(low=low, high=high, step=step):
            return float(low + step * random.randint(0, int((high - low) / step)))
        case Duration(step_s=step_s, high_s=high_s):
            most = int(high_s / step_s)
            return int(step_s) * random.randint(0, most if rare else min(3, most))
        case Boolean():
            return rare
        case Flags(flags=flags):
            return [flag for flag in flags if random.random() < 0.2]
        case Enumeration(values=values):
            return random.choice(values)
        case SpeciesCode():
            return _species(random.randrange(CAPACITY) if rare else random.randrange(4))
        case Time(step_s=step_s, span_s=span_s):
            return EPOCH + timedelta(seconds=step_s * random.randrange(span_s // step_s))
        case ListOf(fields=fields, least=least, most=most):
            count = random.randint(least, min(most, least + 30))
            rows = [{each.name: _value(each, random) for each in fields} for _ in range(count)]
            if random.random() < 0.6:
                rows = _as_set(rows, least)
            return rows


def _as_set(rows: list[dict[str, Any]], least: int) -> list[dict[str, Any]]:
    """One row a species, in the order of the labels."""
    by_label = {row["species"]: row for row in rows if "species" in row}
    return [by_label[label] for label in sorted(by_label)] if len(by_label) >= least else rows


def _species(code: int) -> str:
    return f"label {code}" if code < KNOWN else f"#{code}"
