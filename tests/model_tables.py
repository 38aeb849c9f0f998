"""Random tables for any schema: every place, contexts, centres and rows as a seed has them."""

from dataclasses import replace
from random import Random
from typing import Any

from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.codec.modelled.defaults import default_species, default_table
from packcodec.codec.modelled.history import HOUR_ROWS, SET_AGES
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import Classes
from packcodec.codec.modelled.walk import Walk
from packcodec.schema.model import Schema
from packcodec.schema.models import Models, PlaceTable

# What chooses the row, and how many symbols it has, for the places of lists and species.
FIXED = {
    "more": (("room",), ROOM_ROWS, 2),
    "set": ((), 1, 2),
    "age": ((), 1, SET_AGES),
}


MOST_BYTES = 1000


def with_models(schema: Schema, seed: int) -> Schema:
    """`schema` with tables for about half of its places, some species unknown to them."""
    random = Random(seed)
    known = tuple(code for code in default_species(schema) if random.random() < 0.8)
    tables: dict[str, PlaceTable] = {}

    def noted(spot: Spot, of: Schema, species: tuple[int, ...]) -> PlaceTable:
        if random.random() < 0.5:
            tables[spot.path] = table_for(spot, known, random)
        return default_table(spot, of, species)

    for message in schema.messages:
        Walk(message, schema, Models(known, ()), None, noted)
    return replace(schema, models=Models(known, tuple(tables[path] for path in sorted(tables))))


def table_for(spot: Spot, known: tuple[int, ...], random: Random) -> PlaceTable:
    if spot.role in FIXED:
        contexts, rows, symbols = FIXED[spot.role]
        return PlaceTable(spot.path, drawn(random, rows, symbols), contexts)
    if spot.role in ("new", "there"):
        hourly = random.random() < 0.5
        symbols = len(known) + (spot.role == "new")
        rows = drawn(random, HOUR_ROWS if hourly else 1, symbols)
        return PlaceTable(spot.path, rows, ("hour",) if hourly else ())
    available: dict[str, Any] = spot.contexts({})
    contexts = tuple(random.sample(sorted(available), random.randint(0, min(2, len(available)))))
    rows, symbols = 1, len(Classes(spot.codes))
    for name in contexts:
        rows *= available[name].size
    if rows * symbols > MOST_BYTES:
        contexts, rows = (), 1
    return PlaceTable(
        spot.path,
        () if random.random() < 0.1 else drawn(random, rows, symbols),
        contexts,
        random.choice(["none", "centre", *spot.centres()]),
        random.randrange(spot.codes),
        bytes(random.randrange(4) for _ in known) if "kin" in contexts else b"",
    )


def drawn(random: Random, rows: int, symbols: int) -> tuple[bytes, ...]:
    """Rows of bytes, from nearly even to nearly certain."""
    return tuple(
        bytes(random.choice((random.randrange(256), 128)) for _ in range(symbols))
        for _ in range(rows)
    )
