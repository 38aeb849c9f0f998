"""The compact form of an encoder in modelled coding: small enough for the least of devices.

It is for a message of plain fields and a list at its end, whose elements are one species and a few
small values (`Compact.fits`); others take the general form of `c_pack`. What it keeps of the
species seen last is in one word each, and one array of tables serves all symbols. The elements are
walked once, and the last few of them again for each size that is tried; fixed coding is the same
walk. templates/c_compact.c holds what does not depend on the fields.
"""

import re
from collections.abc import Iterator
from typing import Any

from packcodec.codec.modelled.coder import FIRST_RANGE, SURE_BITS
from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.codec.modelled.tables import FIRST_CODES, MOST_ALONE
from packcodec.emit.c_codes import code_of, divided
from packcodec.emit.c_compact_tables import (
    FEW,
    SUM_OCTETS,
    Placed,
    Words,
    buckets,
    cut,
    folds,
    surely_ends,
)
from packcodec.emit.c_header import INDENT
from packcodec.emit.c_hear import Hear
from packcodec.emit.c_pack import forget
from packcodec.emit.c_say import Say
from packcodec.emit.c_told import KIN, LAST, RANK, Part, Told
from packcodec.emit.c_walk import NEAR
from packcodec.emit.templates import template
from packcodec.emit.text import broken
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Field

# So many elements are walked again for each size: about two more than 32 bits hold, in which the
# room counts. Where they are too few, all are walked again.
BACK = 6
WIDEST = 24  # bits that one narrowing takes in fixed coding
MOST_ALIKE = 1 << 16
MOST_FIELDS = 32
ROWS_MEMBER = "uint32_t rows; /* where those begin that the rank before chooses */"
FIXED_RANGE = (1 << 32) - FIRST_RANGE


