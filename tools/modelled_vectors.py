"""Test vectors of modelled coding: spec/vectors/modelled/*.json.

    python tools/modelled_vectors.py

Each file stands alone: schema, species table and models as text, the identity, frames with the
record they read as and the codes on the way, and frames with a right check that must be refused.
A file made again is the same, byte for byte.
"""

import json
from collections.abc import Iterator
from hashlib import sha256
from pathlib import Path
from typing import Any

from modelled_vector_cases import FILES, HEAD, SPECIES, Drawn, VectorFile
from vector_beside import WARNING

from packcodec.codec.modelled.history import HOUR_ROWS
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import Classes
from packcodec.codec.modelled.walk import Walk
from packcodec.codec.record import to_json
from packcodec.errors import DecodeError
from packcodec.frame import Codec
from packcodec.frame.seal import Key
from packcodec.layout import canonical_form, compile_layout
from packcodec.schema import read_schema
from packcodec.schema.models import Models, PlaceTable, models_text

STATION = 3
STRINGS = 48
FOLDER = Path(__file__).parent.parent / "spec" / "vectors" / "modelled"


def vectors() -> dict[str, str]:
    """{file name: text} of all vector files."""
    return {
        f"{file.name}.json": json.dumps(_document(file), indent=1, ensure_ascii=False) + "\n"
        for file in FILES
    }


def _document(file: VectorFile) -> dict[str, Any]:
    toml = HEAD.format(name=file.name, frame=file.frame) + file.message
    models = _models(toml, file) if file.drawn else file.models
    if models:
        toml += '\n[models]\nfile = "models.toml"\n'
    keys = {STATION: Key(bytes.fromhex(file.key))} if file.key else None
    codec = Codec(compile_layout(read_schema(toml, SPECIES, models_toml=models)), keys)
    key = {"key": file.key} if file.key else {}
    valid = [_valid(codec, *case) | key for case in file.cases]
    frames = [bytes.fromhex(each["frame"]) for each in valid]
    return {
        "about": file.about,
        **({"warning": WARNING} if file.key else {}),
        "schema": toml,
        "species": SPECIES,
        "models": models,
        "canonical": canonical_form(codec.schema),
        "identity": codec.layout.identity.hex(),
        "check": codec.layout.check.name,
        "valid": valid,
        "invalid": [each | key for each in _invalid(codec, frames)],
    }


class _Spots(Walk):
    """A walk that remembers every place, and the table it has by default."""

    def __init__(self, *given: Any) -> None:
        self.found: dict[str, tuple[Spot, PlaceTable]] = {}
        super().__init__(*given)

    def table(self, spot: Spot) -> PlaceTable:
        table = super().table(spot)
        self.found[spot.path] = (spot, table)
        return table


def _models(toml: str, file: VectorFile) -> str:
    """The models file of the drawn tables."""
    schema = read_schema(toml, SPECIES)
    found: dict[str, tuple[Spot, PlaceTable]] = {}
    for message in schema.messages:
        found |= _Spots(message, schema, Models(file.known, ())).found
    tables = {each.path: _drawn(each, *found[each.path], file.known) for each in file.drawn}
    return models_text(Models(file.known, tuple(tables[path] for path in sorted(tables))))


def _drawn(wanted: Drawn, spot: Spot, default: PlaceTable, known: tuple[int, ...]) -> PlaceTable:
    rows, symbols = len(default.rows), len(Classes(spot.codes))
    if spot.role == "new":
        rows = HOUR_ROWS if wanted.contexts else 1
    elif spot.role != "more":
        available, rows = spot.contexts({}), 1
        for name in wanted.contexts:
            rows *= available[name].size
    return PlaceTable(
        wanted.path,
        tuple(_bytes(f"{wanted.path} {row}", symbols) for row in range(rows)),
        wanted.contexts,
        wanted.around,
        wanted.centre,
        bytes(at % 4 for at, _ in enumerate(known)) if "kin" in wanted.contexts else b"",
    )


