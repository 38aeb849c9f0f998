"""Modelled coding in C: the tables of a schema, and for every message straight code around them.

`c_told` says what is known of a message while it is coded and `c_past` how it is looked up; `c_say`
and `c_hear` write the walk over a message in either direction, on what `c_walk` has in common;
`c_plain` is fixed coding through the same coder; `c_pack` and `c_unpack` make payloads of it all.
`c_compact` is a smaller form of the encoder, for messages whose shape allows it.
templates/c_coder.c holds the range coder.
"""

from collections.abc import Iterator

from packcodec.codec.modelled.coder import ROOM_ROWS, SURE_BITS
from packcodec.codec.modelled.defaults import EVEN
from packcodec.emit.c_compact import Compact
from packcodec.emit.c_compact_hear import CompactHear
from packcodec.emit.c_compact_shape import fits
from packcodec.emit.c_header import INDENT, function
from packcodec.emit.c_hear import Hear
from packcodec.emit.c_pack import sending
from packcodec.emit.c_past import shared
from packcodec.emit.c_say import Say
from packcodec.emit.c_size import Sizes
from packcodec.emit.c_tables import MOST_LOGIT, Tables
from packcodec.emit.c_told import Told
from packcodec.emit.c_types import CNames
from packcodec.emit.c_unpack import receiving
from packcodec.emit.modelled_table import add_models
from packcodec.emit.names import Names
from packcodec.emit.table import table
from packcodec.layout.model import Layout, MessageLayout


class Models:
    """The code of a schema's messages, and the tables that it names."""

    def __init__(self, layout: Layout, names: CNames) -> None:
        self.layout = layout
        self.names = names
        data = table(layout)
        add_models(data, layout)
        self.tables = Tables(data["known"])
        keys = Names(each.name for each in layout.messages)
        self.told = {
            each.name: Told(each, said, names, self.tables, keys)
            for each, said in zip(layout.messages, data["messages"], strict=True)
        }
        parts = [part for told in self.told.values() for part in told.parts]
        places = [place for part in parts for place in part.places()]
        entries = [entry for part in parts for entry in part.said["fields"]]
        codes = [1 << len(each["flags"]) if "flags" in each else each["codes"] for each in entries]
        self.wide = max(codes, default=1) > 1 << 32
        self.classed = max((int(p["codes"]) for p in places if p["rows"]), default=1)

    def message(self, each: MessageLayout) -> Iterator[str]:
        """All that one message needs, for both directions."""
        told = self.told[each.name]
        yield from told.structs()
        yield from shared(told)
        yield ""
        say = Say(told, wide=self.wide)
        if fits(told, say, self.layout):
            compact = Compact(told, say, each, self.layout)
            yield from compact.function()
            yield from receiving(told, CompactHear(told, compact, wide=self.wide), packs=False)
            return
        yield from Sizes(each, self.names).function()
        yield from sending(told, say, each)
        yield from receiving(told, Hear(told, wide=self.wide), packs=True)
        yield ""
        call, name, macro = self.names.prefix, each.name, self.names.payload_bytes[each.name]
        yield f"enum {call}_result {call}_encode_{name}("
        yield f"{INDENT}const struct {told.struct.tag} *message, uint8_t *payload, size_t *bits)"
        yield "{"
        yield f"{INDENT}return pack_{name}(message, 0u, {macro}, payload, bits);"
        yield "}"

    def packs(self, each: MessageLayout) -> bool:
        """Whether a message has a function that packs it after a header, for a given length."""
        told = self.told[each.name]
        return not fits(told, Say(told, wide=self.wide), self.layout)

    def constants(self, body: str) -> Iterator[str]:
        """What stands before the functions: the tables, and what looks things up in them."""
        helpers = [
            line
            for key, helper in (
                ("position_of", self._position),
                ("share_of_no", self._share_of_no),
            )
            if f"{key}(" in body
            for line in ("", *helper())
        ]
        yield from self.tables.lines
        if "KNOWN_COUNT" in body + "\n".join(helpers):
            yield f"static const unsigned KNOWN_COUNT = {len(self.tables.known)};"
        yield from helpers
        yield ""

    def filled(self, text: str) -> str:
        """A template's text for this schema."""
        in_class = "code & (((@code@)1 << width) - 1u)"
        put, alike = (
            f"put(to, (uint32_t)({in_class}), width);",
            ("alike(to, (uint32_t)(last - first) + 1u, (uint32_t)(code - first));"),
        )
        if self.classed > 1 << 18:  # classes of more than 2^16 codes
            put = f"put_long(to, {in_class}, width);"
            alike = "alike_long(to, last - first, code - first);"
        values = {
            "@put@": put,
            "@alike@": alike,
            "@code@": "uint64_t" if self.wide else "uint32_t",
            "@last_row@": str(ROOM_ROWS - 1),
            "@sure@": str(SURE_BITS),
        }
        for key, value in values.items():
            text = text.replace(key, value)
        return text

    def _position(self) -> list[str]:
        if self.tables.counted:
            lines = ["return species < KNOWN_COUNT ? (unsigned)species : KNOWN_COUNT;"]
        else:
            known = self.tables.known_species()
            lines = [
                "unsigned first = 0, end = KNOWN_COUNT;",
                "",
                "while (first < end) {",
                "    const unsigned middle = (first + end) / 2u;",
                "",
                f"    if ({known}[middle] < species) {{",
                "        first = middle + 1u;",
                "    } else {",
                "        end = middle;",
                "    }",
                "}",
                f"return first < KNOWN_COUNT && {known}[first] == species ? first : KNOWN_COUNT;",
            ]
        return function(
            "Where a species stands among the known; KNOWN_COUNT if it is none of them.",
            "unsigned position_of(uint32_t species)",
            lines,
        )

    def _share_of_no(self) -> list[str]:
        odds, even = self.tables.odds(), 2 * EVEN
        least, most = even - MOST_LOGIT, even + MOST_LOGIT
        return function(
            "The share of no where two bytes together say how likely yes is.",
            "uint16_t share_of_no(unsigned both)",
            [
                f"both = both > {least}u ? both : {least}u;",
                f"return {odds}[(both < {most}u ? both : {most}u) - {least}u];",
            ],
        )
