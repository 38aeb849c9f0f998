"""Modelled coding in C: the tables of a schema, and for every message straight code around them.

`c_told` says what is known of a message while it is coded, `c_say` and `c_hear` write the walk over
it in either direction, and templates/c_coder.c holds the range coder. What is decoded is encoded
again and compared, so that each record has one payload.
"""

from collections.abc import Iterator

from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.codec.modelled.defaults import EVEN
from packcodec.codec.modelled.payload import ROOMY_BITS, TAIL_BITS
from packcodec.codec.modelled.walk import LEAST_MORE
from packcodec.emit.c_header import INDENT
from packcodec.emit.c_hear import Hear
from packcodec.emit.c_say import Say
from packcodec.emit.c_size import Sizes
from packcodec.emit.c_tables import MOST_LOGIT, Tables
from packcodec.emit.c_told import Part, Told
from packcodec.emit.c_types import CNames
from packcodec.emit.c_walk import shared
from packcodec.emit.modelled_table import add_models
from packcodec.emit.names import Names
from packcodec.emit.table import table
from packcodec.layout.model import Layout, MessageLayout

# A mark is set where about so many octets are left to say, so that the rows by room, which begin
# past it, and the bits by which the first size tried may be too small, lie behind it.
NEAR_OCTETS = -(-(ROOM_ROWS - 1 + TAIL_BITS + 16) // 8)


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
        self.moments_wide = any(told.moment == "uint64_t" for told in self.told.values())

    def message(self, each: MessageLayout) -> Iterator[str]:
        """All that one message needs, for both directions."""
        told = self.told[each.name]
        yield from told.structs()
        yield from shared(told)
        yield ""
        yield from Sizes(each, self.names).function()
        yield from self._encoding(each, told)
        yield from self._decoding(each, told)

    def constants(self, body: str) -> Iterator[str]:
        """What stands before the functions: the tables, and what looks things up in them."""
        helpers = [
            line
            for key, helper in (
                ("position_of", self._position),
                ("share_of", self._share_of),
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
            "@age@": "uint64_t" if self.moments_wide else "uint32_t",
            "@last_row@": str(ROOM_ROWS - 1),
            "@roomy@": f"0x{ROOMY_BITS:x}",
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
        return _function(
            "Where a species stands among the known; KNOWN_COUNT if it is none of them.",
            "unsigned position_of(uint32_t species)",
            lines,
        )

    def _share_of(self) -> list[str]:
        share = "(uint16_t)(starts[at + 1u] - starts[at])" if self.tables.known else "65536"
        lines = [f"return {share};"] if self.tables.known else ["(void)starts;", "(void)at;"]
        lines += [] if self.tables.known else ["return 65536;"]
        return _function(
            "What a species, or another than the known, has of 2^16.",
            "uint32_t share_of(const uint16_t *starts, unsigned at)",
            lines,
        )

    def _share_of_no(self) -> list[str]:
        odds, even = self.tables.odds(), 2 * EVEN
        least, most = even - MOST_LOGIT, even + MOST_LOGIT
        return _function(
            "The share of no where two bytes together say how likely yes is.",
            "uint16_t share_of_no(unsigned both)",
            [
                f"both = both > {least}u ? both : {least}u;",
                f"return {odds}[(both < {most}u ? both : {most}u) - {least}u];",
            ],
        )

    def _encoding(self, each: MessageLayout, told: Told) -> Iterator[str]:
        say = Say(told, wide=self.wide)
        say.part(told.message)
        if told.remembers:
            yield from _forget(told)
        yield ""
        yield f"struct {each.name}_said {{"
        yield f"{INDENT}struct coder to;"
        if told.remembers:
            yield f"{INDENT}struct {each.name}_past past;"
        if told.tail:
            yield f"{INDENT}size_t i; /* the next element of the tail */"
            yield f"{INDENT}uint8_t last; /* the last octet there is */"
        yield "};"
        yield from say.functions
        tag = told.struct.tag
        yield ""
        yield "/* Fixed coding, in the part of the first interval that is left free for it. */"
        yield f"static void plain_{each.name}(struct coder *to, const struct {tag} *message)"
        yield "{"
        yield f"{INDENT}to->low = FIRST_RANGE;"
        yield f"{INDENT}to->range = 0u - FIRST_RANGE;"
        yield f"{INDENT}to->shifts = 0;"
        plain = say.plain(each)
        yield from plain
        if "message->" not in "\n".join(plain):
            yield f"{INDENT}(void)message;"
        yield "}"
        if told.tail:
            yield from _head(told)
            yield from _copy(told)
            yield from self._tail(told, told.tail, say)
        yield from self._pack(each, told)

    def _tail(self, told: Told, tail: Part, say: Say) -> Iterator[str]:
        assert tail.field is not None
        name, least, most = told.name, tail.field.least, tail.field.most
        entry = told.message.said["fields"][-1]
        more = self.tables.sums(entry["more"], f"{tail.path} more, by room", LEAST_MORE)
        count = f"message->{told.struct.counts[tail.field.name]}"
        conditions = [f"i >= {least}u"] * (least > 0) + [f"i < {most}u"]
        yield ""
        yield "/* Send the tail for so much room; the bits of the string. Near its end a copy of"
        yield " * all that is known is left at `mark`, and from there on no octets are. */"
        yield f"static size_t tail_{name}(struct {name}_said *w,"
        yield f"{INDENT}const struct {told.struct.tag} *message, size_t room,"
        yield f"{INDENT}struct {name}_said *mark)"
        yield "{"
        lines = [
            "for (size_t i = w->i;; i++) {",
            f"    const size_t left = {count} - i;",
            "",
            f"    if (mark != NULL && (w->to.shifts + 1u) * left <= {NEAR_OCTETS}u * i",
            "        && w->to.shifts > 0u && w->to.shifts <= w->to.most) {",
            "        w->i = i;",
            "        w->last = w->to.octets[w->to.shifts - 1u];",
            f"        copy_{name}(mark, w);",
            "        w->to.most = 0;",
            "        mark = NULL;",
            "    }",
            f"    if ({' && '.join(conditions)}) {{",
            f"        symbol(&w->to, {more} + 2u * room_row(&w->to, room) + (left > 0u));",
            "    }",
            "    if (left == 0u) {",
            "        return end_string(&w->to);",
            "    }",
            f"    {say.called(tail, 'false')}",
            "}",
        ]
        yield from (INDENT + line if line else "" for line in lines)
        yield "}"

    def _pack(self, each: MessageLayout, told: Told) -> Iterator[str]:
        """From a message to its payload, modelled or plain, whichever takes fewer octets."""
        name, macro = each.name, self.names.macro
        yield ""
        yield "/* The payload after a header of so many bits; both have room for `limit` octets. */"
        yield f"static enum {self.names.prefix}_result pack_{name}("
        yield f"{INDENT}const struct {told.struct.tag} *message, size_t header, size_t limit,"
        yield f"{INDENT}uint8_t *payload, size_t *bits)"
        yield "{"
        body = _pack_tail(told, macro) if told.tail else _pack_all(told, macro)
        yield from (INDENT + line if line else "" for line in body)
        yield "}"

    def _decoding(self, each: MessageLayout, told: Told) -> Iterator[str]:
        hear = Hear(told, wide=self.wide)
        hear.part(told.message)
        name, tag, macro = each.name, told.struct.tag, self.names.macro
        yield ""
        yield f"struct {name}_heard {{"
        yield f"{INDENT}struct source from;"
        if told.remembers:
            yield f"{INDENT}struct {name}_past past;"
        yield "};"
        yield from hear.functions
        if told.tail:
            yield from self._tail_heard(told, told.tail, hear)
        yield ""
        yield "/* The message in a payload that begins at that bit; its octets run to `length`. */"
        yield f"static enum {self.names.prefix}_result unpack_{name}("
        yield f"{INDENT}const uint8_t *octets, size_t length, size_t at, struct {tag} *message)"
        yield "{"
        walk = f"hear_{name}(&w, message);"
        if told.tail:
            walk = f"tail_heard_{name}(&w, message, left);"
        body = [
            f"uint8_t again[{self.names.payload_bytes[name]} + 1u];",
            f"struct {name}_heard w;",
            f"enum {self.names.prefix}_result result;",
            "const size_t left = 8u * length - at;",
            "size_t bits;",
            "",
            "begin_reading(&w.from, octets, length, at);",
            "if (left >= PLAIN_BITS && w.from.value >= FIRST_RANGE) {",
            f"{INDENT}struct reader from = {{octets, at + PLAIN_BITS, left - PLAIN_BITS}};",
            "",
            f"{INDENT}result = read_{name}(&from, message);",
            "} else {",
            f"{INDENT}memset(message, 0, sizeof *message);",
            *([f"{INDENT}forget_{name}(&w.past);"] if told.remembers else []),
            f"{INDENT}{walk}",
            f"{INDENT}result = w.from.fault;",
            "}",
            f"if (result == {macro}_OK) {{",
            f"{INDENT}result = pack_{name}(message, at, length, again, &bits);",
            f"{INDENT}if (result != {macro}_OK || !is_same(again, bits, octets, length, at)) {{",
            f"{INDENT * 2}result = {macro}_NOT_CANONICAL;",
            f"{INDENT}}}",
            "}",
            "return result;",
        ]
        yield from (INDENT + line if line else "" for line in body)
        yield "}"

    def _tail_heard(self, told: Told, tail: Part, hear: Hear) -> Iterator[str]:
        assert tail.field is not None
        name, least, most = told.name, tail.field.least, tail.field.most
        entry = told.message.said["fields"][-1]
        more = self.tables.sums(entry["more"], f"{tail.path} more, by room", LEAST_MORE)
        count = f"message->{told.struct.counts[tail.field.name]}"
        read = f"get_symbol(&w->from, {more} + 2u * get_room_row(&w->from, room), 2u) == 0u"
        unless = f"i >= {least}u && " if least else ""
        lines = [
            f"hear_{name}(w, message);",
            f"for (size_t i = 0; i < {most}u && w->from.fault == {self.names.macro}_OK; i++) {{",
            f"    if ({unless}{read}) {{",
            "        break;",
            "    }",
            f"    {count} = (uint8_t)(i + 1u);",
            f"    {hear.called(tail, 'false')}",
            "}",
        ]
        yield ""
        yield f"static void tail_heard_{name}("
        yield f"{INDENT}struct {name}_heard *w, struct {told.struct.tag} *message, size_t room)"
        yield "{"
        yield from (INDENT + line if line else "" for line in lines)
        yield "}"


def _function(comment: str, head: str, lines: list[str]) -> list[str]:
    body = [INDENT + line if line else "" for line in lines]
    return [f"/* {comment} */", f"static {head}", "{", *body, "}"]


def _forget(told: Told) -> Iterator[str]:
    yield ""
    yield from _function(
        "Nothing is known of the message yet.",
        f"void forget_{told.name}(struct {told.name}_past *past)",
        list(told.reset()),
    )


def _head(told: Told) -> Iterator[str]:
    name = told.name
    forget = [f"forget_{name}(&w->past);"] if told.remembers else []
    yield ""
    yield from _function(
        "Send what stands before the tail.",
        f"void head_{name}(struct {name}_said *w, const struct {told.struct.tag} *message,\n"
        f"{INDENT}uint8_t *octets, size_t most)",
        [
            "begin(&w->to, octets, most);",
            *forget,
            f"say_{name}(w, message);",
            "w->i = 0;",
        ],
    )


def _pack_all(told: Told, macro: str) -> list[str]:
    name = told.name
    return [
        f"struct {name}_said w;",
        "size_t plain, most;",
        "",
        f"if (!size_{name}(message, &plain)) {{",
        f"    return {macro}_OUT_OF_RANGE;",
        "}",
        "most = (header + plain + 7u) / 8u;",
        "begin(&w.to, payload, (most < limit ? most : limit) - header / 8u);",
        *([f"forget_{name}(&w.past);"] if told.remembers else []),
        f"say_{name}(&w, message);",
        "*bits = end_string(&w.to);",
        "if (header + *bits > 8u * most) {",
        f"    plain_{name}(&w.to, message);",
        "    *bits = plain;",
        "}",
        "if (header + *bits > 8u * limit) {",
        f"    return {macro}_WRONG_LENGTH;",
        "}",
        "flush(&w.to, (*bits + 7u) / 8u);",
        f"return {macro}_OK;",
    ]


def _copy(told: Told) -> Iterator[str]:
    walk = f"struct {told.name}_said"
    parts = [f"to.{member}" for member in ("low", "range", "shifts", "most", "octets")]
    parts += ["past", "i", "last"] if told.remembers else ["i", "last"]
    yield ""
    yield from _function(
        "Part by part, which a compiler does in place.",
        f"void copy_{told.name}({walk} *to, const {walk} *of)",
        [f"to->{part} = of->{part};" for part in parts],
    )


def _pack_tail(told: Told, macro: str) -> list[str]:
    name = told.name
    return [
        f"struct {name}_said w, mark;",
        "size_t plain, most, kept, octets = 0, room = ENDLESS_BITS;",
        "",
        f"if (!size_{name}(message, &plain)) {{",
        f"    return {macro}_OUT_OF_RANGE;",
        "}",
        "most = (header + plain + 7u) / 8u;",
        "kept = (most < limit ? most : limit) - header / 8u;",
        "mark.i = 0;",
        "while (octets <= most && octets <= limit) {",
        "    size_t string;",
        "",
        "    if (mark.i == 0u) {",
        f"        head_{name}(&w, message, payload, kept);",
        "    } else {",
        f"        copy_{name}(&w, &mark);",
        "        take_back(payload, w.to.shifts, w.last);",
        "    }",
        f"    string = tail_{name}(&w, message, room, room == ENDLESS_BITS ? &mark : NULL);",
        "    if (room == ENDLESS_BITS) {",
        f"        octets = string > {TAIL_BITS}u ? header + string - {TAIL_BITS}u : header;",
        "        octets = (octets + 7u) / 8u;",
        "        if (mark.i > 0u && room_row(&mark.to, 8u * octets - header) < LAST_ROW) {",
        "            mark.i = 0; /* too near the end: from the beginning */",
        "        }",
        "    } else if (string <= room) {",
        "        /* The room belongs to what a tail means: its last octet is sent even if zero. */",
        "        *bits = string + 7u < room ? room - 7u : string;",
        "        flush(&w.to, (*bits + 7u) / 8u);",
        f"        return {macro}_OK;",
        "    } else {",
        "        octets++;",
        "    }",
        "    room = 8u * octets - header;",
        "}",
        "if (most > limit) {",
        f"    return {macro}_WRONG_LENGTH;",
        "}",
        "w.to.most = kept;",
        f"plain_{name}(&w.to, message);",
        "*bits = plain;",
        "flush(&w.to, (plain + 7u) / 8u);",
        f"return {macro}_OK;",
    ]
