"""A message's codes in the order they are sent: one walk to encode, to decode and to train.

Fields go in the schema's order, an optional one after a symbol for its presence. A list goes in
one of three ways:

    set    rows that ascend strictly by species: for each known species, whether it is there
    tail   the last field of a message: before each element, whether there is one more, by the
           room that is left in the frame
    count  any other list: its count first

Species in a list go as one of those seen lately in the same packet, by the time since each was
seen, or as a new one, by the hour.
"""

from collections.abc import Callable
from itertools import pairwise
from operator import itemgetter
from typing import Any, TypeVar

from packcodec.codec.modelled.coder import ROOM_ROWS, Coder, Cumulative, meaningless
from packcodec.codec.modelled.defaults import default_table
from packcodec.codec.modelled.history import (
    AGES,
    HOUR_ROWS,
    HOURS_IN_DAY,
    MOST_RECENT,
    SET_AGES,
    History,
    ListHistory,
    Now,
    age_row,
    set_age_row,
)
from packcodec.codec.modelled.place import Place, Spot, TablePlace, check_contexts, check_rows
from packcodec.codec.modelled.tables import OCTAVE, cumulative, frequencies, odds, weight
from packcodec.codec.modelled.tree import Item, Tree
from packcodec.frozen import replace
from packcodec.layout.compiler import codes_of
from packcodec.schema.model import Duration, Field, ListOf, Message, Schema, SpeciesCode, Time
from packcodec.schema.models import BEFORE, Models, PlaceTable

DAY_S = 86_400
HOUR_S = 3_600
# A flag that costs so little that it can be repeated for ever would let a short packet say a very
# long list: either answer keeps 1/256.
LEAST_MORE = 256

MakePlace = Callable[[Spot, PlaceTable], Place]
Frequencies = TypeVar("Frequencies", bound=tuple[int, ...])
DefaultTable = Callable[[Spot, Schema, tuple[int, ...]], PlaceTable]


class Walk:
    """The places of one message, each with its table; `code` goes through them once.

    `models` may lack tables, and are then completed by defaults. Raises LayoutError for a table
    that does not suit its place. Training looks on through `make` and `default`, and finds the
    lists' own tables in `species` and `sets`.
    """

    def __init__(
        self,
        message: Message,
        schema: Schema,
        models: Models,
        make: MakePlace | None = None,
        default: DefaultTable = default_table,
    ) -> None:
        self.message = message
        self.schema = schema
        self.models = models
        self.tables = {table.path: table for table in models.tables}
        self.make = make or (lambda spot, table: TablePlace(spot, table, models.species))
        self.default = default
        self.names: dict[int, str] = {}
        self.species: list[SpeciesPart] = []
        self.sets: list[SetOf] = []
        self.path = f"message.{message.name}"
        self.group = _Group(self, message.fields, self.path, listed=False)

    @property
    def has_tail(self) -> bool:
        """Whether the payload's size depends on the room there is."""
        return any(isinstance(part, _List) and part.tail for part in self.group.parts)

    def code(self, coder: Coder, tree: Tree | None) -> Tree:
        """Send `tree`, or read one where it is None."""
        history = History()
        return self.group.code(coder, history, history.of(self.path), tree)

    def named(self, path: str, table: Frequencies) -> Frequencies:
        """`table`, of which `names` then knows where it is used."""
        self.names[id(table)] = path
        return table

    def table(self, spot: Spot) -> PlaceTable:
        return self.tables.get(spot.path) or self.default(spot, self.schema, self.models.species)


