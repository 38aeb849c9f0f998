"""The test vectors of modelled coding: up to date, and read alike by both decoders."""

import json
from typing import Any

import pytest
import vector_entry
from every_kind import KINDS, kinds_in
from modelled_spec_decoder import SpecDecoder
from stranger_guarded import GuardedStranger
from tool_loader import ROOT, tool
from vector_entry import layout_of

from packcodec.errors import DecodeError, Reason
from packcodec.frame import Codec
from packcodec.layout import canonical_form
from packcodec.schema.models import AROUND, CONTEXTS, Models

FOLDER = ROOT / "spec" / "vectors" / "modelled"
FILES = sorted(FOLDER.glob("*.json"))


def document(name: str) -> Any:
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))


@pytest.fixture(params=[path.name for path in FILES])
def file(request: pytest.FixtureRequest) -> Any:
    return document(request.param)


def codec_of(file: Any) -> Codec:
    return vector_entry.codec_of(layout_of(file), file["valid"][0])


def test_made_again_they_are_the_same() -> None:
    tool("modelled_vector_cases")
    made = tool("modelled_vectors").vectors()
    assert {path.name: path.read_text(encoding="utf-8") for path in FILES} == made


def test_records_and_frames(file: Any) -> None:
    codec = codec_of(file)
    assert codec.layout.identity.hex() == file["identity"]
    assert canonical_form(codec.schema) == file["canonical"]
    for each in file["valid"]:
        frame = bytes.fromhex(each["frame"])
        assert codec.encode(each["said"]) == frame
        opened = codec.open(frame)
        counter = {} if opened.counter is None else {"counter": opened.counter}
        assert opened.record.to_json() | counter == each["read"]


def test_a_stranger_reads_the_codes(file: Any) -> None:
    """From the frame alone: header away, then the string, by the decoder of the specification."""
    layout = layout_of(file)
    schema = layout.schema
    modelled = 0
    for each in file["valid"]:
        unsealed = _unsealed(file, each)
        bits = "".join(f"{byte:08b}" for byte in unsealed)[layout.header_bits :]
        assert bits.startswith(each["string"])
        assert set(bits[len(each["string"]) :]) <= {"0"}
        if not bits.startswith("111111"):
            modelled += 1
            name = each["said"]["message"]
            (message,) = (one for one in schema.messages if one.name == name)
            assert SpecDecoder(schema, message).decode(bits) == each["codes"]
    assert modelled >= 2


def _unsealed(file: Any, entry: Any) -> bytes:
    """Header and payload, by nothing of ours under a seal."""
    frame = bytes.fromhex(entry["frame"])
    if "key" not in entry:
        return frame[: -layout_of(file).check.octets]
    stranger = GuardedStranger(file["schema"], file["species"])
    stranger.key, stranger.expected, stranger.also = entry["key"], 0, {}
    # What the header does not say: the message's code; and the length.
    unsent = bytes.fromhex(file["identity"]) + bytes(5) + len(frame).to_bytes(2, "big")
    return stranger.verified(frame, unsent, entry["said"]["station"], entry["said"]["sequence"])


def test_what_no_encoder_makes_is_refused(file: Any) -> None:
    codec = codec_of(file)
    assert len(file["invalid"]) > 3
    for each in file["invalid"]:
        with pytest.raises(DecodeError) as refused:
            codec.decode(bytes.fromhex(each["frame"]))
        assert refused.value.reason == each["reason"]


def test_the_files_cover_kinds_contexts_centres_checks_and_reasons() -> None:
    files = [document(path.name) for path in FILES]
    layouts = [codec_of(each).layout for each in files]
    fields = [message.fields for layout in layouts for message in layout.schema.messages]
    assert {kind for each in fields for kind in kinds_in(each)} == KINDS
    tables = [
        table for layout in layouts for table in (layout.schema.models or Models((), ())).tables
    ]
    assert {name for table in tables for name in table.contexts} == set(CONTEXTS)
    assert {table.around for table in tables} == set(AROUND)
    assert {file["check"] for file in files} == {"crc24", "crc32", "ccm4"}
    assert {each["reason"] for file in files for each in file["invalid"]} == set(Reason)


def test_the_cases_cover_both_forms() -> None:
    [plain] = [each for each in document("sightings.json")["valid"] if "plain" in each["about"]]
    assert plain["string"].startswith("111111")
    general, own = document("hours.json"), document("models.json")
    assert general["identity"] != own["identity"]
    assert [each["codes"] for each in general["valid"]] == [each["codes"] for each in own["valid"]]
