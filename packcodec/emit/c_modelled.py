"""Modelled coding in C: the tables of a schema as constants, and the functions around the walk.

templates/c_modelled.c holds the walk itself, which is the same for every schema. What it remembers
of a packet stands in a struct that the caller provides.
"""

from collections.abc import Iterator, Sequence
from typing import Any

from packcodec.codec.modelled.payload import TAIL_BITS
from packcodec.codec.modelled.tables import OCTAVE, cumulative, odds
from packcodec.codec.modelled.walk import LEAST_MORE
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_types import CNames
from packcodec.emit.modelled_table import add_models
from packcodec.emit.table import table
from packcodec.emit.templates import template
from packcodec.emit.text import broken
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout

PARTS = {"value": "VALUE", "start": "START", "gap": "GAP", "species": "SPECIES", "list": "LIST"}
BY = {"hour": "HOUR", "previous": "PREVIOUS", "last": "LAST", "kin": "KIN", "active": "ACTIVE"}
NEAR = {"before": 0, "before_2": 1, "before_3": 2}
NO_FIELD = 0xFF
# The template's functions begin here, and the tables stand before them.
_FIRST = "/* The walk ends after this;"


class Models:
    """The constants of a schema's models, each written once, and the groups they hang on."""

    def __init__(self, layout: Layout, names: CNames) -> None:
        self.layout = layout
        self.names = names
        self.data = table(layout)
        add_models(self.data, layout)
        self.lines: list[str] = []
        self._written: dict[tuple[str, str], str] = {}
        self.histories = 1
        self.most_seen = 1
        self.groups = {
            message["name"]: self._named_group(message) for message in self.data["messages"]
        }

    @property
    def moment(self) -> str:
        """The type of moments: seconds from a packet's first day on, and numbers of elements."""
        most = max(_longest_s(message["fields"], 1) for message in self.data["messages"])
        return "uint32_t" if most < 1 << 31 else "uint64_t"

    def tail(self, name: str) -> str:
        """Whether a message's size depends on its room, as C says it."""
        (message,) = (each for each in self.data["messages"] if each["name"] == name)
        ends = any(each["part"] == "list" and each["more"] for each in message["fields"])
        return "true" if ends else "false"

    def source(self) -> Iterator[str]:
        """The constants and the walk."""
        known = self.data["known"]
        yield f"#define HISTORIES {self.histories}u"
        text = template("c_modelled.c").replace("@call@", self.names.prefix)
        text = text.replace("@tail_bits@", str(TAIL_BITS)).replace("@moment@", self.moment)
        before, after = text.replace("@macro@", self.names.macro).split(_FIRST, 1)
        yield "/* The species that the tables know. */"
        yield f"static const unsigned KNOWN_COUNT = {len(known)};"
        yield from _array("uint16_t", "KNOWN", known or [0])
        yield "/* Of no and yes, the share of no, by how much likelier yes is: 8 is twice. */"
        shares = [odds(logit)[1] for logit in range(-15 * OCTAVE, 15 * OCTAVE + 1)]
        yield from _array("uint16_t", "ODDS", shares)
        yield ""
        yield before.rstrip("\n")
        yield ""
        yield from self.lines
        yield ""
        yield _FIRST + after.rstrip("\n")

    def _constant(self, kind: str, values: Sequence[object]) -> str:
        """The name of a constant array of those values."""
        shown = ", ".join(map(str, values))
        name = self._written.get((kind, shown))
        if name is None:
            name = f"T{len(self._written)}"
            self._written[kind, shown] = name
            self.lines += _array(kind, name, values)
        return name

    def _rows(self, rows: list[str], least: int = 1) -> str:
        """Rows of cumulative frequencies, end to end, without the ends that all rows share."""
        inner = [each for row in rows for each in cumulative(bytes.fromhex(row), least)[1:-1]]
        return self._constant("uint16_t", inner or [0]) if rows else "NULL"

    def _named_group(self, group: dict[str, Any]) -> str:
        initialiser = self._group(group, 1)
        name = f"G{len(self._written)}"
        self._written["group", initialiser + name] = name
        self.lines.append(f"static const struct {self.names.prefix}_group {name} = {initialiser};")
        return name

    def _group(self, group: dict[str, Any], most: int) -> str:
        fields = [self._field(field, most, group) for field in group["fields"]]
        name = self._constant("struct field", fields)
        species = NO_FIELD if group["species_at"] is None else group["species_at"]
        return f"{{{name}, {len(fields)}, {species}, {group['clock_step_s']}u}}"

    def _field(self, field: dict[str, Any], most: int, group: dict[str, Any]) -> str:
        part = field["part"]
        flags = field["kind"] == "flags"
        bits = len(field["flags"]) if flags else field["bits"]
        last = (1 << bits) - 1 if flags else field["codes"] - 1
        place = field.get("value") or field.get("hour") or field.get("count")
        given = {
            "part": PARTS[part],
            "optional": int(field["optional"]),
            "width": bits,
            "known": int(field.get("known", False)),
            "step_s": f"{field.get('step_s', 0)}u" if part in ("start", "gap") else "0u",
            "an_hour": f"{field.get('an_hour', 0)}u",
            "last": literal(last),
            "presence": self._place(field.get("presence"), group),
            "place": self._place(place, group),
            "list": self._list(field, most) if part == "list" else "NULL",
            "recent": self._rows(field["recent"]) if part == "species" else "NULL",
            "fresh": self._fresh(field["new"]) if part == "species" else "NULL",
            "by_hour": int(len(field.get("new", ())) > 1),
        }
        return f"{{{', '.join(map(str, given.values()))}}}"

    def _fresh(self, rows: list[str]) -> str:
        starts = [start for row in rows for start in cumulative(bytes.fromhex(row))[:-1]]
        return self._constant("uint16_t", starts)

    def _list(self, field: dict[str, Any], most: int) -> str:
        number, total = self.histories, most * field["most"]
        self.histories += 1
        if field["species_at"] is not None:
            self.most_seen = max(self.most_seen, min(total, self.data["species_codes"]))
        there = [byte for row in field["there"] for byte in bytes.fromhex(row)]
        age = list(bytes.fromhex(field["age"][0])) if field["set"] else []
        parts = [
            self._group(field, total),
            str(field["least"]),
            str(field["most"]),
            str(number),
            str(int(len(field["there"]) > 1)),
            self._rows(field["set"]),
            self._constant("uint8_t", there or [0]) if field["set"] else "NULL",
            self._constant("uint8_t", age) if field["set"] else "NULL",
            self._rows(field["more"], LEAST_MORE),
        ]
        return self._pointer("struct list", f"{{{', '.join(parts)}}}")

    def _place(self, place: dict[str, Any] | None, group: dict[str, Any]) -> str:
        if place is None:
            return "NULL"
        contexts = [self._context(name, place) for name in place["contexts"]]
        around = place["around"]
        near = "NULL"
        if around not in ("none", "centre"):
            near = self._pointer("struct context", self._context(around, place))
        kin = (place["kin"] + [0] * len(self.data["known"]))[: len(self.data["known"])]
        parts = [
            literal(place["codes"] - 1),
            literal(place["centre"]),
            self._rows(place["rows"]),
            self._constant("struct context", contexts) if contexts else "NULL",
            near,
            self._constant("uint8_t", kin) if "kin" in place["contexts"] else "NULL",
            str(len(contexts)),
            str(int(around != "none")),
            str(place["at"]),
            "THE_PRESENCE" if place["get"] == "presence" else "THE_CODE",
        ]
        assert len(group["fields"]) < NO_FIELD
        return self._pointer("struct place", f"{{{', '.join(parts)}}}")

    def _context(self, name: str, place: dict[str, Any]) -> str:
        if name in NEAR:
            field, codes = place["before"][NEAR[name]]
            return f"{{BEFORE, {field}, {literal(codes - 1)}}}"
        return f"{{{BY[name]}, 0, {literal(place['codes'] - 1)}}}"

    def _pointer(self, kind: str, initialiser: str) -> str:
        return self._constant(kind, [initialiser])


