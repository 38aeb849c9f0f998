"""Encoding in modelled coding: every place of a message sent, straight on."""

from typing import Any

from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.tables import MOST_ALONE, Classes, fold
from packcodec.emit.c_codes import divided
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_plain import Plain, put
from packcodec.emit.c_told import Part, is_gap

TO = "&w->to"
FEW_CODES = 8


class Say(Plain):
    """Encoding."""

    verb, coder, const = "say", "said", "const "

    def value(self, part: Part, at: int, depth: int) -> None:
        entry = part.said["fields"][at]
        code = self.code(part, at, part.at)
        clocks = self.told.clocked and is_gap(entry)
        if clocks and " " in code:
            self.add(depth, "{")
            self.add(depth + 1, f"const {self.code_type} code = {code};", "")
            self.place(part, entry["value"], "code", depth + 1)
            self.add(depth + 1, self.advance(part, at, "code"))
            self.add(depth, "}")
            return
        self.place(part, entry["value"], code, depth)
        if clocks:
            self.add(depth, self.advance(part, at, code))

    def presence(self, part: Part, at: int, depth: int) -> None:
        presence = f"{part.at}{part.struct.presence[part.fields[at].name]}"
        self.place(part, part.said["fields"][at]["presence"], f"({presence} ? 1u : 0u)", depth)

    def place(self, part: Part, place: dict[str, Any], code: str, depth: int) -> None:
        """Send a code by the table of its place."""
        codes = int(place["codes"])
        if not place["rows"]:
            self.alike(code, codes, depth)
            return
        if codes == 1:
            return
        if place["around"] != "none":
            code = self._folded(code, self.centre(part, place, depth), codes)
        if codes <= MOST_ALONE:
            self.add(depth, f"symbol({TO}, {self.table(part, place, codes, depth, code)});")
            return
        spans = Classes(codes).spans
        row = self.table(part, place, len(spans), depth)
        first, width = spans[-1]
        if width == 1 << (first.bit_length() - 2):
            self.add(depth, f"by_class({TO}, {row}, {code});")
        else:
            self.add(depth, f"by_cut_class({TO}, {row}, {code}, {literal(codes - 1)});")

    def _folded(self, code: str, centre: str, codes: int) -> str:
        """A code folded around a centre: looked up where there are few."""
        if codes > FEW_CODES:
            return f"fold({code}, {centre}, {literal(codes - 1)})"
        folds = [fold(one, around, codes) for around in range(codes) for one in range(codes)]
        name = self.tables.array("uint8_t", folds, f"folding of {codes} codes around each of them")
        return f"{name}[{codes}u * {centre} + {code}]"

    def alike(self, code: str, codes: int, depth: int) -> None:
        """Send one of `codes` codes, all alike."""
        if codes == 1:
            return
        if not codes & (codes - 1):
            self.add(depth, put(code, codes.bit_length() - 1, TO, wide=self.wide))
        elif codes <= 1 << 16:
            text = f"(uint32_t){code}" if self.wide else code
            self.add(depth, f"alike({TO}, {codes}u, {text});")
        else:
            self.add(depth, f"alike_long({TO}, {literal(codes - 1)}, {code});")

    def start(self, part: Part, at: int, depth: int) -> None:
        entry = part.said["fields"][at]
        code, codes = self.code(part, at, part.at), int(entry["codes"])
        keeps = self.told.hours and entry["known"]
        if entry["hour"] is None and not keeps:
            self.alike(code, codes, depth)
            return
        self.add(depth, "{")
        self.add(depth + 1, f"const {self.code_type} code = {code};")
        if entry["hour"] is None:
            self.add(depth + 1, "")
            self.alike("code", codes, depth + 1)
        else:
            an_hour = int(entry["an_hour"])
            hours = divided("code", an_hour, codes - 1, wide=self.wide)
            days = divided("hours", 24, codes // an_hour - 1, wide=self.wide)
            self.add(depth + 1, f"const {self.code_type} hours = {hours};")
            self.add(depth + 1, f"const {self.code_type} days = {days};", "")
            self.alike("days", codes // (24 * an_hour), depth + 1)
            self.place(part, entry["hour"], "(hours - 24u * days)", depth + 1)
            self.alike(f"(code - {an_hour}u * hours)", an_hour, depth + 1)
        if keeps:
            step = literal(int(entry["step_s"]))
            self.add(depth + 1, f"w->past.start_s = ({self.told.seconds})code * {step};")
            self.add(depth + 1, "w->past.started = true;")
        self.add(depth, "}")

    # ---- Species

    def species(self, part: Part, at: int, depth: int) -> None:
        field, entry = part.fields[at], part.said["fields"][at]
        species = f"{part.at}{part.struct.members[field.name]}"
        name = f"new_{self.told.keys.give(f'{part.key}_{field.name}')}"
        self._new(part, name, entry)
        hour = f", {self.hour()}" if len(entry["new"]) > 1 else ""
        new = f"{name}(w, {species}{hour});"
        if part.species_at != at:
            self.add(depth, new)
            return
        self.add(depth, f"k = rank_in_{part.key}(&w->past, {species});")
        if part.sets:
            self.add(depth, "if (!given) {")
            depth += 1
        self.place(part, entry["recent"], "k", depth)
        self.add(depth, f"if (k == {MOST_RECENT}u) {{", f"{INDENT}{new}", "}")
        if part.sets:
            self.add(depth - 1, "}")

    def _new(self, part: Part, name: str, entry: dict[str, Any]) -> None:
        """The function that sends a species that is none of those seen last."""
        hour = ", unsigned hour" if len(entry["new"]) > 1 else ""
        lines = [
            f"const unsigned at = {self.position('species')};",
            "",
            f"symbol({TO}, {self.starts(part, entry)} + at);",
        ]
        outer, self.lines = self.lines, []
        self.alike("species", self.told.capacity, 1)
        alike, self.lines = self.lines, outer
        if alike and not self.all_known:
            lines += ["if (at == KNOWN_COUNT) {", *alike, "}"]
        self.functions += ["", "/* Send a species that is none of those seen last. */"]
        self.functions.append(f"static void {name}({self.walk} *w, uint32_t species{hour})")
        self.functions += ["{", *(INDENT + line if line else "" for line in lines), "}"]

    # ---- Lists

    def listed(self, part: Part, inner: Part, depth: int) -> None:
        assert inner.field is not None
        entry = part.said["fields"][[f.name for f in part.fields].index(inner.field.name)]
        count = f"{part.at}{part.struct.counts[inner.field.name]}"
        code = f"({count} - {inner.field.least}u)" if inner.field.least else count
        place = "ij"[inner.depth - 1]
        if inner.sets:
            rows = f"{part.at}{part.struct.members[inner.field.name]}"
            flag = self.tables.sums(entry["set"], f"{inner.path} set")
            self._is_set(inner)
            self._say_set(inner)
            self.add(depth, "{")
            depth += 1
            self.add(depth, f"const bool set = is_set_{inner.key}({rows}, {count});", "")
            self.add(depth, f"symbol({TO}, {flag} + set);", "if (set) {")
            self.add(depth + 1, f"say_set_{inner.key}(w, {rows}, {count});")
            outer, self.lines = self.lines, []
            self.place(part, entry["count"], code, depth + 1)
            counted, self.lines = self.lines, outer
            if counted:
                self.add(depth, "} else {")
                self.lines += counted
            self.add(depth, "}")
        else:
            self.place(part, entry["count"], code, depth)
        self.add(depth, f"for (size_t {place} = 0; {place} < {count}; {place}++) {{")
        self.add(depth + 1, self.called(inner, "set"))
        self.add(depth, "}")
        if self.noted(inner):
            self.add(depth, f"w->past.{inner.key}_instances++;")
        if inner.sets:
            self.add(depth - 1, "}")

    def _is_set(self, inner: Part) -> None:
        known = self.position(f"rows[at].{inner.species}")
        self.functions += [
            "",
            "/* Whether these ascend by species, all of them known. */",
            f"static bool is_set_{inner.key}(const struct {inner.struct.tag} *rows, size_t count)",
            "{",
            "    unsigned next = 0;",
            "",
            "    for (size_t at = 0; at < count; at++) {",
            f"        const unsigned known = {known};",
            "",
            "        if (known < next || known >= KNOWN_COUNT) {",
            "            return false;",
            "        }",
            "        next = known + 1u;",
            "    }",
            "    return true;",
            "}",
        ]

    def _say_set(self, inner: Part) -> None:
        rows = f"const struct {inner.struct.tag} *rows"
        self.functions += [
            "",
            "/* Say of each known species whether it is there. */",
            f"static void say_set_{inner.key}({self.walk} *w, {rows}, size_t count)",
            "{",
            f"    const uint8_t *there = {self.there(inner)};",
            "    size_t at = 0;",
            "",
            "    for (unsigned known = 0; known < KNOWN_COUNT; known++) {",
            f"        const uint32_t other = {self.share_of_no(inner)};",
            f"        const bool is = at < count && rows[at].{inner.species} == {self.nth_known};",
            "",
            "        if (is) {",
            f"            yes({TO}, other);",
            "            at++;",
            "        } else {",
            f"            no({TO}, other);",
            "        }",
            "    }",
            "}",
        ]
