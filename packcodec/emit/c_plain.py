"""Fixed coding through the range coder: where a message takes fewer octets so."""

from packcodec.emit.c_told import Part
from packcodec.emit.c_walk import Walk
from packcodec.layout.model import Count, Group, MessageLayout, Presence, Repeat, Run, When


class Plain(Walk):
    """Encoding in fixed coding, by messages and their parts."""

    def plain(self, each: MessageLayout) -> list[str]:
        """The statements that send a message in fixed coding."""
        outer, self.lines = self.lines, []
        self._plain(each.body, self.told.message, "message->", 1)
        lines, self.lines = self.lines, outer
        return lines

    def _plain(self, group: Group, part: Part, of: str, depth: int) -> None:
        for step in group.steps:
            match step:
                case Run():
                    self._run(step, part, of, depth)
                case When():
                    self.add(depth, f"if ({of}{part.struct.presence[step.field.name]}) {{")
                    for inner in step.steps:
                        if isinstance(inner, Run):
                            self._run(inner, part, of, depth + 1)
                        else:
                            self._repeat(inner, part, of, depth + 1)
                    self.add(depth, "}")
                case Repeat():
                    self._repeat(step, part, of, depth)

    def _run(self, run: Run, part: Part, of: str, depth: int) -> None:
        at = {field.name: number for number, field in enumerate(part.fields)}
        for place in run.places:
            if not place.width:
                continue
            name = place.field.name
            if isinstance(place, Presence):
                code = f"{of}{part.struct.presence[name]} ? 1u : 0u"
            elif isinstance(place, Count):
                code = f"{of}{part.struct.counts[name]}"
                code += f" - {place.field.least}u" if place.field.least else ""
            else:
                code = self.code(part, at[name], of)
            self.add(depth, put(code, place.width, "to", wide=self.wide))

    def _repeat(self, step: Repeat, part: Part, of: str, depth: int) -> None:
        inner = part.lists[step.field.name]
        place = "ij"[inner.depth - 1]
        outer, self.lines = self.lines, []
        row = f"{of}{part.struct.members[step.field.name]}[{place}]."
        self._plain(step.element, inner, row, depth + 1)
        lines, self.lines = self.lines, outer
        if lines:
            count = f"{of}{part.struct.counts[step.field.name]}"
            self.add(depth, f"for (size_t {place} = 0; {place} < {count}; {place}++) {{")
            self.lines += lines
            self.add(depth, "}")


def put(code: str, width: int, to: str, *, wide: bool) -> str:
    """The statement that sends a number of so many bits, all alike."""
    if width > 16:
        return f"put_long({to}, {code}, {width}u);"
    return f"put({to}, {f'(uint32_t)({code})' if wide else code}, {width}u);"
