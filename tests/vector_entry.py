"""What an entry of a vector file says beside its frame, as a codec takes it."""

from collections.abc import Mapping
from datetime import datetime
from typing import Any

from packcodec.frame.codec import Codec, Opened
from packcodec.frame.repair import Ring
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout
from packcodec.layout.model import Layout
from packcodec.schema import read_schema
from packcodec.schema.model import Schema


def layout_of(file: Mapping[str, Any]) -> Layout:
    models = file.get("models", "")
    return compile_layout(read_schema(file["schema"], file["species"], models_toml=models))


def station_named(schema: Schema, entry: Mapping[str, Any]) -> int:
    """The station that the frame names, or the carrier; 0 where the frame is too short to."""
    widths = schema.frame
    if not widths.station_bits:
        return int(entry["carried"]["station"])
    bits = "".join(format(byte, "08b") for byte in bytes.fromhex(entry["frame"]))
    start = widths.tag_bits + widths.message_bits
    return int(bits[start : start + widths.station_bits] or "0", 2)


def codec_of(layout: Layout, entry: Mapping[str, Any]) -> Codec:
    """A codec that has the entry's key, if any, for the station that its frame names."""
    if "key" not in entry:
        return Codec(layout)
    station = station_named(layout.schema, entry)
    return Codec(layout, {station: Key(bytes.fromhex(entry["key"]))})


def beside(schema: Schema, entry: Mapping[str, Any]) -> dict[str, Any]:
    """The arguments of `Codec.open` beside the frame."""
    said = dict(entry.get("carried", {}))
    if entry.get("received"):
        said["received"] = datetime.fromisoformat(entry["received"])
    if "expected" in entry:
        said["expected"] = {station_named(schema, entry): entry["expected"]}
    return said


def ring_before(layout: Layout, entry: Mapping[str, Any], counter: int) -> Ring | None:
    """The ring that the entry's frame with this counter passes, if it passes one."""
    if layout.repair is None or "ring" not in entry:
        return None
    first = counter - len(entry["ring"])
    sources = {first + at: bytes.fromhex(each) for at, each in enumerate(entry["ring"])}
    return Ring.resumed(layout.repair, entry["said"]["station"], sources, counter)


def passes_on(before: Mapping[str, Any] | None, entry: Mapping[str, Any]) -> bool:
    """Whether the ring that `before` has passed is the one that `entry` must find."""
    if before is None or before["said"]["station"] != entry["said"]["station"]:
        return False
    follows = before["said"]["sequence"] + 1 == entry["said"]["sequence"]
    return follows or not entry["ring"]


def again(entry: Mapping[str, Any]) -> dict[str, Any]:
    """The record read, with as much of its counter as is known, as an encoder takes it."""
    read = entry["read"]
    record = {name: read[name] for name in ("message", "station", "sequence", "values")}
    return {**record, "sequence": read.get("counter", read["sequence"])}


def told(opened: Opened) -> dict[str, Any]:
    """What a decoder must say of an opened frame."""
    said: dict[str, Any] = opened.record.to_json()
    if opened.counter is not None:
        said["counter"] = opened.counter
    if opened.repair is not None:
        said["repair"] = {"held": opened.repair.held, "symbol": opened.repair.symbol.hex()}
    return said
