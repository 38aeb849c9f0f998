"""Explaining modelled frames: every value told, and every bit of information put to a field."""

import re
from dataclasses import replace

import pytest
from every_kind import EVERY, VALUES
from model_tables import with_models

from packcodec.frame import Codec
from packcodec.frame.explain import explain
from packcodec.layout import compile_layout
from packcodec.schema.model import Schema


@pytest.mark.parametrize("seed", range(5))
@pytest.mark.parametrize(("schema", "values"), list(zip(EVERY, VALUES, strict=True)))
def test_the_costs_of_the_fields_are_the_cost_of_the_payload(
    schema: Schema, values: dict[str, object], seed: int
) -> None:
    schema = replace(schema, coding="modelled")
    codec = Codec(compile_layout(with_models(schema, seed) if seed else schema))
    frame = codec.encode({"message": "m", "values": values}, station=1, sequence=2)
    explained = explain(codec, frame)
    assert explained.fault == ""
    assert "".join(part.bits for part in explained.parts) == "".join(
        f"{byte:08b}" for byte in frame
    ) or any("plain" in part.meaning for part in explained.parts)
    names = [part.name for part in explained.parts]
    assert set(values) <= {name.split("[")[0].rstrip("?") for name in names}
    [payload] = [part for part in explained.parts if part.name == "payload"]
    if "plain" in payload.meaning:
        return
    total = float(re.match(r"[\d.]+", payload.meaning)[0])  # type: ignore[index]
    costs = [
        float(part.meaning.split()[0]) for part in explained.parts if part.name.startswith("cost")
    ]
    assert sum(costs) == pytest.approx(total, abs=0.01 * len(costs) + 0.01)


def test_a_damaged_frame_is_shown_as_far_as_it_goes() -> None:
    codec = Codec(compile_layout(replace(EVERY[0], coding="modelled")))
    frame = codec.encode({"message": "m", "values": VALUES[0]}, station=1, sequence=2)
    explained = explain(codec, frame[:-1] + bytes([frame[-1] ^ 1]))
    assert "failed check" in explained.fault
    assert [part.meaning for part in explained.parts if part.name == "payload"] == [
        "modelled, and cannot be read"
    ]
