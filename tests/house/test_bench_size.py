"""What the size bench counts for UPER is what the fixed coding sends, which is UPER bit for bit."""

import sys
from collections.abc import Iterator
from typing import Any

import pytest
from tool_loader import ROOT, tool

from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.tree import bits_of
from packcodec.frame.fill import as_sets, batches_of


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Iterator[Any]:
    """The bench; its own modules lie beside it."""
    before = set(sys.modules)
    monkeypatch.syspath_prepend(str(ROOT / "tools"))
    yield tool("bench_size")
    for name in set(sys.modules) - before:
        del sys.modules[name]


def fixed_of(payload: ModelledPayload, tree: Any) -> tuple[bytes, int]:
    x, bits = bits_of(payload.message.body, tree)
    return (x << (-bits & 7)).to_bytes(-(-bits // 8)), bits


def test_plain_sightings_are_the_fixed_payload(bench: Any) -> None:
    sightings = sys.modules["size_sightings"]
    stream = bench.log_stream(bench.DEMO / "detections.csv", bench.demo_animals())
    codec = sightings.codec_of(stream, "modelled", 1 << sightings.TIME_BITS, 255)
    (payload,) = codec.payloads.values()
    species_bits = (len(stream.labels) - 1).bit_length()
    for station in sightings.elements_of(stream.measured)[:4]:
        values = next(batches_of(codec, "sightings", station, 40))
        columns = sightings.columns_of(payload, values)
        plain = sightings.packed(sightings._plain(columns, species_bits))
        assert plain == fixed_of(payload, payload.tree(values))[0]


def test_summaries_in_uper_are_the_fixed_payload_and_what_hours_take(bench: Any) -> None:
    summaries, peers = sys.modules["size_summaries"], sys.modules["size_summary_peers"]
    stream = bench.log_stream(bench.DEMO / "detections.csv", bench.demo_animals())
    work = summaries.work_of(stream, health=True)
    (payload,) = work.codec.payloads.values()
    gap_bits, hour_bits = 5, 13
    ways = (peers.fixed_of, peers.once_of, peers.plain_of)
    for station in work.measured.values():
        values = next(batches_of(work.codec, "summaries", station, 16))
        tree = payload.tree(as_sets(work.codec, "summaries", values))
        data, bits = fixed_of(payload, tree)
        fixed, once, plain = (way(work.codec.schema)(tree) for way in ways)
        assert fixed == data
        without_gaps = bits - gap_bits * 16
        assert len(once) == -(-without_gaps // 8)
        assert len(plain) == -(-(without_gaps + hour_bits * 15) // 8)