def _longest_s(fields: list[dict[str, Any]], most: int) -> int:
    """How far the clock of a packet can get, with room for a few steps of it more."""
    total = most
    for field in fields:
        if field["part"] == "list":
            total += _longest_s(field["fields"], most * field["most"])
        elif "step_s" in field:
            total += most * (field["codes"] + 4) * field["step_s"]
    return total


def _array(kind: str, name: str, values: Sequence[object]) -> list[str]:
    start = f"static const {kind} {name}[{len(values)}] = {{"
    return list(broken(start, map(str, values), ", ", "};"))


def work_struct(layout: Layout, names: CNames) -> Iterator[str]:
    """What the caller provides: all that a walk remembers."""
    models = Models(layout, names)
    call = names.prefix
    most = max(each.body.most_bits for each in layout.messages)
    fixed = max(1, (most + 7) // 8)
    coded = (layout.header_bits + PLAIN_BITS + most + 7) // 8 + 6
    yield "/* ---- What coding a message needs to remember: reserve one, and pass it on. */"
    yield f"struct {call}_group;"
    yield f"struct {call}_seen {{"
    yield f"{INDENT}uint16_t species, start, seen_in, known;"
    yield f"{INDENT}{models.moment} when;"
    yield "};"
    yield f"struct {call}_history {{"
    yield f"{INDENT}uint16_t previous, elements, instances, count;"
    yield f"{INDENT}struct {call}_seen seen[{models.most_seen}];"
    yield "};"
    yield f"struct {call}_level {{"
    yield f"{INDENT}const struct {call}_group *group;"
    yield f"{INDENT}uint32_t given;"
    yield f"{INDENT}uint16_t start, count_at;"
    yield f"{INDENT}uint8_t history, field, wanted, done, known;"
    yield f"{INDENT}bool by_set;"
    yield f"{INDENT}uint8_t set[16];"
    yield "};"
    yield f"struct {call}_work {{"
    yield f"{INDENT}const uint8_t *source;"
    yield f"{INDENT}size_t source_at, bits, coded_bits, room, end;"
    yield f"{INDENT}{models.moment} start_s, elapsed_s;"
    yield f"{INDENT}uint32_t low, range;"
    yield f"{INDENT}enum {call}_result fault;"
    yield f"{INDENT}uint16_t shifts;"
    yield f"{INDENT}uint8_t level;"
    yield f"{INDENT}bool encoding, started;"
    yield f"{INDENT}struct {call}_level levels[3];"
    yield f"{INDENT}struct {call}_history histories[{models.histories}];"
    yield f"{INDENT}uint8_t fixed[{fixed}];"
    yield f"{INDENT}uint8_t coded[{coded}];"
    yield "};"


def functions(each: MessageLayout, models: Models) -> Iterator[str]:
    """Around one message's walk: to a payload, and from one."""
    names = models.names
    call, macro, name = names.prefix, names.macro, each.name
    tag = names.structs[name].tag
    walk = f"work, &{models.groups[name]}"
    yield f"static enum {call}_result pack_{name}("
    yield f"{INDENT}struct {call}_work *work, const struct {tag} *message, size_t header,"
    yield f"{INDENT}uint8_t *payload, size_t *bits)"
    yield "{"
    yield f"{INDENT}const enum {call}_result result = fixed_{name}(message, work->fixed, bits);"
    yield ""
    yield f"{INDENT}if (result == {macro}_OK) {{"
    yield f"{INDENT * 2}pack({walk}, {models.tail(name)}, *bits, header);"
    yield f"{INDENT * 2}memcpy(payload, work->coded, (work->coded_bits + 7u) / 8u);"
    yield f"{INDENT * 2}*bits = work->coded_bits;"
    yield f"{INDENT}}}"
    yield f"{INDENT}return result;"
    yield "}"
    yield ""
    yield f"static enum {call}_result unpack_{name}("
    yield f"{INDENT}struct {call}_work *work, struct {tag} *message, size_t header)"
    yield "{"
    yield f"{INDENT}struct reader from;"
    yield f"{INDENT}enum {call}_result result;"
    yield f"{INDENT}size_t bits;"
    yield ""
    yield f"{INDENT}if (unpack({walk})) {{"
    yield f"{INDENT * 2}from.octets = work->fixed;"
    yield f"{INDENT * 2}from.at = 0;"
    yield f"{INDENT * 2}from.left = work->end;"
    yield f"{INDENT * 2}bits = work->end;"
    yield f"{INDENT * 2}result = work->fault;"
    yield f"{INDENT * 2}if (result == {macro}_OK) {{"
    yield f"{INDENT * 3}result = read_{name}(&from, message);"
    yield f"{INDENT * 2}}}"
    yield f"{INDENT}}} else {{"
    yield f"{INDENT * 2}from.octets = work->source;"
    yield f"{INDENT * 2}from.at = work->source_at + PLAIN_BITS;"
    yield f"{INDENT * 2}from.left = work->bits - PLAIN_BITS;"
    yield f"{INDENT * 2}result = read_{name}(&from, message);"
    yield f"{INDENT * 2}if (result == {macro}_OK) {{"
    yield f"{INDENT * 3}result = fixed_{name}(message, work->fixed, &bits);"
    yield f"{INDENT * 2}}}"
    yield f"{INDENT}}}"
    yield f"{INDENT}if (result != {macro}_OK) {{"
    yield f"{INDENT * 2}return result;"
    yield f"{INDENT}}}"
    yield f"{INDENT}pack({walk}, {models.tail(name)}, bits, header);"
    yield f"{INDENT}return is_same(work) ? {macro}_OK : {macro}_NOT_CANONICAL;"
    yield "}"