def _bytes(name: str, count: int) -> bytes:
    """Weights within a factor of four of the even one, by a hash of their name."""
    drawn = b"".join(sha256(f"{name} {part}".encode()).digest() for part in range(count // 32 + 1))
    return bytes(112 + each % 32 for each in drawn[:count])


def _valid(codec: Codec, about: str, values: dict[str, Any]) -> dict[str, Any]:
    (payload,) = (
        each
        for each in codec.payloads.values()
        if {field.name for field in each.message.message.fields} == set(values)
    )
    assert isinstance(payload, ModelledPayload)
    said = {"message": payload.message.name, "station": STATION, "sequence": 5, "values": values}
    frame = codec.encode(said)
    x, bits = payload.pack_bits(*payload.ordered(values))
    opened = codec.open(frame)
    counter = {} if opened.counter is None else {"counter": opened.counter}
    return {
        "about": about,
        "said": said,
        "codes": payload.tree(values),
        "string": format(x, f"0{bits}b") if bits else "",
        "frame": frame.hex(),
        "read": {**to_json(opened.record.to_json()), **counter},
    }


def _invalid(codec: Codec, frames: list[bytes]) -> Iterator[dict[str, Any]]:
    """Payloads that no encoder makes, in frames whose check is right; then other faults."""
    octets, widths = codec.layout.check.octets, codec.schema.frame
    if codec.layout.check.sealed:
        for about, changed in (each for frame in frames for each in _altered(frame)):
            yield from _fault(codec, about, changed)
        return
    for frame in frames:
        data = frame[:-octets]
        for about, changed in _altered(data):
            if 8 * len(changed) >= codec.layout.header_bits:
                yield from _fault(codec, about, _checked(codec, changed))
    header = frames[0][: -(-codec.layout.header_bits // 8)]
    for number in range(STRINGS):
        # What no encoder would think of: ranks that no species has, codes past the highest.
        text = sha256(f"{codec.schema.name} {number}".encode()).digest()[: 1 + number % 12]
        yield from _fault(codec, f"string {number} of any bits", _checked(codec, header + text))
    data = frames[0][:-octets]
    if widths.message_bits:
        yield from _fault(codec, "message code 0", _checked(codec, _header(codec, data, 0)))
        # Six ones, and a plain payload whose first code is past its range.
        plain = (data[0] << 16 | data[1] << 8 | data[2]) >> 3 << 43 | (1 << 43) - 1
        yield from _fault(codec, "a code past its range", _checked(codec, plain.to_bytes(8, "big")))
    for about, frame in (
        ("no bytes", b""),
        ("a bit of the tag", bytes([frames[0][0] ^ 128]) + frames[0][1:]),
        ("a bit of the check", frames[0][:-1] + bytes([frames[0][-1] ^ 1])),
    ):
        yield from _fault(codec, about, frame)


def _altered(data: bytes) -> tuple[tuple[str, bytes], ...]:
    return (
        ("a zero byte more", data + b"\0"),
        ("a byte of ones more", data + b"\xff"),
        ("the last byte less", data[:-1]),
        ("the last bit", data[:-1] + bytes([data[-1] ^ 1])),
    )


def _fault(codec: Codec, about: str, frame: bytes) -> Iterator[dict[str, Any]]:
    """The frame and why it is refused; nothing if it happens to be a right one."""
    try:
        codec.decode(frame)
    except DecodeError as error:
        yield {"about": about, "frame": frame.hex(), "reason": int(error.reason)}


def _checked(codec: Codec, data: bytes) -> bytes:
    return data + codec.check(data, 0, STATION).to_bytes(codec.layout.check.octets, "big")


def _header(codec: Codec, data: bytes, code: int) -> bytes:
    """The data under another message code."""
    widths = codec.schema.frame
    shift = 8 * len(data) - widths.tag_bits - widths.message_bits
    mask = ((1 << widths.message_bits) - 1) << shift
    return (int.from_bytes(data, "big") & ~mask | code << shift).to_bytes(len(data), "big")


def main() -> None:
    FOLDER.mkdir(parents=True, exist_ok=True)
    for name, text in vectors().items():
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")
        print(FOLDER / name)


if __name__ == "__main__":
    main()
