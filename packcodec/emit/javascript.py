"""Layout → one ECMAScript 5 file: the layout's table and templates/javascript.js.

Numbers are doubles there, whole only up to 2^53: a field that needs more is refused.
"""

import json
from typing import Any

from packcodec.codec.modelled.payload import TAIL_BITS
from packcodec.emit.carry import must_be_open
from packcodec.emit.modelled_table import add_models
from packcodec.emit.table import lines, table
from packcodec.emit.templates import template
from packcodec.emit.text import comment_text
from packcodec.errors import LayoutError
from packcodec.layout.model import Layout

EXACT = 1 << 53
MOST_FLAGS = 52
_PAYLOAD, _BITS = "    /* @payload@ */\n", "    /* ---- Bits: "
_EMPTY = "var SCHEMA = null; /* @schema@ */"


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.js": …}.

    Raises LayoutError for a layout whose coding it cannot carry, or a field past 2^53.
    """
    must_be_open(layout, "JavaScript")
    schema = layout.schema
    data, modelled = table(layout), schema.coding == "modelled"
    for message in data["messages"]:
        _must_be_exact(message["fields"], f"message.{message['name']}", modelled)
    if modelled:
        add_models(data, layout)
    title = f"Schema {schema.name}, version {schema.version}: records to frames and back."
    text = template("javascript.js").replace("@title@", comment_text(title))
    text = text.replace("@identity@", layout.identity.hex())
    opening, *inner = _ending(data)
    literal = "\n".join([opening, *(f"    {line}" for line in inner)])
    head, rest = text.split(_PAYLOAD)
    payload, rest = rest.split(_BITS)
    if modelled:
        payload = template("javascript_modelled.js").replace("@tail_bits@", str(TAIL_BITS))
    whole = f"{head.replace(_EMPTY, f'var SCHEMA = {literal};')}{payload}{_BITS}{rest}"
    return {f"{schema.name}.js": whole}


def _ending(data: dict[str, Any]) -> list[str]:
    """The table's lines without the commas that ECMAScript 5 takes before a closing bracket."""
    text = list(lines(data, json.dumps))
    return [
        line[:-1] if line.endswith(",") and after.strip()[:1] in ("]", "}") else line
        for line, after in zip(text, [*text[1:], ""], strict=True)
    ]


def _must_be_exact(fields: list[dict[str, Any]], path: str, modelled: bool) -> None:
    for field in fields:
        place = f"{path}.{field['name']}"
        if field["kind"] == "list":
            _must_be_exact(field["fields"], f"{place}[]", modelled)
        elif field["kind"] == "flags" and modelled and len(field["flags"]) > MOST_FLAGS:
            raise LayoutError(
                f"has {len(field['flags'])} flags, and modelled coding here {MOST_FLAGS} at most",
                place=place,
                remedy="divide them among two fields",
            )
        elif field["kind"] == "integer":
            ends = (field["plus"], field["plus"] + field["codes"] - 1, field["codes"])
            if max(map(abs, ends)) >= EXACT:
                raise _too_wide(place)
        elif field["kind"] == "scaled":
            # Boundaries between steps are compared in halves of a step.
            furthest = abs(field["plus"]) + (field["codes"] + 1) * field["by"]
            if 2 * max(furthest, field["under"]) >= EXACT:
                raise _too_wide(place)


def _too_wide(place: str) -> LayoutError:
    return LayoutError(
        "needs whole numbers past 2^53, which JavaScript does not hold exactly",
        place=place,
        remedy="narrow its range or use a coarser step",
    )
