"""Decoders written from spec/ alone pass the vectors, and read the demo."""

import ast
import json
from datetime import datetime
from pathlib import Path
from types import ModuleType
from typing import Any

import pytest
import stranger
import stranger_guarded
from hypothesis import given
from hypothesis import strategies as st
from plain_values import plain_values
from schema_texts import csv_of, toml_of
from stranger import Refused, Stranger
from stranger_guarded import GuardedStranger
from strategies import schemas, values_for
from tool_loader import ROOT

import packcodec
from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.schema.model import Schema

FILES = {
    path.stem: json.loads(path.read_text(encoding="utf-8"))
    for path in sorted((ROOT / "spec" / "vectors").glob("*.json"))
}


GUARDED = {name for name, file in FILES.items() if name.startswith(("sealed-", "repair"))}


@pytest.mark.parametrize("name", sorted(FILES.keys() - GUARDED))
def test_vectors(name: str) -> None:
    file = FILES[name]
    decoder = Stranger(file["schema"], file["species"])
    assert decoder.canonical() == file["canonical"]
    assert decoder.identity.hex() == file["identity"]
    assert decoder.check == file["check"]
    for entry in file["valid"]:
        carried = entry.get("carried", {})
        assert decoder.decode(bytes.fromhex(entry["frame"]), carried, when(entry)) == entry["read"]
    for entry in file["invalid"]:
        with pytest.raises(Refused) as refused:
            decoder.decode(bytes.fromhex(entry["frame"]), entry.get("carried", {}))
        assert refused.value.args[0] == entry["reason"], entry["about"]


@pytest.mark.parametrize("name", FILES)
def test_vectors_with_seals_and_symbols(name: str) -> None:
    file = FILES[name]
    decoder = GuardedStranger(file["schema"], file["species"])
    assert decoder.canonical() == file["canonical"]
    assert decoder.identity.hex() == file["identity"]
    assert decoder.check == file["check"]
    for entry in file["valid"]:
        assert decoder.read(entry, when(entry)) == entry["read"], entry["about"]
    for entry in file["invalid"]:
        with pytest.raises(Refused) as refused:
            decoder.read(entry)
        assert refused.value.args[0] == entry["reason"], entry["about"]


def when(entry: dict[str, Any]) -> datetime | None:
    received = entry.get("received")
    return datetime.fromisoformat(received) if received else None


def test_the_demo_schema() -> None:
    folder = Path(packcodec.__file__).parent / "edge" / "demo_data"
    codec = packcodec.load(folder / "schema.toml")
    decoder = Stranger(
        *((folder / name).read_text(encoding="utf-8") for name in ("schema.toml", "species.csv"))
    )
    assert decoder.identity == codec.layout.identity
    for message in codec.schema.messages:
        values = plain_values(codec.schema, message.fields, optional=True, rows=3)
        frame = codec.encode({"message": message.name, "values": values}, station=3, sequence=5)
        assert decoder.decode(frame, {}) == codec.decode(frame).to_json()


@given(schema=schemas(check="auto"), data=st.data())
def test_any_schema_and_record(schema: Schema, data: st.DataObject) -> None:
    codec = Codec(compile_layout(schema))
    decoder = Stranger(toml_of(schema), csv_of(schema.species))
    assert decoder.identity == codec.layout.identity
    assert decoder.check == codec.layout.check.name
    message = data.draw(st.sampled_from(schema.messages))
    values = data.draw(values_for(schema, message, wrap_spans=2, beyond_clamps=True))
    frame = codec.encode({"message": message.name, "values": values}, station=1, sequence=1)
    carried = {"message": message.name, "station": 1}
    assert decoder.decode(frame, carried) == codec.decode(frame, **carried).to_json()


@pytest.mark.parametrize(
    ("module", "others"),
    [
        (stranger, {*("csv", "io", "json", "tomllib", "fractions", "hashlib")}),
        (
            stranger_guarded,
            {
                "stranger",
                "cryptography.exceptions",
                "cryptography.hazmat.primitives.ciphers.aead",
            },
        ),
    ],
)
def test_the_strangers_know_nothing_of_packcodec(module: ModuleType, others: set[str]) -> None:
    assert module.__file__ is not None
    tree = ast.parse(Path(module.__file__).read_text(encoding="utf-8"))
    imported = {
        name.name if isinstance(node, ast.Import) else node.module
        for node in ast.walk(tree)
        if isinstance(node, ast.Import | ast.ImportFrom)
        for name in node.names
    }
    assert imported == {"datetime", "typing", *others}
