"""Test vectors of modelled coding: spec/vectors/modelled/*.json.

    python tools/modelled_vectors.py

Each file stands alone: schema, species table and models as text, the identity, frames with the
record they read as and the codes on the way, and frames with a right check that must be refused.
A file made again is the same, byte for byte.
"""

import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.record import to_json
from packcodec.errors import DecodeError
from packcodec.frame import Codec
from packcodec.layout import canonical_form, compile_layout
from packcodec.schema import read_schema

FOLDER = Path(__file__).parent.parent / "spec" / "vectors" / "modelled"

SPECIES = """code,label,scientific_name,kind,added
0,blank,,blank,
1,coot,Fulica atra,animal,
2,grey_heron,Ardea cinerea,animal,
3,otter,Lutra lutra,animal,
5,water_vole,Arvicola amphibius,animal,2027-06-01
"""

HEAD = """[schema]
name = "{name}"
version = 1
epoch = 2027-04-01T00:00:00Z
coding = "modelled"

[species]
file = "species.csv"
codes = 8

[frame]
tag_bits = 8
message_bits = 0
station_bits = 3
sequence_bits = 6
"""

SIGHTINGS = """
[message.sightings]
code = 0
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 172800 },
  { name = "seen", kind = "list", least = 1, most = 60, fields = [
    { name = "after", kind = "duration", step_s = 60, high_s = 61380, since = "previous" },
    { name = "species", kind = "species" },
    { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
  ] },
]
"""

HOURS = """
[message.hours]
code = 0
fields = [
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject" },
  { name = "battery_mv", kind = "scaled", low = 2800, high = 4300, step = 20, optional = true },
  { name = "hours", kind = "list", least = 1, most = 24, fields = [
    { name = "after", kind = "duration", step_s = 3600, high_s = 82800, since = "previous" },
    { name = "rows", kind = "list", least = 0, most = 4, fields = [
      { name = "species", kind = "species" },
      { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
      { name = "first", kind = "duration", step_s = 60, high_s = 3540 },
      { name = "last", kind = "duration", step_s = 60, high_s = 3540 },
    ] },
  ] },
]
"""

MODELS = f"""species = [1, 2, 3]

[[table]]
path = "message.hours.battery_mv"
around = "centre"
centre = 55
rows = ["{"f0e0d0c0b0a09080" + "70" * 7}"]

[[table]]
path = "message.hours.hours[].rows there"
contexts = ["hour"]
rows = ["606060", "687060", "807868", "807068", "786868", "807068", "887868", "686060"]

[[table]]
path = "message.hours.hours[].rows[].last"
contexts = ["kin"]
around = "before"
kin = "000102"
rows = [
  "f0e8e0d8d0c8c0b8b0a8a0989088",
  "f0f0e8e8e0e0d8d8d0d0c8c8c0c0",
  "808080808080808080808080f080",
  "80808080808080808080808080f0",
]
"""


@dataclass(frozen=True, slots=True)
class VectorFile:
    name: str
    about: str
    message: str
    models: str
    cases: tuple[tuple[str, dict[str, Any]], ...]


def sighting(after_min: int, species: str, individuals: int = 1) -> dict[str, Any]:
    return {"after": 60 * after_min, "species": species, "individuals": individuals}


def row(species: str, visits: int, first_min: int, last_min: int) -> dict[str, Any]:
    return {
        "species": species,
        "visits": visits,
        "first": 60 * first_min,
        "last": 60 * last_min,
    }