class Compact:
    """One message's encoder, and where its tables stand."""

    def __init__(self, told: Told, say: Say, each: MessageLayout, layout: Layout) -> None:
        assert told.tail is not None
        self.told, self.say, self.each, self.layout = told, say, each, layout
        self.tail = told.tail
        self.name = told.name
        self.kept = self._kept()
        self.low = sum(self.kept.values())
        self._place_tables()

    # ---- What fits

    @staticmethod
    def fits(told: Told, say: Say, layout: Layout) -> bool:
        """Whether a message has the compact form."""
        tail, header = told.tail, told.message
        if say.wide or tail is None or tail.species_at is None or told.hours or not say.all_known:
            return False
        if layout.header_bits % 8 or layout.repair or len(tail.fields) > MOST_FIELDS:
            return False
        before = list(zip(header.fields[:-1], header.said["fields"][:-1], strict=True))
        elements = list(zip(tail.fields, tail.said["fields"], strict=True))
        if not surely_ends(header.said["fields"][-1]["more"], tail):
            return False
        if any(field.optional for field, _ in (*before, *elements)):
            return False
        if not all(_fits_before(entry) for _, entry in before):
            return False
        if not all(_fits_in(entry) and _follows(entry, tail) for _, entry in elements):
            return False
        widths = [_width(entry) for _, entry in before]
        inner = [_width(entry) for _, entry in elements]
        kept = sum(_codes(entry).bit_length() for _, entry in elements if _keeps(entry))
        return (
            max((*widths, *inner)) <= WIDEST
            and sum(inner) > 0
            and told.capacity.bit_length() + kept <= 32
        )

    # ---- Tables

    def _entries(self) -> Iterator[tuple[Field, dict[str, Any]]]:
        yield from zip(self.tail.fields, self.tail.said["fields"], strict=True)

    def _kept(self) -> dict[int, int]:
        """Of the fields whose last code is asked for: so many bits hold it and 1."""
        entries = enumerate(entry for _, entry in self._entries())
        return {
            at: int(entry["value"]["codes"]).bit_length() for at, entry in entries if _keeps(entry)
        }

    def shift(self, at: int) -> int:
        """Where a kept field's code and 1 stand in the word."""
        return sum(bits for other, bits in self.kept.items() if other > at)

    def _place_tables(self) -> None:
        words = Words()
        places = [place for _, entry in self._entries() for place in _tabled(entry)]
        by_last = [place for place in places if LAST in place["contexts"]]
        by_rank = [place for place in places if RANK in place["contexts"]]
        found = words.by(LAST, by_last, aligned=False)
        if not by_last:  # no rows of a rank begin at 0
            self.more = words.more(self.told.message.said["fields"][-1]["more"])
        ranked = words.by(RANK, by_rank, aligned=True)
        self.rank_block = ranked[0].steps[RANK] if ranked else 1
        self.rank_start = ranked[0].offset if ranked else 0
        if by_last:
            self.more = words.more(self.told.message.said["fields"][-1]["more"])
        rest = [place for place in places if place not in by_last and place not in by_rank]
        rest += [
            place for entry in self.told.message.said["fields"][:-1] for place in _tabled(entry)
        ]
        placed = [*found, *ranked, *map(words.plain, rest)]
        self.placed = {id(each.place): each for each in placed}
        species = self.tail.said["fields"][self.tail.species_at]
        self.new = words.rows(species["new"])
        meaning = "\n * ".join(self._contents())
        self.words = self.told.tables.array("uint16_t", [*words.words, 0], meaning)
        self.by_last = [at for at in self.kept if self._entry(at)["value"]["around"] == LAST]
        if self.by_last:
            codes = [int(self._entry(at)["value"]["codes"]) for at in self.by_last]
            rows = [folds(self._entry(at)["value"]) for at in self.by_last]
            filled = [0]
            for last in range(max(codes) + 1):
                for n, each in zip(codes, rows, strict=True):
                    filled += [SUM_OCTETS * code for code in each[min(last, n)]]
            meaning = f"{self.tail.path}: codes and 1, folded around the last and 1, 0 for none"
            self.fold_row = sum(codes)
            self.folded = self.told.tables.array("uint8_t", filled, meaning)

    def _contents(self) -> Iterator[str]:
        """What the table holds, by octets."""
        yield f"{self.tail.path}: sums of shares, ready to be coded with. By octets:"
        found = [(each.offset, each) for each in self.placed.values()]
        rows = {
            offset: f"{self._path(each.place)} by {', '.join(each.steps) or 'itself'}"
            for offset, each in found
        }
        rows[self.more] = "whether there is one more, by the bits left of the room"
        rows[self.new] = "a species that is none of the latest"
        for offset in sorted(rows):
            yield f"{offset}: {rows[offset]}"

    def _path(self, place: dict[str, Any]) -> str:
        inner = any(place is each for _, entry in self._entries() for each in _tabled(entry))
        part = self.tail if inner else self.told.message
        rank = ", its rank," if place["get"] == "rank" else ""
        return f"{part.fields[place['at']].name}{rank}"

    def _entry(self, at: int) -> dict[str, Any]:
        entry: dict[str, Any] = self.tail.said["fields"][at]
        return entry

    def terms(self, placed: Placed, species: str) -> list[str]:
        """What adds up to where a row begins, but for what the last element chooses."""
        offset, place = placed.offset, placed.place
        terms: list[str] = []
        path = f"{self.tail.path}.{self.tail.fields[place['at']].name}"
        if place["get"] == "rank":
            offset -= self.first_rank + SUM_OCTETS  # from where the rank is counted
        if RANK in placed.steps:
            offset -= self.rank_start
            terms.append("w->now.rows")
        for name, step in placed.steps.items():
            if name in (RANK, LAST):
                continue
            if name == KIN:
                terms.append(f"{self.kin(placed, offset)}[{species}]")
                offset = 0
                continue
            at, codes = place["before"][NEAR[name]]
            values, by = buckets(codes), self.tail.fields[at].name
            index = self._code(at) if codes <= MOST_ALONE else self.variable(at, "class")
            held = [step * each for each in values]
            if min(held) + offset >= 0:
                held, offset = [each + offset for each in held], 0
            kind = "uint8_t" if max(held) <= 255 else "uint16_t"
            table = self.told.tables.array(kind, held, f"{path}: rows by {by}")
            terms.append(f"{table}[{index}]")
        return [*terms, *([f"{offset}u"] if offset else [])]

    def kin(self, placed: Placed, offset: int) -> str:
        """The table of where the rows of a place begin, so far on, by species."""
        place = placed.place
        kin = [*place["kin"], *[0] * self.told.capacity][: self.told.capacity]
        held = [offset + placed.steps[KIN] * each for each in kin]
        kind = "uint8_t" if max(held) <= 255 else "uint16_t"
        path = f"{self.tail.path}.{self.tail.fields[place['at']].name}"
        return self.told.tables.array(kind, held, f"{path}: rows by species")

    @property
    def first_rank(self) -> int:
        """What stands for no rank, in octets of a table of one sum for each rank."""
        return SUM_OCTETS * (self.rank_start // self.rank_block)

    def variable(self, at: int, what: str) -> str:
        """The variable of a field of the elements: its code, or its class, or its last code."""
        field = self.tail.fields[at]
        return f"{self.tail.struct.members[field.name]}_{what}"

    # ---- The function of what stands before the list

    def _start(self) -> Iterator[str]:
        fields, entries = self.told.message.fields[:-1], self.told.message.said["fields"][:-1]
        name, tail = self.name, self.tail
        yield "/* Nothing is sent yet: begin, and send what stands before the list. */"
        yield f"static void start_{name}(struct {name}_walk *w)"
        yield "{"
        yield f"{INDENT}const struct {self.told.struct.tag} *const message = w->message;"
        parts = []
        for at, (field, entry) in enumerate(zip(fields, entries, strict=True)):
            if _codes(entry) > 1:
                variable = f"{self.told.struct.members[field.name]}_code"
                constant = "" if _by_hour(entry) and entry["hour"]["rows"] else "const "
                code = self.say.code(self.told.message, at, "message->")
                yield f"{INDENT}{constant}uint32_t {variable} = {code};"
                parts.append((variable, _width(entry)))
        count = f"message->{self.told.struct.counts[tail.field.name]}" if tail.field else ""
        least = tail.field.least if tail.field else 0
        parts.append((f"({count} - {least}u)" if least else count, _count_width(tail)))
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
            variable, codes = f"{member}_code", _codes(entry)
            if codes == 1:
                continue
            place = entry["hour"] if _by_hour(entry) else entry.get("value")
            if place and place["rows"] and _by_hour(entry):
                an_hour = int(entry["an_hour"])
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
                yield f"    {self._symbol([f'{self.placed[id(place)].offset}u', '2u * hour'])}"
                yield f"    {variable} -= {an_hour}u * hour;"
                yield "}"
                yield from self._alike(variable, an_hour)
            elif place and place["rows"]:
                start = f"{self.placed[id(place)].offset}u"
                code = self._around_centre(self.told.message, place, variable)
                yield self._symbol([start, code])
            else:
                yield from self._alike(variable, codes)
            fresh = False

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

    def _around_centre(self, part: Part, place: dict[str, Any], code: str) -> str:
        """Where a code's sum stands in its row."""
        if place["around"] == "none":
            return f"{SUM_OCTETS}u * {code}"
        folded = [SUM_OCTETS * each for each in folds(place)[0]]
        path = f"{part.path}.{part.fields[place['at']].name}"
        return f"{self.told.tables.array('uint8_t', folded, f'{path}: folded')}[{code}]"

    # ---- The function of an element

    def _say(self) -> Iterator[str]:
        name, tail, at_species = self.name, self.tail, self.tail.species_at
        yield "/* Send an element. */"
        yield f"static void say_{name}(struct {name}_walk *w, const struct {tail.struct.tag} *row)"
        yield "{"
        parts = []
        lines: list[str] = []
        for at, (_, entry) in enumerate(self._entries()):
            if at == at_species:
                parts.append((self._code(at), _width(entry)))
            elif _codes(entry) > 1:
                code = self.say.code(tail, at, "row->")
                variable = f"{self.variable(at, 'code')} = {code};"
                if at in self.kept:
                    variable = f"{self.variable(at, 'kept')} = {_and_one(code)}; /* and 1 */"
                yield f"{INDENT}const uint32_t {variable}"
                parts.append((self._code(at), _width(entry)))
        now = [_raised(self._code(tail.species_at or 0), self.low)]
        now += [_raised(self.variable(at, "kept"), self.shift(at)) for at in self.kept]
        fixed = "w->now.rows == 0u" if self.ranked else "w->room == IN_FIXED"
        lines += ["", f"if ({fixed}) {{"]
        lines += [INDENT + line for line in self._fixed(parts)]
        lines += [
            "    return;",
            "}",
            f"const uint32_t now = {' | '.join(now)};",
            f"uint32_t next = now, last, rank = {self.first_rank}u;",
            f"{self.word} *at = w->now.latest;",
            "",
        ]
        for at, (_, entry) in enumerate(self._entries()):
            lines += self._species(entry) if at == at_species else self._value(at, entry)
        if self.ranked_after:
            lines.append(self.moved)
        yield from (INDENT + line if line else "" for line in lines)
        yield "}"

    def _code(self, at: int) -> str:
        """A field's code."""
        if at == self.tail.species_at:
            return f"(uint32_t)row->{self.tail.species}"
        if at in self.kept:
            return f"({self.variable(at, 'kept')} - 1u)"
        return self.variable(at, "code") if _codes(self._entry(at)) > 1 else "0u"

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
        yield f"    {self._symbol([f'{self.new}u', f'2u * ({self.species})'])}"
        if self.kept:
            yield "    last = 0;"
        yield "}"

    @property
    def species(self) -> str:
        return f"now >> {self.low}" if self.low else "now"

    def _symbol(self, terms: list[str]) -> str:
        wide = "(uint32_t)" if terms[0].startswith("T") and len(terms) > 1 else ""
        place = wide + " + ".join(terms).replace("+ -", "- ")
        return f"symbol_{self.name}(w, {place});"

    def _value(self, at: int, entry: dict[str, Any]) -> Iterator[str]:
        place, code = entry["value"], self._code(at)
        codes = _codes(entry)
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
            by = sum(_codes(self._entry(other)) for other in self.by_last if other < at)
            now = self._bits("now", at, 1)
            terms.append(f"{self.folded}[{before}{f' + {by}u' if by else ''} + {now}]")
        elif LAST in placed.steps:
            row = 1
            before = self.variable(at, "before")
            terms.append(self._around_centre(self.tail, place, code))
        else:
            terms.append(self._around_centre(self.tail, place, code))
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

    # ---- All of it

    @property
    def ranked(self) -> bool:
        return any(RANK in placed.steps for placed in self.placed.values())

    @property
    def ranked_after(self) -> bool:
        """Whether a field after the species looks at the rank of the element before."""
        return any(
            RANK in place["contexts"]
            for _, entry in list(self._entries())[(self.tail.species_at or 0) + 1 :]
            for place in _tabled(entry)
        )

    @property
    def moved(self) -> str:
        """The statement that leaves the rank to the next element."""
        return f"w->now.rows = {self.rank_block // SUM_OCTETS}u * rank;"

    @property
    def list_member(self) -> str:
        assert self.tail.field is not None
        return self.told.struct.members[self.tail.field.name]

    @property
    def none(self) -> int:
        """What stands for no species: its bits are those of none."""
        return (1 << int(self.word[4:-2])) - 1

    @property
    def word(self) -> str:
        return "uint16_t" if self.told.capacity.bit_length() + self.low <= 16 else "uint32_t"

    def function(self) -> Iterator[str]:
        """The encoder, and all functions that it alone calls."""
        field, macro = self.tail.field, self.told.names.macro
        assert field is not None
        entries = self.told.message.said["fields"][:-1]
        fixed = PLAIN_BITS + sum(map(_width, entries)) + _count_width(self.tail)
        each = sum(_width(entry) for _, entry in self._entries())
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
            "@start@": "\n".join(self._start()),
            "@say@": "\n".join(self._say()),
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
        lines = []
        if field.most < 255:
            lines += [f"{INDENT}if ({count} > {field.most}u) {{", refused, f"{INDENT}}}"]
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
        least = [f"{counted} < {field.least}u"] * (field.least > 0)
        tests = [*least, *self._ranges(message, "message->")]
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


class CompactHear(Hear):
    """Decoding by the same tables."""

    def __init__(self, told: Told, compact: Compact, *, wide: bool) -> None:
        super().__init__(told, wide=wide)
        self.compact = compact

    def table(
        self, part: Part, place: dict[str, Any], symbols: int, depth: int, code: str = ""
    ) -> str:
        """Where a row of sums begins."""
        placed = self.compact.placed[id(place)]
        terms, offset = [self.compact.words], placed.offset
        for name, step in placed.steps.items():
            if name == KIN:
                within = offset - (self.compact.rank_start if RANK in placed.steps else 0)
                kin = self.compact.kin(placed, within)
                terms.append(f"{kin}[{part.at}{part.species}] / {SUM_OCTETS}u")
                offset -= within
                continue
            kind, _ = self._context(part, place, name)
            kind = f"({kind} - 1u)" if name in NEAR else kind
            terms.append(f"{step // SUM_OCTETS}u * {f'({kind})' if ' ' in kind else kind}")
        del symbols, depth, code
        return " + ".join([*terms, *([f"{offset // SUM_OCTETS}u"] if offset else [])])

    def starts(self, part: Part, entry: dict[str, Any]) -> str:
        del part, entry
        return f"{self.compact.words} + {self.compact.new // SUM_OCTETS}u"

    def more_row(self, tail: Part) -> str:
        del tail
        return f"{self.compact.words} + {self.compact.more // SUM_OCTETS}u + 2u * spare"


def _and_one(code: str) -> str:
    """An expression and 1."""
    less = re.fullmatch(r"\((.*) - (\d+)u\)", code)
    if less is None:
        return f"{code} + 1u"
    return less[1] if less[2] == "1" else f"{less[1]} - {int(less[2]) - 1}u"


def _raised(text: str, by: int) -> str:
    return f"({text} << {by})" if by else text


def _by_hour(entry: dict[str, Any]) -> bool:
    return entry["part"] == "start" and entry["hour"] is not None


def _codes(entry: dict[str, Any]) -> int:
    return 1 << len(entry["flags"]) if "flags" in entry else int(entry["codes"])


def _width(entry: dict[str, Any]) -> int:
    return (_codes(entry) - 1).bit_length()


def _count_width(tail: Part) -> int:
    assert tail.field is not None
    return (tail.field.most - tail.field.least).bit_length()


def _keeps(entry: dict[str, Any]) -> bool:
    """Whether the field's code in the last element of the species is asked for."""
    if entry["part"] == "species":
        return False
    return any(LAST in (*place["contexts"], place["around"]) for place in _tabled(entry))


def _tabled(entry: dict[str, Any]) -> list[dict[str, Any]]:
    """The places of a field that go by a table."""
    places = [entry.get(key) for key in ("value", "hour", "recent")]
    return [place for place in places if place and place["rows"] and place["codes"] > 1]


def _follows(entry: dict[str, Any], tail: Part) -> bool:
    """Whether the fields said before, by which a field's tables go, are few or have classes."""
    for place in _tabled(entry):
        for name in set(NEAR) & set(place["contexts"]):
            at, codes = place["before"][NEAR[name]]
            value = tail.said["fields"][at].get("value")
            if codes > MOST_ALONE and not (value and value["rows"]):
                return False
    return True


def _fits_before(entry: dict[str, Any]) -> bool:
    """Whether a field before the list is one that the compact form sends."""
    codes = _codes(entry)
    if entry["part"] == "start":
        if entry["hour"] is None or not entry["hour"]["rows"]:
            return entry["hour"] is None and codes <= MOST_ALIKE
        by_hour = entry["hour"]
        return not by_hour["contexts"] and by_hour["around"] == "none" and codes <= MOST_ALIKE
    return entry["part"] in ("value", "gap") and _fits_alone(entry["value"], codes)


def _fits_alone(place: dict[str, Any], codes: int) -> bool:
    if not place["rows"]:
        return codes <= MOST_ALIKE
    few = codes <= MOST_ALONE and not place["contexts"]
    return few and place["around"] in ("none", "centre")


def _fits_in(entry: dict[str, Any]) -> bool:
    """Whether a field of the elements is one that the compact form sends."""
    if entry["part"] == "species":
        place = entry["recent"]
        return bool(
            place
            and place["rows"]
            and set(place["contexts"]) <= {RANK, *NEAR}
            and place["around"] == "none"
            and len(entry["new"]) == 1
        )
    if entry["part"] not in ("value", "gap"):
        return False
    place, codes = entry["value"], _codes(entry)
    if not place["rows"]:
        return codes <= MOST_ALIKE
    contexts, around = set(place["contexts"]), place["around"]
    if codes > MOST_ALONE and (cut(codes) or around != "none" or LAST in contexts):
        return False
    return (
        codes <= MOST_ALIKE
        and contexts <= {RANK, KIN, LAST, *NEAR}
        and not {RANK, LAST} <= contexts
        and around in ("none", "centre", LAST)
        and (codes <= FEW or LAST not in (*contexts, around))
    )
