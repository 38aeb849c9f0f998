"""What tables hold likely: known sizes, and a log that the tables were learned from."""

from dataclasses import replace
from pathlib import Path
from statistics import median

import pytest
from every_kind import schema_of

import packcodec.edge
from packcodec.edge.files import load
from packcodec.edge.learn import Log, learn
from packcodec.edge.log_traffic import read_logs, traffic_of
from packcodec.frame.codec import Codec
from packcodec.frame.typical import typical_bytes
from packcodec.layout.compiler import compile_layout
from packcodec.schema.model import Integer, Schema
from packcodec.schema.models import Models, PlaceTable

DEMO = Path(packcodec.edge.__file__).parent / "demo_data"


def sizes_of(schema: Schema) -> dict[str, int | None]:
    codec = Codec(compile_layout(schema))
    return {name: typical_bytes(codec, name) for name in codec.payloads}


def one_of_256(rows: tuple[bytes, ...]) -> int:
    """The typical payload of one whole number, by a table of these rows."""
    schema = replace(schema_of(Integer("a", 0, 255)), coding="modelled")
    models = Models((), (PlaceTable("message.m.a", rows),))
    codec = Codec(compile_layout(replace(schema, models=models)))
    typical = typical_bytes(codec, "m")
    assert typical is not None
    bare = -(-codec.layout.header_bits // 8) + codec.layout.check.octets
    return typical - bare


def test_what_is_all_but_certain_takes_no_byte_and_what_is_alike_takes_one() -> None:
    classes = 18
    assert one_of_256((bytes([250, *[60] * (classes - 1)]),)) == 0
    assert one_of_256(()) == 1


def test_nobody_knows_without_tables_of_the_message_itself() -> None:
    schema = load(DEMO / "schema.toml").schema
    nobody = dict.fromkeys(["sighting", "summary", "health"])
    modelled = replace(schema, coding="modelled")
    assert sizes_of(schema) == nobody
    assert sizes_of(modelled) == nobody
    others = Models((), (PlaceTable("message.health.power", (bytes([128, 100]),)),))
    known = sizes_of(replace(modelled, models=others))
    assert (known["sighting"], known["summary"]) == (None, None)
    assert known["health"] is not None


def test_tables_learned_from_a_log_hold_its_frames_likely() -> None:
    codec = load(DEMO / "schema.toml")
    logs = read_logs(
        codec, *(str(DEMO / f"{name}.csv") for name in ("detections", "watch", "health"))
    )
    assert logs.watches is not None
    assert logs.health is not None
    log = Log(logs.detections.rows, logs.watches.rows, logs.health.rows)
    models, _ = learn(replace(codec.schema, coding="modelled"), log, 2048)
    trained = Codec(compile_layout(replace(codec.schema, coding="modelled", models=models)))
    traffic = traffic_of(trained, logs)
    for name in traffic.messages:
        assert typical_bytes(trained, name) == pytest.approx(
            median(traffic.sizes(name).elements()), abs=1
        )
