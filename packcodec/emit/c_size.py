"""How long a message is in fixed coding, and whether all its values can be sent, in C."""

from packcodec.emit.c_codes import code_of
from packcodec.emit.c_header import INDENT
from packcodec.emit.c_types import CNames, Struct
from packcodec.emit.text import broken, in_every_build
from packcodec.layout.model import Count, Group, MessageLayout, Presence, Repeat, Run, When


class Sizes:
    """The function that tests a message's values, and reckons its bits in fixed coding.

    Tests of ranges are left out of a build that trusts; those of counts, which guard memory, are
    in every build.
    """

    def __init__(self, each: MessageLayout, names: CNames) -> None:
        self.each = each
        self.names = names

    def function(self) -> list[str]:
        struct = self.names.structs[self.each.name]
        fixed, lines = self._group(self.each.body, struct, "message->", 1)
        arguments = f"const struct {struct.tag} *message, size_t *bits"
        head = f"static bool size_{self.each.name}({arguments})"
        used = "message->" in in_every_build(lines)
        unused = [] if used else [f"{INDENT}(void)message;"]
        start = f"{INDENT}*bits = PLAIN_BITS + {fixed}u;"
        comment = "/* Whether all values can be sent; the bits of fixed coding, its mark too. */"
        return [comment, head, "{", start, *lines, *unused, f"{INDENT}return true;", "}"]

    def _group(self, group: Group, struct: Struct, at: str, depth: int) -> tuple[int, list[str]]:
        """The bits that are always there, and the lines for the others and for the tests."""
        bits, lines = 0, []
        tests: list[str] = []
        for step in group.steps:
            match step:
                case Run():
                    bits += step.width
                    tests += self._tests(step, struct, at)
                case When():
                    inner: list[str] = []
                    for part in step.steps:
                        if isinstance(part, Run):
                            if part.width:
                                inner.append(INDENT * (depth + 1) + f"*bits += {part.width}u;")
                            inner += self._refusal(self._tests(part, struct, at), depth + 1)
                        else:
                            inner += self._list(part, struct, at, depth + 1)
                    presence = struct.presence[step.field.name]
                    lines += _block(f"if ({at}{presence}) {{", inner, depth)
                case Repeat():
                    lines += self._list(step, struct, at, depth)
        return bits, [*self._refusal(tests, depth), *lines]

    def _list(self, step: Repeat, struct: Struct, at: str, depth: int) -> list[str]:
        name, indent = step.field.name, INDENT * depth
        count = f"{at}{struct.counts[name]}"
        least, most = step.field.least, step.field.most
        ends = [f"{count} < {least}u"] * (least > 0) + [f"{count} > {most}u"] * (most < 255)
        lines = _refuse(ends, depth)
        place = "ij"[at.count("[")]
        row = f"{at}{struct.members[name]}[{place}]."
        bits, inner = self._group(step.element, struct.elements[name], row, depth + 1)
        if bits:
            lines.append(f"{indent}*bits += {bits}u * (size_t){count};")
        head = f"for (size_t {place} = 0; {place} < {count}; {place}++) {{"
        if inner and inner[0].startswith("#") and inner.count("#endif") == 1 == _last(inner):
            return [*lines, inner[0], *_block(head, inner[1:-1], depth), "#endif"]
        return lines + _block(head, inner, depth)

    def _tests(self, run: Run, struct: Struct, at: str) -> list[str]:
        """What must not hold of the values of a run."""
        tests = []
        for place in run.places:
            if not isinstance(place, Presence | Count):
                code = code_of(place.field, struct, at, place.path, self.names)
                tests += [code.test] if code.test else []
        return tests

    def _refusal(self, tests: list[str], depth: int) -> list[str]:
        if not tests:
            return []
        guard = f"#ifndef {self.names.macro}_TRUST_VALUES"
        return [guard, *_refuse(tests, depth), "#endif"]


def _refuse(tests: list[str], depth: int) -> list[str]:
    if not tests:
        return []
    indent = INDENT * depth
    return [
        *(indent + line for line in broken("if (", tests, " || ", ") {")),
        f"{indent}{INDENT}return false;",
        f"{indent}}}",
    ]


def _block(head: str, inner: list[str], depth: int) -> list[str]:
    """A block, unless there would be nothing in it."""
    return [INDENT * depth + head, *inner, INDENT * depth + "}"] if inner else []


def _last(lines: list[str]) -> int:
    return int(lines[-1] == "#endif")
