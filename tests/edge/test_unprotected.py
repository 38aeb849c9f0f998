"""A lost frame too long for a repair symbol looks to the code like a number never used: unless the
schema has no such frame it is told as a gap, asked for, and counted as missing."""

import json
from collections.abc import Collection
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

pytest.importorskip("sqlalchemy", reason="the part [base] is not installed")

from packcodec.base import State
from packcodec.edge.cli import gaps
from packcodec.edge.dataset_source import read_source
from packcodec.edge.files import load
from packcodec.edge.heard import Heard
from packcodec.edge.store import Store
from packcodec.edge.store_ask import lists
from packcodec.frame import Codec
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)
KEYS = {1: Key(bytes(range(16)))}
TOML = """
[schema]
name = "short_symbols"
version = 1
epoch = 2027-04-01T00:00:00Z
[frame]
tag_bits = 8
message_bits = 2
station_bits = 4
sequence_bits = 10
seal = "ccm4"
[repair]
messages = ["count"]
symbol_bytes = 2
window = 8
stride = 1
[message.count]
code = 0
fields = [
  { name = "sum", kind = "integer", low = 0, high = 63, optional = true, total_of = "rows.visits" },
  { name = "rows", kind = "list", least = 0, most = 3, fields = [
    { name = "visits", kind = "integer", low = 0, high = 7 },
  ] },
]
"""
LONG, SHORT = [7, 7, 7], [1]


class Marsh:
    """Frames of one station, a store that heard those not lost, and what is told of them."""

    def __init__(self, folder: Path, symbol_bytes: int = 2) -> None:
        self.schema = folder / "schema.toml"
        self.schema.write_text(TOML.replace("symbol_bytes = 2", f"symbol_bytes = {symbol_bytes}"))
        self.codec: Codec = load(self.schema, KEYS)
        self.place = str(folder / "store.db")
        assert self.codec.layout.repair is not None
        self.ring = Ring(self.codec.layout.repair, 1)
        self.sum = 0

    def hear(self, first: int, rows: list[list[int]], lost: Collection[int] = ()) -> None:
        batch = []
        for counter, visits in enumerate(rows, first):
            self.sum = (self.sum + sum(visits)) % 64
            values = {"sum": self.sum, "rows": [{"visits": each} for each in visits]}
            record = {"message": "count", "values": values}
            frame = self.codec.encode(record, station=1, sequence=counter, ring=self.ring)
            if counter not in lost:
                batch.append(Heard(frame, EPOCH + timedelta(hours=counter), "base"))
        store = Store.open(self.place, [self.codec])
        store.ingest(batch)
        store.close()

    def gaps(self) -> Any:
        arguments = [self.place, "--schema", str(self.schema), "--at", EPOCH.isoformat(), "--json"]
        result = CliRunner().invoke(gaps.command, arguments)
        [station] = json.loads(result.stdout)["stations"]
        return station

    def asked(self) -> list[int]:
        store = Store.open(self.place, [self.codec])
        made = lists(store.engine, [self.codec], [1], EPOCH + timedelta(days=2), 51)
        found = [counter for each in made for counter in each.asked.counters]
        store.close()
        return found


def test_a_frame_too_long_for_a_symbol_is_a_gap_and_is_asked_for(tmp_path: Path) -> None:
    marsh = Marsh(tmp_path)
    marsh.hear(0, [SHORT] * 5 + [LONG] + [SHORT] * 6, lost={3, 5})
    told = marsh.gaps()
    assert told["counts"] == {
        "heard": 10,
        "recovered": 1,
        "unsent": 0,
        "unprotected": 1,
        "lost": 0,
        "restart": 0,
    }
    assert told["gaps"] == [{"first": 5, "last": 5, "reason": State.UNPROTECTED}]
    [stretch] = told["untold"]
    assert (stretch["missing"], stretch["counted"]) == (1, sum(LONG))
    assert marsh.asked() == [5]


def test_a_total_that_may_have_gone_round_in_long_frames_is_unknown(tmp_path: Path) -> None:
    marsh = Marsh(tmp_path)
    marsh.hear(0, [SHORT] * 4 + [LONG] * 4 + [SHORT] * 8, lost={4, 5, 6, 7})
    told = marsh.gaps()
    assert told["counts"]["unprotected"] == 4
    [stretch] = told["untold"]
    assert (stretch["missing"], stretch["counted"]) == (4, None)


def test_what_came_after_all_is_no_gap(tmp_path: Path) -> None:
    marsh = Marsh(tmp_path)
    rows = [SHORT] * 5 + [LONG] + [SHORT] * 6
    marsh.hear(0, rows, lost={5})
    assert marsh.gaps()["counts"]["unprotected"] == 1
    again = Marsh(tmp_path)
    again.hear(0, rows)
    assert again.gaps()["counts"]["heard"] == len(rows)
    assert again.gaps()["gaps"] == []


def test_where_every_payload_fits_a_symbol_nothing_was_sent(tmp_path: Path) -> None:
    marsh = Marsh(tmp_path, symbol_bytes=3)
    marsh.hear(0, [SHORT, LONG] * 3)
    assert marsh.codec.layout.repair is not None
    marsh.ring = Ring.resumed(marsh.codec.layout.repair, 1, marsh.ring.sources, 8)
    marsh.hear(8, [SHORT, LONG] * 3)
    told = marsh.gaps()
    assert (told["counts"]["unsent"], told["counts"]["unprotected"]) == (2, 0)
    assert told["gaps"] == []
    assert told["untold"] == []
    assert marsh.asked() == []


def test_a_dataset_takes_only_what_was_never_sent_for_no_gap(tmp_path: Path) -> None:
    marsh = Marsh(tmp_path)
    marsh.hear(0, [SHORT] * 5 + [LONG] + [SHORT] * 6, lost={5})
    assert read_source(marsh.place, marsh.codec).unsent == frozenset()
    whole = tmp_path / "whole"
    whole.mkdir()
    other = Marsh(whole, symbol_bytes=3)
    other.hear(0, [SHORT, LONG] * 3)
    assert other.codec.layout.repair is not None
    other.ring = Ring.resumed(other.codec.layout.repair, 1, other.ring.sources, 8)
    other.hear(8, [SHORT, LONG] * 3)
    assert read_source(other.place, other.codec).unsent == {(1, 6), (1, 7)}
