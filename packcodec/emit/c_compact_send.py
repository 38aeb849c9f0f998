"""What the compact form of an encoder in C sends: what stands before the list, and an element."""

import re
from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.coder import FIRST_RANGE
from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.tables import FIRST_CODES, MOST_ALONE
from packcodec.emit.c_codes import divided
from packcodec.emit.c_compact_places import Places
from packcodec.emit.c_compact_shape import WIDEST, by_hour, codes_of_entry, count_width, width_of
from packcodec.emit.c_compact_tables import SUM_OCTETS
from packcodec.emit.c_header import INDENT
from packcodec.emit.c_say import Say
from packcodec.emit.c_told import LAST, Told

FIXED_RANGE = (1 << 32) - FIRST_RANGE


class Sending(Places):
    """The functions that send a part of one message."""

    def __init__(self, told: Told, say: Say) -> None:
        super().__init__(told)
        self.say = say

    # ---- What stands before the list

    def start_function(self) -> Iterator[str]:
        """The function that begins, and sends what stands before the list."""
        fields, entries = self.told.message.fields[:-1], self.told.message.said["fields"][:-1]
        name, tail = self.name, self.tail
        yield "/* Nothing is sent yet: begin, and send what stands before the list. */"
        yield f"static void start_{name}(struct {name}_walk *w)"
        yield "{"
        yield f"{INDENT}const struct {self.told.struct.tag} *const message = w->message;"
        parts = []
        for at, (field, entry) in enumerate(zip(fields, entries, strict=True)):
            if codes_of_entry(entry) > 1:
                variable = f"{self.told.struct.members[field.name]}_code"
                constant = "" if by_hour(entry) else "const "
                code = self.say.code(self.told.message, at, "message->")
                yield f"{INDENT}{constant}uint32_t {variable} = {code};"
                parts.append((variable, width_of(entry)))
        count = f"message->{self.told.struct.counts[tail.field.name]}" if tail.field else ""
        least = tail.field.least if tail.field else 0
        parts.append((f"({count} - {least}u)" if least else count, count_width(tail)))
        body = [
            "",
            "w->now.low = 0;",
            "w->now.range = FIRST_RANGE;",
            "w->now.shifts = 0;",
            *(["w->now.rows = 0; /* none: fixed coding */"] if self.ranked else []),
            f"w->now.row = message->{self.list_member};",
            f"for (unsigned k = 0; k < {MOST_RECENT}u; k++) {{",
            f"    w->now.latest[k] = 0x{self.none:x}u;",
            "}",
            "if (w->room == IN_FIXED) {",
            "    w->now.low = FIRST_RANGE;",
            "    w->now.range = 0u - FIRST_RANGE;",
            *(INDENT + line for line in self._fixed(parts, FIXED_RANGE)),
            "    return;",
            "}",
            *([f"w->now.rows = {self.rank_start}u;"] if self.ranked else []),
            *self._header(),
        ]
        yield from (INDENT + line if line else "" for line in body)
        yield "}"

    def _header(self) -> Iterator[str]:
        """The statements that send what stands before the list."""
        fresh = True
        for at, entry in enumerate(self.told.message.said["fields"][:-1]):
            member = self.told.struct.members[self.told.message.fields[at].name]
            variable, codes = f"{member}_code", codes_of_entry(entry)
            if codes == 1:
                continue
            place = entry.get("value")
            if by_hour(entry):
                yield from self._hour(variable, entry, fresh=fresh)
            elif place and place["rows"]:
                start = f"{self.placed[id(place)].offset}u"
                code = self.around_centre(self.told.message, place, variable)
                yield self._symbol([start, code])
            else:
                yield from self._alike(variable, codes)
            fresh = False

    def _hour(self, variable: str, entry: dict[str, Any], *, fresh: bool) -> Iterator[str]:
        """Send a time as its day, hour, and rest; `fresh` where nothing is sent yet."""
        codes, an_hour = codes_of_entry(entry), int(entry["an_hour"])
        day, days = 24 * an_hour, codes // (24 * an_hour)
        if days == 2 and fresh:
            yield f"if ({variable} >= {day}u) {{"
            yield f"    {variable} -= {day}u;"
            yield f"    w->now.low = {FIRST_RANGE >> 1:#x}u;"
            yield "}"
            yield f"w->now.range = {FIRST_RANGE >> 1:#x}u;"
        elif days > 1:
            yield "{"
            yield f"    const uint32_t days = {divided(variable, day, codes - 1)};"
            yield ""
            yield f"    {variable} -= {day}u * days;"
            yield from (INDENT + line for line in self._alike("days", days))
            yield "}"
        yield "{"
        yield f"    const uint32_t hour = {divided(variable, an_hour, day - 1)};"
        yield ""
        start = f"{self.placed[id(entry['hour'])].offset}u"
        yield f"    {self._symbol([start, '2u * hour'])}"
        yield f"    {variable} -= {an_hour}u * hour;"
        yield "}"
        yield from self._alike(variable, an_hour)

    def _alike(self, code: str, codes: int) -> Iterator[str]:
        """Send one of so many codes, all alike."""
        if codes == 1:
            return
        r = f"w->now.range >> {codes.bit_length() - 1}"
        if codes & (codes - 1):
            r = f"quotient(w->now.range, {codes}u)"
        yield f"even_{self.name}(w, {code}, {r});"

    def _fixed(self, parts: list[tuple[str, int]], range_: int = 0) -> Iterator[str]:
        """Send codes in fixed coding, as many at a time as one narrowing takes."""
        while parts:
            text, bits = parts[0]
            taken = 1
            for part, width in parts[1:]:
                if bits + width > WIDEST:
                    break
                text = f"({text if taken == 1 else f'({text})'} << {width}) + {part}"
                bits += width
                taken += 1
            if range_:
                r = range_ >> bits
                yield f"even_{self.name}(w, {text}, {r}u);"
            else:
                yield f"even_{self.name}(w, {text}, w->now.range >> {bits});"
            range_ = 0
            parts = parts[taken:]

    # ---- An element

    def say_function(self) -> Iterator[str]:
        """The function that sends an element."""
        name, tail, at_species = self.name, self.tail, self.tail.species_at
        yield "/* Send an element. */"
        yield f"static void say_{name}(struct {name}_walk *w, const struct {tail.struct.tag} *row)"
        yield "{"
        parts = []
        lines: list[str] = []
        for at, entry in enumerate(self.entries):
            if at == at_species:
                parts.append((self.code(at), width_of(entry)))
            elif codes_of_entry(entry) > 1:
                code = self.say.code(tail, at, "row->")
                variable = f"{self.variable(at, 'code')} = {code};"
                if at in self.kept:
                    variable = f"{self.variable(at, 'kept')} = {_and_one(code)}; /* and 1 */"
                yield f"{INDENT}const uint32_t {variable}"
                parts.append((self.code(at), width_of(entry)))
        now = [_raised(self.code(tail.species_at or 0), self.low)]
        now += [_raised(self.variable(at, "kept"), self.shift(at)) for at in self.kept]
        fixed = "w->now.rows == 0u" if self.ranked else "w->room == IN_FIXED"
        lines += ["", f"if ({fixed}) {{"]
        lines += [INDENT + line for line in self._fixed(parts)]
        lines += [
            "    return;",
            "}",
            f"const uint32_t now = {self._as_kept(' | '.join(now))};",
            f"uint32_t next = now, last, rank = {self.first_rank}u;",
            f"{self.word} *at = w->now.latest;",
            "",
        ]
        for at, entry in enumerate(self.entries):
            lines += self._species(entry) if at == at_species else self._value(at, entry)
        if self.ranked_after:
            lines.append(self.moved)
        yield from (INDENT + line if line else "" for line in lines)
        yield "}"

    def _as_kept(self, now: str) -> str:
        """No wider than it is kept: the search for it ends with itself, whatever the values."""
        return now if self.word == "uint32_t" else f"({self.word})({now})"

    def _species(self, entry: dict[str, Any]) -> Iterator[str]:
        low = (1 << self.low) - 1
        none = self.first_rank + SUM_OCTETS * (MOST_RECENT + 1)
        placed = self.placed[id(entry["recent"])]
        yield "/* It becomes the latest; those before it move on, up to where it stood, or out. */"
        yield f"w->now.latest[{MOST_RECENT}] = ({self.word})now;"
        yield "do {"
        yield "    last = *at;"
        yield f"    *at++ = ({self.word})next;"
        yield "    next = last;"
        yield f"    rank += {SUM_OCTETS}u;"
        yield f"}} while ((last ^ now) > {low}u);" if low else "} while (last != now);"
        yield self._symbol([*self.terms(placed, ""), "rank"])
        if self.ranked and not self.ranked_after:
            yield self.moved
        yield f"if (rank == {none}u) {{"
        if self.say.all_known:
            yield f"    {self._symbol([f'{self.new}u', f'2u * ({self.species})'])}"
        else:
            yield f"    const unsigned known = {self.say.position(self.species)};"
            yield ""
            yield f"    {self._symbol([f'{self.new}u', '2u * known'])}"
            yield "    if (known == KNOWN_COUNT) {"
            species = f"({self.species})"
            yield from (INDENT * 2 + line for line in self._alike(species, self.told.capacity))
            yield "    }"
        if self.kept:
            yield "    last = 0;"
        yield "}"

    @property
    def species(self) -> str:
        """The expression of the element's species."""
        return f"now >> {self.low}" if self.low else "now"

    def _value(self, at: int, entry: dict[str, Any]) -> Iterator[str]:
        place, code = entry["value"], self.code(at)
        codes = codes_of_entry(entry)
        if codes == 1:
            return
        if not place["rows"]:
            yield from self._alike(code, codes)
            return
        placed = self.placed[id(place)]
        terms = self.terms(placed, self.species)
        if codes > MOST_ALONE:
            yield from self._by_class(at, terms)
            return
        step, row = placed.steps.get(LAST, 0), 0
        if at in self.by_last:
            row = self.fold_row
            before = self.variable(at, "before")
            by = sum(codes_of_entry(self.entries[other]) for other in self.by_last if other < at)
            now = self._bits("now", at, 1)
            terms.append(f"{self.folded}[{before}{f' + {by}u' if by else ''} + {now}]")
        elif LAST in placed.steps:
            row = 1
            before = self.variable(at, "before")
            terms.append(self.around_centre(self.tail, place, code))
        else:
            terms.append(self.around_centre(self.tail, place, code))
        if not row:
            yield self._symbol(terms)
            return
        if step % row:  # what is folded stands in rows of another size
            times = f"{step}u * {self._bits('last', at, 1)}"
        else:
            times = f"{step // row}u * {before}"
        yield "{"
        yield f"    const uint32_t {before} = {self._bits('last', at, row)};"
        yield ""
        yield f"    {self._symbol([*([times] if step else []), *terms])}"
        yield "}"

    def _bits(self, word: str, at: int, times: int) -> str:
        """A kept field's code and 1 out of a word, so many times."""
        shift, mask = self.shift(at), (1 << self.kept[at]) - 1
        if times == 1 << shift and shift:
            return f"({word} & 0x{mask << shift:x}u)"
        text = f"({word} >> {shift} & {mask}u)" if shift else f"({word} & {mask}u)"
        return text if times == 1 else f"{times}u * {text}"

    def _by_class(self, at: int, terms: list[str]) -> Iterator[str]:
        code = self.variable(at, "code")
        width, found = self.variable(at, "width"), self.variable(at, "class")
        yield f"uint32_t {width} = 0, {found} = {code};"
        yield f"if ({code} >= {FIRST_CODES}u) {{ /* two classes to an octave */"
        yield f"    for ({width} = 2; {code} >> {width} > 3u; {width}++) {{"
        yield "    }"
        yield f"    {found} = 2u * {width} + 2u + ({code} >> {width});"
        yield "}"
        yield self._symbol([*terms, f"{SUM_OCTETS}u * {found}"])
        yield f"if ({width} > 0u) {{"
        inside = f"{code} & ((1u << {width}) - 1u)"
        yield f"    even_{self.name}(w, {inside}, w->now.range >> {width});"
        yield "}"

    def _symbol(self, terms: list[str]) -> str:
        """The statement that sends the symbol whose sum stands where the terms add up to."""
        wide = "(uint32_t)" if terms[0].startswith("T") and len(terms) > 1 else ""
        place = wide + " + ".join(terms).replace("+ -", "- ")
        return f"symbol_{self.name}(w, {place});"

    @property
    def moved(self) -> str:
        """The statement that leaves the rank to the next element."""
        rest = self.rank_start % self.rank_block
        plus = f" + {rest}u" if rest else ""
        return f"w->now.rows = {self.rank_block // SUM_OCTETS}u * rank{plus};"

    @property
    def list_member(self) -> str:
        """The member of the struct that holds the list."""
        assert self.tail.field is not None
        return self.told.struct.members[self.tail.field.name]


def _and_one(code: str) -> str:
    """An expression and 1."""
    less = re.fullmatch(r"\((.*) - (\d+)u\)", code)
    if less is None:
        return f"{code} + 1u"
    return less[1] if less[2] == "1" else f"{less[1]} - {int(less[2]) - 1}u"


def _raised(text: str, by: int) -> str:
    return f"({text} << {by})" if by else text
