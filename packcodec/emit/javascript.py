"""Layout → one ECMAScript 5 file: the layout's table and templates/javascript.js.

Numbers are doubles there, whole only up to 2^53: a field that needs more is refused.
"""

import json
from typing import Any

from packcodec.emit.carry import parts_of
from packcodec.emit.modelled_table import add_models
from packcodec.emit.table import lines, table
from packcodec.emit.templates import chosen, template
from packcodec.emit.text import comment_text
from packcodec.errors import LayoutError
from packcodec.layout.model import Layout

EXACT = 1 << 53
MOST_FLAGS = 52
# What stands where, without a seal or with one.
_MORE = {
    "told": ("", ", told"),
    "input": ("", ", input"),
    "crc": (", octets = SCHEMA.check_bits / 8, crc, at", ""),
    "more": (", crc = 0", ", counter"),
}
_CHECK, _PAYLOAD, _BITS = "    /* @check@ */\n", "    /* @payload@ */\n", "    /* ---- Bits: "
_EMPTY = "var SCHEMA = null; /* @schema@ */"


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.js": …}.

    Raises LayoutError for a field past 2^53, and in modelled coding for one of too many flags.
    """
    schema, parts = layout.schema, parts_of(layout)
    data, modelled = table(layout), schema.coding == "modelled"
    for message in data["messages"]:
        _must_be_exact(message["fields"], f"message.{message['name']}", modelled)
    if modelled:
        add_models(data, layout)
    title = f"Schema {schema.name}, version {schema.version}: records to frames and back."
    text = chosen(template("javascript.js"), parts).replace("@title@", comment_text(title))
    text = text.replace("@octets@", str(layout.check.octets))
    for place, said in _MORE.items():
        more = ", repair" if place == "more" and "repair" in parts else ""
        text = text.replace(f"@{place}@", said["sealed" in parts] + more)
    text = text.replace("@identity@", layout.identity.hex())
    opening, *inner = _ending(data)
    literal = "\n".join([opening, *(f"    {line}" for line in inner)])
    head, rest = text.split(_PAYLOAD)
    payload, rest = rest.split(_BITS)
    head, check = head.split(_CHECK)
    if layout.check.sealed:
        check = template("javascript_seal.js")
    if layout.repair is not None:
        check += template("javascript_repair.js")
    if modelled:
        payload = template("javascript_modelled.js")
    whole = f"{head.replace(_EMPTY, f'var SCHEMA = {literal};')}{check}{payload}{_BITS}{rest}"
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