class _Group:
    """The fields of a message or of a list's elements."""

    def __init__(self, walk: Walk, fields: tuple[Field, ...], path: str, *, listed: bool) -> None:
        self.size = len(fields)
        clock = next((f for f in fields if isinstance(f, Duration) and f.since), None)
        self.clock_step_s = int(clock.step_s) if clock else 0
        species = [
            at for at, f in enumerate(fields) if isinstance(f, SpeciesCode) and not f.optional
        ]
        self.species = species[0] if listed and len(species) == 1 else None
        self.parts: list[_Part] = []
        started = False
        for at, f in enumerate(fields):
            spot = self._spot(walk, fields, at, f"{path}.{f.name}", listed)
            match f:
                case ListOf():
                    tail = not listed and at == len(fields) - 1 and not f.optional
                    part: _Part = _List(walk, f, spot, tail=tail)
                case SpeciesCode():
                    part = SpeciesPart(walk, spot, self)
                case Time() if not listed and not started:
                    part, started = _Start(walk, f, spot), True
                case Duration() if f.since:
                    part = _Gap(walk, f, spot)
                case _:
                    part = _Value(walk, spot)
            self.parts.append(_Optional(walk, spot, part) if f.optional else part)

    def _spot(
        self, walk: Walk, fields: tuple[Field, ...], at: int, path: str, listed: bool
    ) -> Spot:
        f = fields[at]
        said = [n for n in range(at) if not isinstance(fields[n], ListOf)]
        before = [(_said_at(n), codes_of(fields[n], walk.schema)) for n in reversed(said)]
        return Spot(
            path=path,
            role="value",
            codes=codes_of(f, walk.schema),
            field=f,
            get=itemgetter(at),
            listed=listed,
            species=self.species if self.species is not None and self.species < at else None,
            before=tuple(before[: len(BEFORE)]),
            clock_step_s=self.clock_step_s,
        )

    def code(
        self,
        coder: Coder,
        history: History,
        here: ListHistory,
        said: Tree | None,
        known: int | None = None,
    ) -> Tree:
        """`known` is the code of the species where a set has said it."""
        group: Tree = [None] * self.size
        now = Now(history, here, group)
        for at, part in enumerate(self.parts):
            if known is not None and at == self.species:
                group[at] = known
            else:
                item = None if said is None else said[at]
                group[at] = part.code(coder, now, item)
        return group

    def moment(self, history: History, here: ListHistory) -> int:
        """When an element is: by its clock, else by its number."""
        return history.elapsed_s if self.clock_step_s else here.elements

    def note(self, history: History, here: ListHistory, group: Tree) -> None:
        species: Any = None if self.species is None else group[self.species]
        here.add(group, species, self.moment(history, here))


class _Part:
    """A field of a group."""

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        raise NotImplementedError


class _Value(_Part):
    def __init__(self, walk: Walk, spot: Spot) -> None:
        self.code = walk.make(spot, walk.table(spot)).code  # type: ignore[method-assign]


class _Optional(_Part):
    def __init__(self, walk: Walk, spot: Spot, part: _Part) -> None:
        get = spot.get
        presence = _like(
            spot, f"{spot.path}?", "presence", 2, lambda group: int(get(group) is not None)
        )
        self.presence = walk.make(presence, walk.table(presence))
        self.part = part

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        if self.presence.code(coder, now, int(said is not None)):
            return self.part.code(coder, now, said)
        return None


