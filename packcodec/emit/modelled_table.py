"""The tables of modelled coding as plain data, beside the fields of `table` that they belong to.

Every field gets what a walk over a message does there (spec/modelled-coding.md): its part, its
places with their rows as hexadecimal, and what may choose a row.
"""

from typing import Any

from packcodec.codec.modelled.defaults import default_species
from packcodec.codec.modelled.place import RANK, Spot
from packcodec.codec.modelled.walk import DAY_S, Walk
from packcodec.layout.model import Layout
from packcodec.schema.model import Duration, Field, ListOf, Message, SpeciesCode, Time
from packcodec.schema.models import Models, PlaceTable


class _Recorder(Walk):
    """A walk that remembers which table every place got."""

    def __init__(self, layout: Layout, message: Message, models: Models) -> None:
        self.found: dict[str, tuple[Spot, PlaceTable]] = {}
        super().__init__(message, layout.schema, models)

    def table(self, spot: Spot) -> PlaceTable:
        found = super().table(spot)
        self.found[spot.path] = (spot, found)
        return found


def add_models(data: dict[str, Any], layout: Layout) -> None:
    """Give the messages and fields of a `table` their models."""
    models = layout.schema.models or Models(default_species(layout.schema), ())
    data["known"] = list(models.species)
    for message, said in zip(layout.messages, data["messages"], strict=True):
        walk = _Recorder(layout, message.message, models)
        _fields(walk, message.message.fields, said, walk.path, listed=False)
        said["most_bytes"] = message.most_frame_bytes


def _fields(
    walk: _Recorder, fields: tuple[Field, ...], said: dict[str, Any], path: str, *, listed: bool
) -> None:
    species = [at for at, f in enumerate(fields) if isinstance(f, SpeciesCode) and not f.optional]
    said["species_at"] = species[0] if listed and len(species) == 1 else None
    for at, (f, entry) in enumerate(zip(fields, said["fields"], strict=True)):
        inner = f"{path}.{f.name}"
        if f.optional:
            entry["presence"] = _place(walk, f"{inner}?", at, "presence", said)
        entry |= _part(walk, f, inner, at, said)
        if isinstance(f, ListOf):
            _fields(walk, f.fields, entry, f"{inner}[]", listed=True)


def _part(
    walk: _Recorder, field: Field, path: str, at: int, group: dict[str, Any]
) -> dict[str, Any]:
    rows = {role: _rows(walk, f"{path} {role}") for role in ("new", "more", "set")}
    match field:
        case ListOf():
            chosen = {role: _rows(walk, f"{path} {role}") for role in ("there", "age")}
            count = _place(walk, f"{path} count", at, "count", group)
            return {"part": "list", "count": count, **rows, **chosen}
        case SpeciesCode():
            rank = f"{path} {RANK}"
            recent = _place(walk, rank, at, "rank", group) if rank in walk.found else None
            return {"part": "species", "recent": recent, **rows}
        case Time(step_s=step_s, span_s=span_s, beyond=beyond) if path not in walk.found:
            hour = f"{path} hour"
            return {
                "part": "start",
                "an_hour": 3600 // step_s,
                "known": beyond == "reject" or span_s % DAY_S == 0,
                "hour": _place(walk, hour, at, "code", group) if hour in walk.found else None,
            }
        case Duration(step_s=step_s) if field.since:
            gap = {"part": "gap", "step_s": int(step_s)}
            return gap | {"value": _place(walk, path, at, "code", group)}
        case _:
            return {"part": "value", "value": _place(walk, path, at, "code", group)}


def _rows(walk: _Recorder, path: str) -> list[str]:
    return [row.hex() for row in walk.found[path][1].rows] if path in walk.found else []


def _place(walk: _Recorder, path: str, at: int, get: str, group: dict[str, Any]) -> dict[str, Any]:
    spot, table = walk.found[path]
    fields = group["fields"]
    said = [n for n in range(at) if fields[n]["kind"] != "list"]
    return {
        "codes": spot.codes,
        "get": get,
        "at": at,
        "contexts": list(table.contexts),
        "around": table.around,
        "centre": min(table.centre, spot.codes - 1),
        "kin": list(table.kin),
        "before": [[n, codes] for n, (_, codes) in zip(reversed(said), spot.before, strict=False)],
        "rows": [row.hex() for row in table.rows],
    }