AT = "2027-04-02T05:31:00Z"
BURST = [sighting(0, "coot", 2), *([sighting(1, "coot", 2)] * 9), sighting(3, "otter")]
START = "2027-05-03T06:00:00Z"
LATER = [
    {"after": 0, "rows": [row("coot", 2, 4, 51), row("otter", 1, 12, 12)]},
    {"after": 3600, "rows": [row("coot", 1, 0, 59)]},
    {"after": 3600, "rows": []},
    {"after": 7200, "rows": [row("coot", 1, 30, 33), row("grey_heron", 1, 2, 40)]},
]
HOUR_CASES = (
    ("several hours", {"start": START, "battery_mv": 3900, "hours": LATER}),
    ("an empty hour", {"start": START, "battery_mv": None, "hours": [{"after": 0, "rows": []}]}),
    (
        "rows that do not ascend go by count",
        {
            "start": START,
            "battery_mv": 2800,
            "hours": [{"after": 0, "rows": [row("otter", 15, 59, 0), row("coot", 0, 0, 0)]}],
        },
    ),
    (
        "a species that the tables do not know",
        {
            "start": START,
            "battery_mv": 4300,
            "hours": [{"after": 82800, "rows": [row("water_vole", 1, 1, 2), row("#6", 3, 4, 5)]}],
        },
    ),
)
FILES = (
    VectorFile(
        "sightings",
        "A list that ends with the frame: gaps, species seen lately and new, general tables.",
        SIGHTINGS,
        "",
        (
            ("one", {"at": AT, "seen": [sighting(0, "coot")]}),
            ("a burst", {"at": AT, "seen": BURST}),
            (
                "all unlikely, so the payload is plain",
                {"at": AT, "seen": [sighting(1023, "#7", 8), sighting(1021, "blank", 7)] * 8},
            ),
            (
                "as many as there may be",
                {"at": AT, "seen": [sighting(n % 3, "otter", 1) for n in range(60)]},
            ),
        ),
    ),
    VectorFile("hours", "Sets of rows in a list of hours, general tables.", HOURS, "", HOUR_CASES),
    VectorFile("models", "The same with tables of their own.", HOURS, MODELS, HOUR_CASES),
)


def vectors() -> dict[str, str]:
    """{file name: text} of all vector files."""
    return {
        f"{file.name}.json": json.dumps(_document(file), indent=1, ensure_ascii=False) + "\n"
        for file in FILES
    }


def _document(file: VectorFile) -> dict[str, Any]:
    toml = HEAD.format(name=file.name) + file.message
    if file.models:
        toml += '\n[models]\nfile = "models.toml"\n'
    codec = Codec(compile_layout(read_schema(toml, SPECIES, models_toml=file.models)))
    [payload] = codec.payloads.values()
    assert isinstance(payload, ModelledPayload)
    valid = [_valid(codec, payload, *case) for case in file.cases]
    return {
        "about": file.about,
        "schema": toml,
        "species": SPECIES,
        "models": file.models,
        "canonical": canonical_form(codec.schema),
        "identity": codec.layout.identity.hex(),
        "check": codec.layout.check.name,
        "valid": valid,
        "invalid": list(_invalid(codec, [bytes.fromhex(each["frame"]) for each in valid])),
    }


def _valid(
    codec: Codec, payload: ModelledPayload, about: str, values: dict[str, Any]
) -> dict[str, Any]:
    said = {"message": payload.message.name, "station": 3, "sequence": 5, "values": values}
    frame = codec.encode(said)
    x, bits = payload.pack_bits(*payload.ordered(values))
    return {
        "about": about,
        "said": said,
        "codes": payload.tree(values),
        "string": format(x, f"0{bits}b") if bits else "",
        "frame": frame.hex(),
        "read": to_json(codec.decode(frame).to_json()),
    }


def _invalid(codec: Codec, frames: list[bytes]) -> Any:
    """Payloads that no encoder makes, in frames whose check is right."""
    octets = codec.layout.check.octets
    for frame in frames:
        data = frame[:-octets]
        for about, changed in (
            ("a zero byte more", data + b"\0"),
            ("a byte of ones more", data + b"\xff"),
            ("the last byte less", data[:-1]),
            ("the last bit", data[:-1] + bytes([data[-1] ^ 1])),
        ):
            whole = changed + codec.check(changed, 0, 3).to_bytes(octets, "big")
            try:
                codec.decode(whole)
            except DecodeError as error:
                yield {"about": about, "frame": whole.hex(), "reason": int(error.reason)}


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in vectors().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
        print(FOLDER / name)


if __name__ == "__main__":
    main()
