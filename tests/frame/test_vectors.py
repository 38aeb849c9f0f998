"""The published vectors are up to date, cover what they claim, and the compiled codec passes them.

All but the first test read nothing but the JSON files, as a stranger's implementation would.
"""

import json
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest
from every_kind import KINDS, kinds_in
from tool_loader import ROOT, tool

from packcodec.errors import DecodeError, EncodeError, Reason
from packcodec.frame import Codec
from packcodec.layout import CHECKS, canonical_form, compile_layout
from packcodec.schema import read_schema

PATHS = sorted((ROOT / "spec" / "vectors").glob("*.json"))
FILES = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in PATHS}


def codec_of(file: dict[str, Any]) -> Codec:
    return Codec(compile_layout(read_schema(file["schema"], file["species"])))


def carried(entry: dict[str, Any]) -> dict[str, Any]:
    received = entry.get("received")
    said = {"received": datetime.fromisoformat(received)} if received else {}
    return {**entry.get("carried", {}), **said}


def entries(kind: str) -> list[Any]:
    return [
        pytest.param(file, entry, id=f"{name}: {entry['about']}")
        for name, file in FILES.items()
        for entry in file[kind]
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
    assert {file["check"] for file in FILES.values()} == set(CHECKS)
    reasons = {entry["reason"] for file in FILES.values() for entry in file["invalid"]}
    assert reasons == set(Reason) - {Reason.NOT_CANONICAL}  # which only modelled coding gives


@pytest.mark.parametrize("file", FILES.values(), ids=list(FILES))
def test_identity(file: dict[str, Any]) -> None:
    codec = codec_of(file)
    assert canonical_form(codec.schema) == file["canonical"]
    assert codec.layout.identity.hex() == file["identity"]
    assert sha256(file["canonical"].encode("utf-8")).hexdigest() == file["identity"]
    assert codec.layout.check.name == file["check"]


@pytest.mark.parametrize(("file", "entry"), entries("valid"))
def test_valid(file: dict[str, Any], entry: dict[str, Any]) -> None:
    codec, frame = codec_of(file), bytes.fromhex(entry["frame"])
    assert codec.encode(entry["said"]) == frame
    assert codec.decode(frame, **carried(entry)).to_json() == entry["read"]
    assert codec.encode(entry["read"]) == frame


@pytest.mark.parametrize(("file", "entry"), entries("invalid"))
def test_invalid(file: dict[str, Any], entry: dict[str, Any]) -> None:
    with pytest.raises(DecodeError) as refused:
        codec_of(file).decode(bytes.fromhex(entry["frame"]), **carried(entry))
    assert refused.value.reason == entry["reason"]
    assert refused.value.reason.name == entry["reason_name"]


@pytest.mark.parametrize(("file", "entry"), entries("refused"))
def test_refused(file: dict[str, Any], entry: dict[str, Any]) -> None:
    said = {"message": entry["message"], "values": entry["values"]}
    with pytest.raises(EncodeError) as refused:
        codec_of(file).encode(said, station=0, sequence=0)
    assert entry["field"] in refused.value.place
