"""A decoder written from spec/modelled-coding.md alone: slow, plain, and nothing of ours in it.

It shares the schema's classes with the package and no code. `decode` gives the codes of a payload
as nested lists: a group has an item a field, None where absent.
"""

from fractions import Fraction
from math import floor, log2
from typing import Any

from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Flags,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.models import PlaceTable

ROOTS = (256, 279, 304, 332, 362, 395, 431, 470)


class Refused(Exception):
    """Not a payload."""


def weights(row: bytes) -> list[int]:
    return [ROOTS[byte % 8] * 2 ** (byte // 8) for byte in row]


def frequencies(of: list[int], least: int = 1) -> list[int]:
    room, total = 65536 - least * len(of), sum(of)
    found = [least + each * room // total for each in of]
    order = sorted(range(len(of)), key=lambda i: (-(of[i] * room % total), i))
    for i in order[: 65536 - sum(found)]:
        found[i] += 1
    return found


def odds(logit: int) -> list[int]:
    logit = max(-120, min(120, logit))
    return frequencies(weights(bytes([max(-logit, 0), max(logit, 0)])))


class Bits:
    """The range decoder on a text of 0 and 1."""

    def __init__(self, text: str) -> None:
        self.text = text + "0" * (-len(text) % 8)
        self.allowed = len(self.text) // 8
        self.value = int((self.text + "0" * 32)[:32], 2)
        self.range, self.shifts = 0xFC000000, 0

    def narrow(self, start: int, width: int) -> None:
        self.value -= start
        self.range = width
        while self.range < 2**24:
            self.shifts += 1
            if self.shifts > self.allowed:
                raise Refused
            at = 24 + 8 * self.shifts
            self.value = self.value * 256 + int((self.text + "0" * 40)[at : at + 8], 2)
            self.range *= 256

    def table(self, of: list[int]) -> int:
        r, start = self.range // 65536, 0
        for symbol, frequency in enumerate(of[:-1]):
            if self.value < start + r * frequency:
                self.narrow(start, r * frequency)
                return symbol
            start += r * frequency
        self.narrow(start, self.range - start)
        return len(of) - 1

    def alike(self, n: int) -> int:
        if n <= 65536:
            return self.digit(n)
        shift = (n - 1).bit_length() - 16
        number = self.digit(-(-n // 2**shift)) << shift
        while shift:
            width = min(16, shift)
            shift -= width
            number += self.digit(2**width) << shift
        if number >= n:
            raise Refused
        return number

    def digit(self, n: int) -> int:
        r = self.range // n
        digit: int = self.value // r
        if digit >= n:
            raise Refused
        self.narrow(r * digit, r)
        return digit

    def spent(self) -> int:
        return 8 * self.shifts + 32 - len(f"{self.range:b}")


def classes(n: int) -> list[tuple[int, int]]:
    if n <= 24:
        return [(code, 1) for code in range(n)]
    found, at, width = [(code, 1) for code in range(8)], 8, 4
    while at < n:
        for _ in range(2):
            if at < n:
                found.append((at, min(width, n - at)))
            at += width
        width *= 2
    return found


def class_of(code: int, n: int) -> int:
    return next(i for i, (at, width) in enumerate(classes(n)) if at <= code < at + width)


def bucket(code: int | None, n: int) -> int:
    if code is None:
        return 0
    return code + 1 if n <= 8 else class_of(code, n) * 8 // len(classes(n)) + 1


def unfolded(folded: int, centre: int, n: int) -> int:
    for code in (centre - folded // 2, centre + (folded + 1) // 2):
        if 0 <= code < n and fold(code, centre, n) == folded:
            return code
    return next(code for code in (folded, n - 1 - folded) if fold(code, centre, n) == folded)


def fold(code: int, centre: int, n: int) -> int:
    d, b = code - centre, min(centre, n - 1 - centre)
    if abs(d) > b:
        return b + abs(d)
    return 2 * d - 1 if d > 0 else -2 * d


class Remembered:
    """Of one list."""

    def __init__(self) -> None:
        self.previous: Any = None
        self.instances = 0
        self.rank: int | None = None
        self.latest: list[int] = []
        self.last: dict[int, Any] = {}
        self.instance: dict[int, int] = {}


class SpecDecoder:
    def __init__(self, schema: Schema, message: Message) -> None:
        self.schema, self.message = schema, message
        models = schema.models
        rows = [row.code for row in schema.species.rows if not row.added]
        self.known = list(models.species) if models else rows[:128]
        self.tables = {table.path: table for table in models.tables} if models else {}

    def decode(self, text: str) -> Any:
        """The codes of a payload that is not plain; `text` runs to the end of its last byte."""
        self.bits, self.room = Bits(text), len(text)
        self.start: int | None = None
        self.elapsed = 0
        self.lists: dict[str, Remembered] = {}
        fields, path = self.message.fields, f"message.{self.message.name}"
        return self.group(fields, path, Remembered(), None, top=True)

    def codes(self, field: Any) -> int:
        match field:
            case Integer():
                return field.high - field.low + 1
            case Scaled():
                return int((field.high - field.low) / field.step) + 1
            case Boolean():
                return 2
            case Flags():
                return 2 ** len(field.flags)
            case Enumeration():
                return len(field.values)
            case SpeciesCode():
                return self.schema.species.capacity
            case Time():
                return field.span_s // field.step_s
            case Duration():
                return int(Fraction(field.high_s) / Fraction(field.step_s)) + 1
        raise AssertionError(field)

    def group(self, fields: Any, path: str, here: Remembered, known: int | None, top: bool) -> Any:
        species = [i for i, f in enumerate(fields) if isinstance(f, SpeciesCode) and not f.optional]
        the_species = species[0] if len(species) == 1 and not top else None
        clock = next((f for f in fields if isinstance(f, Duration) and f.since), None)
        group: list[Any] = []
        first_time = next((i for i, f in enumerate(fields) if isinstance(f, Time)), None)
        for i, field in enumerate(fields):
            place = (fields, i, group, here, the_species, top)
            own = f"{path}.{field.name}"
            if known is not None and i == the_species:
                group.append(known)
                continue
            if field.optional and not self.value(
                f"{own}?", 2, place, lambda row, i=i: int(row[i] is not None), [128, 128]
            ):
                group.append(None)
                continue
            if isinstance(field, ListOf):
                group.append(self.listed(field, own, place, top and i == len(fields) - 1))
            elif top and i == first_time:
                group.append(self.time(field, own, place))
            elif isinstance(field, SpeciesCode):
                group.append(self.species(own, here, place))
            else:
                group.append(self.field(field, own, place))
                if clock is not None and field is clock:
                    self.elapsed += group[-1] * int(field.step_s)
        return group

    def field(self, field: Any, path: str, place: Any) -> int:
        n, i = self.codes(field), place[1]
        count = len(classes(n))
        default = None
        total = isinstance(field, Integer) and field.total_of
        if isinstance(field, Integer | Enumeration) and n <= 65536 and not total:
            default = [128 - min(4 * c, 96) for c in range(count)]
        elif isinstance(field, Duration) and field.since:
            default = [128 - min(3 * c, 96) for c in range(count)]
        elif isinstance(field, Flags):
            default = [152] + [128] * (count - 1)
        species = place[4]
        small = isinstance(field, Integer | Scaled) and 3 <= n <= 24
        table = self.tables.get(path)
        if table is None and small and species is not None and species < i:
            first = bytes(default or [128] * n)
            near = bytes(128 - min(8 * code, 96) for code in range(n))
            rows = (first,) + (near,) * (n if n <= 8 else 8)
            table = PlaceTable(path, rows, ("last",), "last")
        return self.value(path, n, place, lambda row: row[i], default, table)

    def value(
        self, path: str, n: int, place: Any, get: Any, default: Any, table: Any = None
    ) -> int:
        table = table or self.tables.get(path)
        rows = table.rows if table else ([bytes(default)] if default else [])
        if not rows:
            return self.bits.alike(n)
        row = 0
        for name in table.contexts if table else ():
            size, value = self.context(name, table, n, place, get)
            row = row * size + value
        around = table.around if table else "none"
        centre = 0
        if around != "none":
            earlier = None if around == "centre" else self.earlier(around, place, get)
            centre = min(table.centre if earlier is None else earlier, n - 1)
        at, width = classes(n)[self.bits.table(frequencies(weights(rows[row])))]
        code = at + (self.bits.alike(width) if width > 1 else 0)
        return unfolded(code, centre, n) if around != "none" else code

    def earlier(self, name: str, place: Any, get: Any) -> int | None:
        fields, i, group, here, species, *_ = place
        if name.startswith("before"):
            back = int(name[7:] or 1)
            said = [j for j in range(i) if not isinstance(fields[j], ListOf)]
            code: int | None = group[said[-back]]
            return code
        row = here.previous if name == "previous" else here.last.get(group[species])
        return None if row is None else get(row)

    def context(self, name: str, table: Any, n: int, place: Any, get: Any) -> tuple[int, int]:
        fields, i, group, here, species, _ = place
        if name == "hour":
            return 8, self.hour()
        if name == "kin":
            kin = dict(zip(self.known, table.kin, strict=True))
            return 4, kin.get(group[species], 0)
        if name == "rank":
            return 6, 0 if here.rank is None else here.rank + 1
        if name.startswith("before"):
            said = [j for j in range(i) if not isinstance(fields[j], ListOf)]
            n = self.codes(fields[said[-int(name[7:] or 1)]])
        return (n + 1 if n <= 8 else 9), bucket(self.earlier(name, place, get), n)

    def hour(self) -> int:
        if self.start is None:
            return 4
        return (self.start + self.elapsed) // 3600 % 24 * 8 // 24

    def time(self, field: Time, path: str, place: Any) -> int:
        n = self.codes(field)
        if 3600 % field.step_s == 0 and field.span_s % 86400 == 0:
            h = 3600 // field.step_s
            usual = [8, 8, 8, 8, 12, 22, 28, 28, 26, 24, 22, 22]
            usual += [22, 22, 22, 24, 26, 28, 28, 24, 16, 10, 8, 8]
            day = self.bits.alike(n // (24 * h))
            hour = self.value(f"{path} hour", 24, place, None, [128 + each for each in usual])
            code = (day * 24 + hour) * h + self.bits.alike(h)
        else:
            code = self.bits.alike(n)
        if field.beyond == "reject" or field.span_s % 86400 == 0:
            self.start = code * field.step_s
        return code

    def rows(self, path: str, default: list[bytes]) -> list[bytes]:
        return list(self.tables[path].rows) if path in self.tables else default

    def likely(self) -> list[int]:
        kinds = {row.code: row.kind for row in self.schema.species.rows if not row.added}
        animals = [code for code in self.known if kinds.get(code) == "animal"]
        return [
            -4 * floor(log2(animals.index(code) + 1)) if code in animals else -40
            for code in self.known
        ]

    def species(self, path: str, here: Remembered, place: Any) -> int:
        latest = here.latest if place[1] == place[4] else []
        if place[1] == place[4]:
            usual = (
                (-64, -64, -64, -64, 19),
                (14, -12, -26, -34, 2),
                (10, 6, -20, -30, -2),
                (9, 0, -4, -24, 0),
                (8, 0, -10, -14, 2),
                (8, -7, -20, -28, 8),
            )
            rows = tuple(bytes(128 + each for each in row) for row in usual)
            table = PlaceTable(f"{path} recent", rows, ("rank",))
            table = self.tables.get(table.path, table)
            rank = self.value(table.path, 5, place, None, None, table)
            if rank < len(latest):
                return latest[rank]
            if rank < 4:
                raise Refused
        likely = bytes([*(128 + each for each in self.likely()), 88])
        new = self.rows(f"{path} new", [likely])
        symbol = self.bits.table(frequencies(weights(new[self.hour() if len(new) > 1 else 0])))
        another = symbol == len(self.known)
        species = self.bits.alike(self.schema.species.capacity) if another else self.known[symbol]
        if species in latest or (another and species in self.known):
            raise Refused
        return species

    def listed(self, field: ListOf, path: str, place: Any, last: bool) -> Any:
        here = self.lists.setdefault(path, Remembered())
        fields = field.fields
        species = [i for i, f in enumerate(fields) if isinstance(f, SpeciesCode) and not f.optional]
        clock = next((f for f in fields if isinstance(f, Duration) and f.since), None)
        may_be_set = len(species) == 1 and clock is None
        rows: list[Any] = []

        def element(known: int | None = None) -> None:
            row = self.group(fields, f"{path}[]", here, known, top=False)
            here.previous = row
            if len(species) == 1:
                code = row[species[0]]
                here.rank = here.latest.index(code) if code in here.latest else 4
                here.latest = [code, *(each for each in here.latest if each != code)][:4]
                here.last[code], here.instance[code] = row, here.instances
                if not may_be_set:
                    here.last = {each: here.last[each] for each in here.latest}
            rows.append(row)

        flag = self.rows(f"{path} set", [yes(40)])[0] if may_be_set else b""
        if may_be_set and self.bits.table(frequencies(weights(flag))):
            found = self.there(path, here)
            if not field.least <= len(found) <= field.most:
                raise Refused
            for code in found:
                element(code)
        elif last and not may_be_set and not field.optional and field.least < field.most:
            logits = (-23, -17, -12, -6, 0, 6, 12, 17, 23, 29, 35, 40, 46, 52, 58, 64)
            more = self.rows(f"{path} more", [yes(logit) for logit in logits])
            while len(rows) < field.most:
                left = self.room - self.bits.spent()
                if len(rows) >= field.least and left < 24:
                    row = min(15, max(0, left))
                    if not self.bits.table(frequencies(weights(more[row]), 256)):
                        break
                element()
        else:
            n, i = field.most - field.least + 1, place[1]
            usual = [128 - min(c, 96) for c in range(len(classes(n)))]

            def counted(row: Any) -> int | None:
                return None if row[i] is None else len(row[i]) - field.least

            for _ in range(field.least + self.value(f"{path} count", n, place, counted, usual)):
                element()
            codes = [row[species[0]] for row in rows] if may_be_set else []
            ascending = codes == sorted(set(codes)) and set(codes) <= set(self.known)
            if may_be_set and ascending:
                raise Refused
        here.instances += 1
        return rows

    def there(self, path: str, here: Remembered) -> list[int]:
        usual = bytes(96 + each for each in self.likely())
        there = self.rows(f"{path} there", [usual])
        by_age = (0, -4, -6, -6, -8, 26, 18, 14, 12, 8, 6)
        ages = self.rows(f"{path} age", [bytes(128 + each for each in by_age)])[0]
        hour = there[self.hour() if len(there) > 1 else 0]
        found = []
        for code, base in zip(self.known, hour, strict=True):
            if here.instances == 0:
                age = 0
            elif code not in here.instance:
                age = min(here.instances, 4)
            else:
                age = 4 + min(6, here.instances - here.instance[code])
            if self.bits.table(odds(base - 128 + ages[age] - 128)):
                found.append(code)
        return found


def yes(logit: int) -> bytes:
    return bytes([128 - logit // 2, 128 - logit // 2 + logit])
