"""What training finds: the habits that were put in, and no larger tables than asked for."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from random import Random
from typing import Any

import pytest
from every_kind import schema_of

from packcodec.codec.modelled import ModelledPayload
from packcodec.codec.modelled.learning import Choice, within
from packcodec.codec.modelled.meter import Meter
from packcodec.codec.modelled.train import train
from packcodec.codec.modelled.tree import Tree
from packcodec.layout import Layout, compile_layout
from packcodec.schema.model import Duration, Field, Integer, ListOf, SpeciesCode, Time
from packcodec.schema.models import Models, PlaceTable

START = datetime(2027, 4, 1, tzinfo=UTC)


def layout_of(*fields: Field, models: Models | None = None) -> Layout:
    return compile_layout(replace(schema_of(*fields), coding="modelled", models=models))


def payload_of(layout: Layout) -> ModelledPayload:
    return ModelledPayload(layout, layout.messages[0])


def cost_of(layout: Layout, trees: list[Tree]) -> dict[str, float]:
    """Mean bits of each field, and of all under ""."""
    meter = Meter(payload_of(layout).walk)
    for tree in trees:
        meter.measure(tree, 1 << 12)
    costs = {path.rpartition(".")[2]: bits / len(trees) for path, bits in meter.spent.items()}
    return {**costs, "": meter.bits / len(trees)}


def learned(fields: tuple[Field, ...], records: list[dict[str, Any]], **options: Any) -> Layout:
    layout = layout_of(*fields)
    payload = payload_of(layout)
    half = len(records) // 2
    models = train(
        layout, [("m", 1.0, payload.tree(values)) for values in records[:half]], **options
    )
    return layout_of(*fields, models=models)


def measured(layout: Layout, records: list[dict[str, Any]]) -> list[Tree]:
    return [payload_of(layout).tree(values) for values in records[len(records) // 2 :]]


def test_a_value_that_follows_another_costs_nearly_nothing() -> None:
    random = Random(1)
    fields = (Integer("a", 0, 7), Integer("b", 0, 7))
    records = [{"a": n, "b": 7 - n} for n in (random.randrange(8) for _ in range(600))]
    layout = learned(fields, records)
    costs = cost_of(layout, measured(layout, records))
    assert costs["a"] == pytest.approx(3, abs=0.1)
    assert costs["b"] < 0.25


def test_a_value_near_the_last_one_is_counted_from_it() -> None:
    random = Random(2)
    rows = ListOf("rows", (Integer("level", 0, 999),), 1, 20)
    records = []
    for _ in range(200):
        level, levels = random.randrange(100, 900), []
        for _ in range(15):
            level += random.choice((-1, 0, 0, 1))
            levels.append({"level": level})
        records.append({"rows": levels})
    layout = learned((rows,), records)
    [table] = [each for each in layout.schema.models.tables if each.path.endswith("level")]  # type: ignore[union-attr]
    assert table.around == "previous"
    # Ten bits for the first, 1.5 for each of fourteen others.
    assert cost_of(layout, measured(layout, records))["level"] < 12 + 14 * 1.8


def test_hours_and_bursts_are_found() -> None:
    random = Random(3)
    at = Time("at", 60, 172800, "wrap")
    gap = Duration("after", 60, 3600, since="previous")  # type: ignore[arg-type]
    seen = ListOf("seen", (gap, SpeciesCode("species"), Integer("individuals", 1, 8)), 1, 20)
    records = []
    for _ in range(300):
        hour = random.choice((5, 6, 19))
        species = {5: 0, 6: 1, 19: 2}[hour]
        individuals = random.randrange(1, 9)
        burst = [
            {"after": 60, "species": f"label {species}", "individuals": individuals}
            for _ in range(10)
        ]
        start = START + timedelta(hours=hour, minutes=random.randrange(50))
        records.append({"at": start, "seen": burst})
    layout = learned((at, seen), records)
    costs = cost_of(layout, measured(layout, records))
    # The day of two, then log2 3 for the hour, and the minute, of which nothing is known.
    assert costs["at"] == pytest.approx(1)
    assert costs["at hour"] == pytest.approx(1.58 + 5.91, abs=0.2)
    assert costs["species"] < 1.2
    assert costs["individuals"] < 4.5
    assert costs["after"] < 0.5


def test_a_set_learns_who_is_there() -> None:
    random = Random(4)
    rows = ListOf("rows", (SpeciesCode("species"), Integer("visits", 0, 15)), 0, 5)
    shares = (0.9, 0.5, 0.1, 0.02, 0.0)
    records = [
        {
            "rows": [
                {"species": f"label {code}", "visits": 1}
                for code, share in enumerate(shares)
                if random.random() < share
            ]
        }
        for _ in range(800)
    ]
    layout = learned((rows,), records)
    entropy = 0.469 + 1 + 0.469 + 0.141
    assert cost_of(layout, measured(layout, records))["rows"] == pytest.approx(entropy, abs=0.2)


@pytest.mark.parametrize("size", [0, 20, 200, 2048])
def test_tables_take_no_more_than_asked(size: int) -> None:
    random = Random(5)
    fields = (Integer("a", 0, 200), Integer("b", 0, 200), Integer("c", 0, 200))
    records = []
    for _ in range(400):
        a = min(200, int(random.expovariate(0.1)))
        records.append({"a": a, "b": a, "c": 200 - a})
    layout = learned(fields, records, size_bytes=size)
    assert layout.schema.models is not None
    assert layout.schema.models.size_bytes <= size
    bits = cost_of(layout, measured(layout, records))[""]
    assert bits < {0: 23.1, 20: 22, 200: 14, 2048: 9}[size]


def test_species_alike_in_habits_share_a_class_whatever_their_mean() -> None:
    """None or eight of two of them, a number of their own of the rest: four classes are enough,
    but not those that neighbours by mean would make."""
    random = Random(7)
    seen = ListOf("seen", (SpeciesCode("species"), Integer("individuals", 0, 8)), 1, 1)
    records = []
    for _ in range(2000):
        species = random.randrange(5)
        eights = {0: 0.45, 2: 0.55}.get(species)
        individuals = 3 + species if eights is None else 8 * (random.random() < eights)
        records.append({"seen": [{"species": f"label {species}", "individuals": individuals}]})
    layout = learned((seen,), records)
    costs = cost_of(layout, measured(layout, records))
    # One bit in two fifths of the records, and nothing in the others.
    assert costs["individuals"] == pytest.approx(0.4, abs=0.1)


def test_room_that_a_large_step_down_leaves_is_filled_again() -> None:
    """The first place's step is the cheaper one, but the second's alone is enough."""

    def choices(path: str, *options: tuple[float, int]) -> list[Choice]:
        return [
            Choice(bits, size, lambda size=size: (PlaceTable(path, (bytes(size),)),))  # type: ignore[misc]
            for bits, size in options
        ]

    places = [choices("a", (100.0, 600), (104.0, 500)), choices("b", (100.0, 1000), (190.0, 100))]
    for room, kept in (
        (1600, (600, 1000)),
        (1500, (500, 1000)),
        (800, (600, 100)),
        (650, (500, 100)),
    ):
        tables = within(places, room)
        assert tuple(len(table.rows[0]) for table in tables) == kept


def test_what_was_never_seen_stays_affordable() -> None:
    fields = (Integer("a", 0, 7),)
    records = [{"a": 0}] * 400
    layout = learned(fields, records)
    payload = payload_of(layout)
    assert Meter(payload.walk).measure(payload.tree({"a": 0}), 64) < 0.05
    assert Meter(payload.walk).measure(payload.tree({"a": 7}), 64) < 17
    assert payload.unpack_values(payload.pack_values({"a": 7})) == {"a": 7}


def test_the_same_log_gives_the_same_tables() -> None:
    random = Random(6)
    fields = (Integer("a", 0, 99), Integer("b", 0, 99))
    records = [{"a": n, "b": n // 2} for n in (random.randrange(100) for _ in range(200))]
    assert learned(fields, records).identity == learned(fields, records).identity
