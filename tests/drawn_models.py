"""Models drawn at random for a schema: any contexts and centres that a place may have."""

from dataclasses import replace
from random import Random

from packcodec.codec.modelled.defaults import default_species
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import Classes
from packcodec.codec.modelled.walk import Walk
from packcodec.layout import compile_layout
from packcodec.schema.model import Schema
from packcodec.schema.models import MOST_SPECIES, Models, PlaceTable

MOST_ROWS = 200
PLAIN_ROLES = ("value", "presence", "count", "hour")


class _Found(Walk):
    def __init__(self, *given: object) -> None:
        self.found: dict[str, tuple[Spot, PlaceTable]] = {}
        super().__init__(*given)  # type: ignore[arg-type]

    def table(self, spot: Spot) -> PlaceTable:
        table = super().table(spot)
        self.found[spot.path] = (spot, table)
        return table


def with_models(schema: Schema, seed: int) -> Schema:
    """The schema with tables of its own for about half of its places."""
    random = Random(seed)
    known = default_species(schema)
    if random.random() < 0.5:
        known = tuple(sorted(random.sample(range(schema.species.capacity), len(known))))
    known = known[:MOST_SPECIES]
    tables = {}
    for message in schema.messages:
        walk = _Found(message, schema, Models(known, ()))
        for path, (spot, table) in walk.found.items():
            if random.random() < 0.7:
                tables[path] = _drawn(spot, table, known, random)
    models = Models(known, tuple(tables[path] for path in sorted(tables)))
    drawn = replace(schema, models=models)
    compile_layout(drawn)
    return drawn


def _drawn(spot: Spot, table: PlaceTable, known: tuple[int, ...], random: Random) -> PlaceTable:
    weights = random.choice([range(90, 170), range(256)])

    def rows(count: int, size: int) -> tuple[bytes, ...]:
        return tuple(bytes(random.choices(weights, k=size)) for _ in range(count))

    if spot.role not in PLAIN_ROLES:
        count, contexts = len(table.rows), table.contexts
        if spot.role in ("new", "there") and random.random() < 0.5:
            count, contexts = 8, ("hour",)
        return PlaceTable(spot.path, rows(count, len(table.rows[0])), contexts)
    kin = bytes(random.choices(range(4), k=len(known)))
    available = spot.contexts(dict(zip(known, kin, strict=True)))
    chosen: list[str] = []
    count = 1
    for name in random.sample(list(available), len(available)):
        if count * available[name].size <= MOST_ROWS and random.random() < 0.5:
            chosen.append(name)
            count *= available[name].size
    return PlaceTable(
        spot.path,
        rows(count, len(Classes(spot.codes))),
        tuple(chosen),
        random.choice(["none", "centre", *spot.centres()]),
        random.randrange(spot.codes),
        kin if "kin" in chosen else b"",
    )
