"""The compact form of an encoder in modelled coding: small enough for the least of devices.

It is for a message of plain fields and a list at its end, whose elements are one species and a few
small values (`c_compact_shape`); others take the general form of `c_pack`. What it keeps of the
species seen last is in one word each, and one array of tables serves all symbols. The elements are
walked once, and the last few of them again for each size that is tried; fixed coding is the same
walk. templates/c_compact.c holds what does not depend on the fields.
"""

from collections.abc import Iterator

from packcodec.codec.modelled.coder import SURE_BITS
from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.emit.c_codes import code_of
from packcodec.emit.c_compact_send import Sending
from packcodec.emit.c_compact_shape import count_width, width_of
from packcodec.emit.c_compact_tables import SUM_OCTETS
from packcodec.emit.c_header import INDENT
from packcodec.emit.c_pack import forget
from packcodec.emit.c_say import Say
from packcodec.emit.c_told import Part, Told
from packcodec.emit.templates import template
from packcodec.emit.text import broken
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout

# So many elements are walked again for each size: about two more than 24 bits hold, in which the
# room counts. Where they are too few, all are walked again.
BACK = 5
ROWS_MEMBER = "uint32_t rows; /* where those begin that the rank before chooses */"


class Compact(Sending):
    """One message's encoder."""

    def __init__(self, told: Told, say: Say, each: MessageLayout, layout: Layout) -> None:
        super().__init__(told, say)
        self.each, self.layout = each, layout

    def function(self) -> Iterator[str]:
        """The encoder, and all functions that it alone calls."""
        field, macro = self.tail.field, self.told.names.macro
        assert field is not None
        entries = self.told.message.said["fields"][:-1]
        fixed = PLAIN_BITS + sum(map(width_of, entries)) + count_width(self.tail)
        each = sum(width_of(entry) for entry in self.entries)
        room = 8 * (self.each.most_frame_bytes - self.layout.check.octets) - self.layout.header_bits
        most, fits = room // 8, (room - fixed) // each
        count = f"message->{self.told.struct.counts[field.name]}"
        limit = f"w.limit = (uint16_t)(({fixed + 7}u + {each}u * {count}) / 8u);"
        limits, too_long = [limit], []
        if fits < field.most:
            limits = [f"w.limit = {most}u;", f"if ({count} <= {fits}u) {{", INDENT + limit, "}"]
            too_long = [
                f"if (w.{count} > {fits}u) {{",
                f"    return {macro}_WRONG_LENGTH;",
                "}",
            ]
        least = field.least
        call, tag = self.told.names.prefix, self.told.struct.tag
        values = {
            "@rows_member@": f"{INDENT}{ROWS_MEMBER}\n" if self.ranked else "",
            "@element@": self.tail.struct.tag,
            "@word@": self.word,
            "@latest@": str(MOST_RECENT),
            "@tag@": tag,
            "@words@": self.words,
            "@full_row@": str(self.more // (2 * SUM_OCTETS)),
            "@start@": "\n".join(self.start_function()),
            "@say@": "\n".join(self.say_function()),
            "@result@": f"enum {call}_result",
            "@encode@": f"{call}_encode_{self.each.name}",
            "@list@": self.list_member,
            "@count@": self.told.struct.counts[field.name],
            "@back@": str(min(BACK, field.most)),
            "@tests@": "".join(f"{line}\n" for line in self._tests()),
            "@limit@": "\n".join(INDENT + line for line in limits),
            "@mark_octets@": str(SURE_BITS // 8 + 1),
            "@near_octets@": str(SURE_BITS // 8),
            "@asked@": f"i - {least}u < {field.most - least}u" if least else f"i < {field.most}u",
            "@too_long@": "".join(f"{INDENT * 3}{line}\n" for line in too_long),
            "@ok@": f"{macro}_OK",
            "@name@": self.name,
        }
        text = template("c_compact.c")
        for key, value in values.items():
            text = text.replace(key, value)
        if self.told.remembers:
            yield from forget(self.told)
            yield ""
        yield from self._valid()
        yield from text.rstrip("\n").split("\n")

    def _tests(self) -> list[str]:
        """Those of a length that guards memory, in every build, and of values."""
        field, macro = self.tail.field, self.told.names.macro
        assert field is not None
        count = f"message->{self.told.struct.counts[field.name]}"
        refused = f"{INDENT * 2}return {macro}_OUT_OF_RANGE;"
        ends = [f"{count} < {field.least}u"] * (field.least > 0)
        ends += [f"{count} > {field.most}u"] * (field.most < 255)
        lines = [f"{INDENT}if ({' || '.join(ends)}) {{", refused, f"{INDENT}}}"] if ends else []
        if self._valid():
            lines += [
                f"#ifndef {macro}_TRUST_VALUES",
                f"{INDENT}if (!can_send_{self.name}(message)) {{",
                refused,
                f"{INDENT}}}",
                "#endif",
            ]
        return lines

    def _valid(self) -> list[str]:
        """The function that tests values, in builds that do not trust them."""
        field, message = self.tail.field, self.told.message
        assert field is not None
        counted = f"message->{message.struct.counts[field.name]}"
        tests = self._ranges(message, "message->")
        inner = self._ranges(self.tail, "row->")
        if not tests and not inner:
            return []
        lines = [
            f"#ifndef {self.told.names.macro}_TRUST_VALUES",
            "/* Whether all values are in range. */",
            f"static APART bool can_send_{self.name}(const struct {self.told.struct.tag} *message)",
            "{",
        ]
        if tests:
            lines += [*broken(f"{INDENT}if (", tests, " || ", ") {"), f"{INDENT * 2}return false;"]
            lines.append(f"{INDENT}}}")
        if inner:
            element = f"const struct {self.tail.struct.tag} *row = &message->{self.list_member}[i];"
            lines += [
                f"{INDENT}for (size_t i = 0; i < {counted}; i++) {{",
                f"{INDENT * 2}{element}",
                "",
                *broken(f"{INDENT * 2}if (", inner, " || ", ") {"),
                f"{INDENT * 3}return false;",
                f"{INDENT * 2}}}",
                f"{INDENT}}}",
            ]
        return [*lines, f"{INDENT}return true;", "}", "#endif", ""]

    def _ranges(self, part: Part, at: str) -> list[str]:
        fields = part.fields if part is self.tail else part.fields[:-1]
        tests = [
            code_of(each, part.struct, at, f"{part.path}.{each.name}", self.told.names).test
            for each in fields
        ]
        return [test for test in tests if test]
