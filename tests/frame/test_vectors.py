"""The published vectors are up to date, cover what they claim, and the compiled codec passes them.

All but the first test read nothing but the JSON files, as a stranger's implementation would.
"""

import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from every_kind import KINDS, kinds_in
from tool_loader import ROOT, tool
from vector_entry import again, beside, codec_of, layout_of, ring_before, told

from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.frame import Codec, infer_counter
from packcodec.frame.repair import Solver
from packcodec.layout import CHECKS, canonical_form
from packcodec.layout.checks import SEALS
from packcodec.schema import read_schema

PATHS = sorted((ROOT / "spec" / "vectors").glob("*.json"))
FILES = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in PATHS}
LAYOUTS = {name: layout_of(file) for name, file in FILES.items()}


def entries(kind: str) -> list[Any]:
    return [
        pytest.param(name, entry, id=f"{name}: {entry['about']}")
        for name, file in FILES.items()
        for entry in file.get(kind, ())
    ]


def test_the_files_are_what_the_tool_makes() -> None:
    made = tool("vectors").vectors()
    assert {path.name: path.read_text(encoding="utf-8") for path in PATHS} == made
    for path in PATHS:
        assert b"\r" not in Path(path).read_bytes()


def test_the_files_cover_kinds_checks_and_reasons() -> None:
    schemas = [read_schema(file["schema"], file["species"]) for file in FILES.values()]
    fields = [message.fields for schema in schemas for message in schema.messages]
    assert {kind for each in fields for kind in kinds_in(each)} == KINDS
    assert {file["check"] for file in FILES.values()} == {*CHECKS, *SEALS}
    repaired = {file["check"] in SEALS for file in FILES.values() if "[repair]" in file["schema"]}
    assert repaired == {True, False}
    reasons = {entry["reason"] for file in FILES.values() for entry in file["invalid"]}
    assert reasons == set(Reason) - {Reason.NOT_CANONICAL}  # which only modelled coding gives


@pytest.mark.parametrize("name", FILES)
def test_identity(name: str) -> None:
    file, layout = FILES[name], LAYOUTS[name]
    assert canonical_form(layout.schema) == file["canonical"]
    assert layout.identity.hex() == file["identity"]
    assert sha256(file["canonical"].encode("utf-8")).hexdigest() == file["identity"]
    assert layout.check.name == file["check"]


@pytest.mark.parametrize(("name", "entry"), entries("valid"))
def test_valid(name: str, entry: dict[str, Any]) -> None:
    layout, frame, said = LAYOUTS[name], bytes.fromhex(entry["frame"]), entry["said"]
    codec = codec_of(layout, entry)
    assert codec.encode(said, ring=ring_before(layout, entry, said["sequence"])) == frame
    opened = codec.open(frame, **beside(layout.schema, entry))
    assert told(opened) == entry["read"]
    assert opened.source.hex() == entry.get("source", opened.source.hex())
    read = again(entry)
    assert codec.encode(read, ring=ring_before(layout, entry, read["sequence"])) == frame


@pytest.mark.parametrize(("name", "entry"), entries("invalid"))
def test_invalid(name: str, entry: dict[str, Any]) -> None:
    codec = codec_of(LAYOUTS[name], entry)
    with pytest.raises(DecodeError) as refused:
        codec.decode(bytes.fromhex(entry["frame"]), **beside(codec.schema, entry))
    assert refused.value.reason == entry["reason"]
    assert refused.value.reason.name == entry["reason_name"]


@pytest.mark.parametrize(("name", "entry"), entries("refused"))
def test_refused(name: str, entry: dict[str, Any]) -> None:
    said = {"message": entry["message"], "values": entry["values"]}
    with pytest.raises(EncodeError) as refused:
        Codec(LAYOUTS[name]).encode(said, station=0, sequence=0)
    assert entry["field"] in refused.value.place


@pytest.mark.parametrize(("name", "entry"), entries("recovered"))
def test_recovered(name: str, entry: dict[str, Any]) -> None:
    found = sorted(won_back(name, entry), key=lambda record: int(record["sequence"]))
    assert found == entry["gives"]


def won_back(name: str, run: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """What the symbols of a run's frames give, in the order of their discovery."""
    layout, solver, expected = LAYOUTS[name], None, 0
    assert layout.repair is not None
    for entry in run["heard"]:
        codec = codec_of(layout, entry)
        opened = codec.open(bytes.fromhex(entry["frame"]), **beside(layout.schema, entry))
        station, sequence = opened.record.station, opened.record.sequence
        assert station is not None
        assert sequence is not None
        solver = solver or Solver(layout.repair, station)
        counter = infer_counter(expected, sequence, layout.repair.sent_bits)
        expected = counter + 1
        for each in solver.heard(counter, opened.source, opened.repair):
            if any(each.source):
                record = codec.reopen(each.source, station=station, sequence=each.counter)
                yield record.to_json()
