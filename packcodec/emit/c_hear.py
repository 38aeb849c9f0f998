"""Decoding in modelled coding: every place of a message read, straight on, into its struct."""

from typing import Any

from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.tables import MOST_ALONE, Classes
from packcodec.emit.c_decode import value_of
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_told import Part, is_gap
from packcodec.emit.c_types import CType, type_of
from packcodec.emit.c_walk import Walk
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Value

FROM = "&w->from"


class Hear(Walk):
    """Decoding."""

    verb, coder, const = "hear", "heard", ""

    def value(self, part: Part, at: int, depth: int) -> None:
        entry = part.said["fields"][at]
        code = self.place(part, entry["value"], depth)
        if not (self.told.clocked and is_gap(entry)):
            self.hold(part, at, code, depth)
            return
        self.add(depth, "{")
        self.add(depth + 1, f"const {self.code_type} code = {code};", "")
        self.hold(part, at, "code", depth + 1)
        self.add(depth + 1, self.advance(part, at, "code"))
        self.add(depth, "}")

    def hold(self, part: Part, at: int, code: str, depth: int) -> None:
        """Put the value of a code into its member."""
        field = part.fields[at]
        path = f"{part.path}.{field.name}"
        codes = codes_of(field, self.names.schema)
        place = Value(field, path, codes, (codes - 1).bit_length())
        code = f"(uint64_t){code}" if self.wide else code
        value = value_of(place, code, CType(64 if self.wide else 32), self.names)
        self.add(depth, f"{part.at}{part.struct.members[field.name]} = {value};")

    def presence(self, part: Part, at: int, depth: int) -> None:
        code = self.place(part, part.said["fields"][at]["presence"], depth)
        presence = part.struct.presence[part.fields[at].name]
        self.add(depth, f"{part.at}{presence} = {code} != 0u;")

    def place(self, part: Part, place: dict[str, Any], depth: int) -> str:
        """The code that is read by the table of its place."""
        codes = int(place["codes"])
        last = literal(codes - 1)
        if codes == 1:
            return "0u"
        if not place["rows"]:
            return self.alike(codes)
        classes = len(Classes(codes))
        row = self.table(part, place, classes, depth)
        code = f"get_by_class({FROM}, {row}, {classes}u, {last})"
        if codes <= MOST_ALONE:
            code = f"get_symbol({FROM}, {row}, {codes}u)"
        if place["around"] == "none":
            return code
        return f"unfold({code}, {self.centre(part, place, depth)}, {last})"

    def alike(self, codes: int) -> str:
        return f"get_alike({FROM}, {literal(codes - 1)})" if codes > 1 else "0u"

    def start(self, part: Part, at: int, depth: int) -> None:
        entry = part.said["fields"][at]
        codes = int(entry["codes"])
        keeps = self.told.hours and entry["known"]
        if entry["hour"] is None and not keeps:
            self.hold(part, at, self.alike(codes), depth)
            return
        if entry["hour"] is None:
            lines = [f"const {self.code_type} code = {self.alike(codes)};", ""]
        else:
            an_hour = int(entry["an_hour"])
            days = self.alike(codes // (24 * an_hour))
            lines = [
                f"{self.code_type} code = {days} * 24u;",
                "",
                f"code += {self.place(part, entry['hour'], depth)};",
            ]
            if an_hour > 1:
                lines += [f"code *= {an_hour}u;", f"code += {self.alike(an_hour)};"]
        self.add(depth, "{", *(INDENT + line if line else "" for line in lines))
        self.hold(part, at, "code", depth + 1)
        if keeps:
            step = literal(int(entry["step_s"]))
            self.add(depth + 1, f"w->past.start_s = ({self.told.seconds})code * {step};")
            self.add(depth + 1, "w->past.started = true;")
        self.add(depth, "}")

    # ---- Species

    def species(self, part: Part, at: int, depth: int) -> None:
        field, entry = part.fields[at], part.said["fields"][at]
        member = f"{part.at}{part.struct.members[field.name]}"
        kind = type_of(field, self.names.schema, part.path).name
        name = f"hear_{self.told.keys.give(f'new_{part.key}_{field.name}')}"
        own = part.species_at == at
        self._new(part, name, entry, own=own)
        hour = f", {self.hour()}" if len(entry["new"]) > 1 else ""
        new = f"{member} = ({kind}){name}(w{hour});"
        if not own:
            self.add(depth, new)
            return
        count = f"w->past.{part.key}_count"
        if part.sets:
            self.add(depth, "if (given) {")
            self.add(depth + 1, f"k = rank_in_{part.key}(&w->past, {member});")
            self.add(depth, "} else {")
            depth += 1
        rank = self.place(part, entry["recent"], depth)
        rank = rank if not self.wide or rank.startswith("get_symbol") else f"(unsigned){rank}"
        self.add(depth, f"k = {rank};", f"if (k < {count}) {{")
        self.add(depth + 1, f"{member} = ({kind}){self.seen(part)};")
        self.add(depth, "} else {")
        self.add(depth + 1, f"if (k < {MOST_RECENT}u) {{")
        self.add(depth + 2, f"fail({FROM}, {self.names.macro}_NOT_CANONICAL);")
        self.add(depth + 1, "}", f"k = {MOST_RECENT}u;", new)
        self.add(depth, "}")
        if part.sets:
            self.add(depth - 1, "}")

    def _new(self, part: Part, name: str, entry: dict[str, Any], *, own: bool) -> None:
        """The function that reads a species that is none of those seen last."""
        hour = ", unsigned hour" if len(entry["new"]) > 1 else ""
        symbols = len(self.tables.known) + 1
        species = "at" if self.tables.counted else f"{self.tables.known_species()}[at]"
        recent = f"rank_in_{part.key}(&w->past, species) < {MOST_RECENT}u" if own else ""
        escaped = f"at == KNOWN_COUNT && {self.position('species')} < KNOWN_COUNT"
        if own:
            escaped = f"{recent} || ({escaped})"
        another = f"{'(uint32_t)' if self.wide else ''}{self.alike(self.told.capacity)}"
        lines = [
            f"const unsigned at = get_symbol({FROM}, {self.starts(part, entry)}, {symbols}u);",
            "const uint32_t species = at < KNOWN_COUNT",
            f"    ? {species} : {another};",
            "",
            f"if ({escaped}) {{",
            f"    fail({FROM}, {self.names.macro}_NOT_CANONICAL);",
            "}",
            "return species;",
        ]
        self.functions += ["", "/* A species that is none of those seen last. */"]
        self.functions.append(f"static uint32_t {name}({self.walk} *w{hour})")
        self.functions += ["{", *(INDENT + line if line else "" for line in lines), "}"]

    # ---- Lists

    def listed(self, part: Part, inner: Part, depth: int) -> None:
        assert inner.field is not None
        entry = part.said["fields"][[f.name for f in part.fields].index(inner.field.name)]
        count = f"{part.at}{part.struct.counts[inner.field.name]}"
        place = "ij"[inner.depth - 1]
        code = self.place(part, entry["count"], depth)
        elements = f"({code} + {inner.field.least}u)" if inner.field.least else code
        counted = f"{count} = (uint8_t){elements};"
        if inner.sets:
            rows = f"{part.at}{part.struct.members[inner.field.name]}"
            flag = self.tables.sums(entry["set"], f"{inner.path} set")
            self._hear_set(inner)
            self.add(depth, "{")
            depth += 1
            self.add(depth, f"const bool set = get_symbol({FROM}, {flag}, 2u) != 0u;", "")
            self.add(depth, "if (set) {")
            self.add(depth + 1, f"{count} = (uint8_t)hear_set_{inner.key}(w, {rows});")
            self.add(depth, "} else {", INDENT + counted, "}")
        else:
            self.add(depth, counted)
        sound = f"w->from.fault == {self.names.macro}_OK"
        self.add(depth, f"for (size_t {place} = 0; {place} < {count} && {sound}; {place}++) {{")
        self.add(depth + 1, self.called(inner, "set"))
        self.add(depth, "}")
        if inner.sets:
            self.add(depth, f"if (!set && is_set_{inner.key}({rows}, {count})) {{")
            self.add(depth + 1, f"fail({FROM}, {self.names.macro}_NOT_CANONICAL);")
            self.add(depth, "}")
        if self.noted(inner):
            self.add(depth, f"w->past.{inner.key}_instances++;")
        if inner.sets:
            self.add(depth - 1, "}")

    def _hear_set(self, inner: Part) -> None:
        assert inner.field is not None
        most, least = inner.field.most, inner.field.least
        kind = type_of(inner.fields[inner.species_at or 0], self.names.schema, inner.path).name
        store = (
            f"            if (count < {most}u) {{",
            f"                rows[count].{inner.species} = ({kind}){self.nth_known};",
            "            }",
        )
        few = f"count < {least}u || " if least else ""
        self.functions += [
            "",
            "/* Which of the known species are there; how many they are. */",
            f"static size_t hear_set_{inner.key}({self.walk} *w, struct {inner.struct.tag} *rows)",
            "{",
            f"    const uint8_t *there = {self.there(inner)};",
            "    size_t count = 0;",
            "",
            "    for (unsigned known = 0; known < KNOWN_COUNT; known++) {",
            f"        if (get_yes({FROM}, {self.share_of_no(inner)})) {{",
            *(store if most else ("            (void)rows;",)),
            "            count++;",
            "        }",
            "    }",
            f"    if ({few}count > {most}u) {{",
            f"        fail({FROM}, {self.names.macro}_NOT_CANONICAL);",
            "        return 0;",
            "    }",
            "    return count;",
            "}",
        ]