class _Start(_Part):
    """The first time of a message: its hour by a table, and the day's hours start from it."""

    def __init__(self, walk: Walk, field: Time, spot: Spot) -> None:
        self.codes = spot.codes
        self.step_s = field.step_s
        self.known = field.beyond == "reject" or field.span_s % DAY_S == 0
        self.an_hour = HOUR_S // field.step_s
        self.by_hour = HOUR_S % field.step_s == 0 and field.span_s % DAY_S == 0
        if self.by_hour:
            hour = _like(spot, f"{spot.path} hour", "hour", HOURS_IN_DAY, spot.get)
            self.place = walk.make(hour, walk.table(hour))

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        code = self._code(coder, now, said)
        if self.known:
            now.history.start_s = code * self.step_s
        return code

    def _code(self, coder: Coder, now: Now, said: Any) -> int:
        if not self.by_hour:
            return coder.uniform(self.codes, said)
        hours, rest = divmod(said or 0, self.an_hour)
        days, hour = divmod(hours, HOURS_IN_DAY)
        days = coder.uniform(self.codes // (HOURS_IN_DAY * self.an_hour), days)
        hour = self.place.code(coder, now, hour)
        rest = coder.uniform(self.an_hour, rest)
        return (days * HOURS_IN_DAY + hour) * self.an_hour + rest


class _Gap(_Part):
    """A duration since the element before: it moves the clock."""

    def __init__(self, walk: Walk, field: Duration, spot: Spot) -> None:
        self.step_s = int(field.step_s)
        self.place = walk.make(spot, walk.table(spot))

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        code = self.place.code(coder, now, said)
        now.history.elapsed_s += code * self.step_s
        return code


class SpeciesPart(_Part):
    """A species: one of the last eight in this packet, or another by the hour."""

    def __init__(self, walk: Walk, spot: Spot, group: _Group) -> None:
        walk.species.append(self)
        self.path = spot.path
        self.group = group
        self.capacity = spot.codes
        self.known = walk.models.species
        self.position = {code: at for at, code in enumerate(self.known)}
        recent = walk.table(_like(spot, f"{spot.path} recent", "recent", 2, spot.get))
        check_contexts(recent, ("age",))
        check_rows(recent, AGES, 2)
        self.hits = [walk.named(spot.path, cumulative(row)) for row in recent.rows]
        new = walk.table(_like(spot, f"{spot.path} new", "new", len(self.known) + 1, spot.get))
        check_contexts(new, ("hour",))
        check_rows(new, HOUR_ROWS if new.contexts else 1, len(self.known) + 1)
        self.new = [
            walk.named(spot.path, frequencies([weight(byte) for byte in row])) for row in new.rows
        ]
        self.step_s = max(group.clock_step_s, 1)

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        recent = now.here.recent[:MOST_RECENT]
        moment = self.group.moment(now.history, now.here)
        for species in recent:
            hit = self.hits[age_row((moment - now.here.when[species]) // self.step_s)]
            if coder.symbol(hit, int(said == species)):
                return species
        without = [self.position[species] for species in recent if species in self.position]
        new = self.new[now.history.hour_row() if len(self.new) > 1 else 0]
        escape = len(self.known)
        symbol = coder.among(new, without, self.position.get(said, escape))
        if symbol < escape:
            return self.known[symbol]
        species = coder.uniform(self.capacity, said)
        if species in self.position or species in recent:
            raise meaningless()
        return species


class _List(_Part):
    def __init__(self, walk: Walk, field: ListOf, spot: Spot, *, tail: bool) -> None:
        self.walk = walk
        self.path = spot.path
        self.least, self.most = field.least, field.most
        self.element = _Group(walk, field.fields, f"{spot.path}[]", listed=True)
        self.set = None
        if self.element.species is not None and not self.element.clock_step_s:
            self.set = SetOf(walk, spot, self)
        self.tail = tail and self.set is None and self.least < self.most
        least, rows_of = self.least, spot.get

        def count(group: Tree) -> int | None:
            rows: Any = rows_of(group)
            return None if rows is None else len(rows) - least

        counted = _like(spot, f"{spot.path} count", "count", spot.codes, count)
        self.count = walk.make(counted, walk.table(counted))
        if self.tail:
            more = walk.table(_like(spot, f"{spot.path} more", "more", 2, spot.get))
            check_contexts(more, ("room",))
            check_rows(more, ROOM_ROWS, 2)
            self.more = [walk.named(spot.path, cumulative(row, LEAST_MORE)) for row in more.rows]

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        history = now.history
        inner = history.of(self.path)
        if self.set is not None and coder.symbol(self.set.flag, int(self.set.holds(said))):
            rows = self.set.code(coder, history, inner, said)
        elif self.tail:
            rows = self._tail(coder, history, inner, said)
        else:
            fewest = None if said is None else len(said) - self.least
            count = self.least + self.count.code(coder, now, fewest)
            rows = []
            for at in range(count):
                rows.append(self._element(coder, history, inner, said, at))
            if self.set is not None and said is None and self.set.holds(rows):
                raise meaningless()
        inner.instances += 1
        return rows

    def _tail(self, coder: Coder, history: History, inner: ListHistory, said: Any) -> list[Tree]:
        rows: list[Tree] = []
        wanted = 0 if said is None else len(said)
        while len(rows) < self.most:
            if len(rows) >= self.least and not coder.more(self.more, int(len(rows) < wanted)):
                break
            rows.append(self._element(coder, history, inner, said, len(rows)))
        return rows

    def _element(
        self, coder: Coder, history: History, inner: ListHistory, said: Any, at: int
    ) -> Tree:
        row = self.element.code(coder, history, inner, None if said is None else said[at])
        self.element.note(history, inner, row)
        return row


class SetOf:
    """Rows that ascend strictly by species, all of them known: a yes or no for each species.

    The odds of yes are those of the species at the hour, times those of how long ago in this
    packet it was in the set.
    """

    def __init__(self, walk: Walk, spot: Spot, of: _List) -> None:
        walk.sets.append(self)
        self.walk = walk
        self.path = spot.path
        self.of = of
        self.known = walk.models.species
        self.positions = frozenset(self.known)
        flag = walk.table(_like(spot, f"{spot.path} set", "set", 2, spot.get))
        check_contexts(flag, ())
        check_rows(flag, 1, 2)
        self.flag = walk.named(spot.path, cumulative(flag.rows[0]))
        there = walk.table(_like(spot, f"{spot.path} there", "there", len(self.known), spot.get))
        check_contexts(there, ("hour",))
        check_rows(there, HOUR_ROWS if there.contexts else 1, len(self.known))
        age = walk.table(_like(spot, f"{spot.path} age", "age", SET_AGES, spot.get))
        check_contexts(age, ())
        check_rows(age, 1, SET_AGES)
        self.there = [[logit(byte) for byte in row] for row in there.rows]
        self.age = [logit(byte) for byte in age.rows[0]]
        self.odds: dict[tuple[int, int, int], Cumulative] = {}

    def odds_of(self, hour: int, at: int, age: int) -> Cumulative:
        """The table of a known species, by its place among the known."""
        found = self.odds.get((hour, at, age))
        if found is None:
            found = self.walk.named(self.path, odds(self.there[hour][at] + self.age[age]))
            self.odds[hour, at, age] = found
        return found

    def holds(self, rows: list[Tree] | None) -> bool:
        """Whether these rows can be sent as a set."""
        if rows is None:
            return False
        codes: list[Any] = [row[self.of.element.species or 0] for row in rows]
        return all(code in self.positions for code in codes) and all(
            one < other for one, other in pairwise(codes)
        )

    def code(
        self, coder: Coder, history: History, inner: ListHistory, said: list[Tree] | None
    ) -> list[Tree]:
        element = self.of.element
        said_of: dict[Any, Tree] = {row[element.species or 0]: row for row in said or ()}
        hour = history.hour_row() if len(self.there) > 1 else 0
        found = [
            species
            for at, species in enumerate(self.known)
            if coder.symbol(
                self.odds_of(hour, at, set_age_row(inner, species)), int(species in said_of)
            )
        ]
        if not self.of.least <= len(found) <= self.of.most:
            raise meaningless()
        rows = []
        for species in found:
            row = element.code(coder, history, inner, said_of.get(species), known=species)
            element.note(history, inner, row)
            rows.append(row)
        return rows


def _said_at(at: int) -> Callable[[Now], Any]:
    return lambda now: now.group[at]


def logit(byte: int) -> int:
    """A byte of a table of odds: 128 is even, 8 more is twice as likely."""
    return byte - 16 * OCTAVE


def _like(spot: Spot, path: str, role: str, codes: int, get: Callable[[Tree], Any]) -> Spot:
    return replace(spot, path=path, role=role, codes=codes, get=get)
