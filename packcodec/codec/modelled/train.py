"""Tables from records: which contexts a place's table takes, and how likely each symbol is.

Every place tries what its code may be counted from and which one or two contexts choose the row,
and keeps what would have cost the fewest bits to send while learning it (the Dirichlet-multinomial
code length, whose price for a row rises with the symbols it must learn, so that a large table has
to earn its size). Then the whole is brought under the size a station can hold by the changes that
cost the fewest bits a byte. Rows are smoothed towards the place's whole: a new site or a new
species costs little.

Training uses floating point; its result is integers, and coding uses these alone.
"""

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import replace

from packcodec.codec.modelled.defaults import default_species, default_table
from packcodec.codec.modelled.history import HOUR_ROWS, SET_AGES
from packcodec.codec.modelled.learning import (
    Choice,
    Counts,
    Tally,
    backed,
    learning_bits,
    row_of,
    shares_of,
    together,
    within,
)
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.presence import Presence, logit_byte
from packcodec.codec.modelled.probe import Probe
from packcodec.codec.modelled.sets import SetOf
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tree import Tree
from packcodec.codec.modelled.walk import Walk
from packcodec.layout.model import Layout
from packcodec.schema.model import Message, Schema
from packcodec.schema.models import Models, PlaceTable

DEVICE_BYTES = 2048


def train(
    layout: Layout, records: Iterable[tuple[str, float, Tree]], *, size_bytes: int = DEVICE_BYTES
) -> Models:
    """Models from records: the name of a message, a weight, and codes (`tree_of`).

    What was seen once but is learned from in frames of several lengths has a weight under 1. The
    tables take at most `size_bytes`. Places that no record reached keep their defaults.
    """
    by_message: dict[str, list[tuple[float, Tree]]] = defaultdict(list)
    for name, share, tree in records:
        by_message[name].append((share, tree))
    known = default_species(layout.schema)
    choices: list[list[Choice]] = []
    for message in layout.messages:
        if by_message[message.name]:
            choices += _learn(layout, message.message, by_message[message.name], known)
    tables = within(choices, size_bytes)
    return Models(known, tuple(sorted(tables, key=lambda table: table.path)))


def _learn(
    layout: Layout, message: Message, trees: Sequence[tuple[float, Tree]], known: tuple[int, ...]
) -> list[list[Choice]]:
    probes: list[Probe] = []
    tally = Tally()

    def probe(spot: Spot, _: PlaceTable) -> Probe:
        probes.append(Probe(spot, tally))
        return probes[-1]

    walk = Walk(message, layout.schema, Models(known, ()), probe, _by_hour)
    for tally.share, tree in trees:
        walk.code(tally, tree)
    choices = [each.choices(known) for each in probes if each.codes]
    for species in walk.species:
        choices += _species_choices(species, tally)
    for listed in walk.sets:
        choices += _set_choices(listed, tally)
    return choices


def _by_hour(spot: Spot, schema: Schema, known: tuple[int, ...]) -> PlaceTable:
    """The default, but with a row for every hour where the hour may count."""
    table = default_table(spot, schema, known)
    if spot.role in ("new", "there"):
        return replace(table, contexts=("hour",), rows=table.rows * HOUR_ROWS)
    return table


def _species_choices(species: SpeciesPart, tally: Tally) -> list[list[Choice]]:
    by_hour = {hour: tally.of(row) for hour, row in enumerate(species.new)}
    counts = together(by_hour.values())
    if not counts:
        return []
    return [_hour_choices(f"{species.path} new", by_hour, counts, len(species.known) + 1)]


def _hour_choices(
    path: str, by_hour: dict[int, Counts], counts: Counts, symbols: int
) -> list[Choice]:
    whole = shares_of(counts, symbols)
    flat = PlaceTable(path, (row_of(whole),))
    hourly = PlaceTable(
        path,
        tuple(row_of(backed(by_hour[hour], whole)) for hour in range(HOUR_ROWS)),
        ("hour",),
    )
    return [
        Choice(learning_bits({0: counts}, whole), symbols, lambda: (flat,)),
        Choice(learning_bits(by_hour, whole), HOUR_ROWS * symbols, lambda: (hourly,)),
    ]


def _set_choices(listed: SetOf, tally: Tally) -> list[list[Choice]]:
    cells = {key: tally.of(table) for key, table in listed.odds.items()}
    if not cells:
        return []
    flag = PlaceTable(f"{listed.path} set", (row_of(shares_of(tally.of(listed.flag), 2)),))
    found = [[Choice(0.0, 2, lambda: (flag,))]]
    species = len(listed.known)
    choices = []
    for hours in (1, HOUR_ROWS):
        fitted = Presence(cells, hours)
        there = PlaceTable(
            f"{listed.path} there",
            tuple(bytes(fitted.byte(hour, at) for at in range(species)) for hour in range(hours)),
            ("hour",) if hours > 1 else (),
        )
        age = PlaceTable(
            f"{listed.path} age", (bytes(logit_byte(fitted.age[at]) for at in range(SET_AGES)),)
        )
        choices.append(
            Choice(
                fitted.bits(),
                hours * species + SET_AGES,
                lambda there=there, age=age: (there, age),  # type: ignore[misc]
            )
        )
    return [*found, choices]
