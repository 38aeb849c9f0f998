"""A message's codes in the order they are sent: one walk to encode, to decode and to train.

Fields go in the schema's order, an optional one after a symbol for its presence. A list goes in
one of three ways:

    set    rows that ascend strictly by species: for each known species, whether it is there
    tail   the last field of a message: before each element, whether there is one more, by the
           room that is left in the frame
    count  any other list: its count first

Species in a list go as one of the four seen last in the same packet, or as a new one, by the hour.
"""

from collections.abc import Callable
from operator import itemgetter
from typing import Any, TypeVar

from packcodec.codec.modelled.coder import ROOM_ROWS, Coder, Flags, meaningless, steps_of
from packcodec.codec.modelled.defaults import default_table
from packcodec.codec.modelled.history import HOURS_IN_DAY, History, ListHistory, Now
from packcodec.codec.modelled.place import (
    Part,
    Place,
    Spot,
    TablePlace,
    check_contexts,
    check_rows,
)
from packcodec.codec.modelled.sets import SetOf
from packcodec.codec.modelled.species import SpeciesPart
from packcodec.codec.modelled.tables import cumulative
from packcodec.codec.modelled.tree import Item, Tree
from packcodec.errors import LayoutError
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
        _check_species(models.species, schema)
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
        self.group = Group(self, message.fields, self.path, listed=False)
        last = self.group.parts[-1] if message.fields else None
        tail = last.more if isinstance(last, ListPart) and last.tail else ()
        self.flags: Flags = tuple(steps_of(table) for table in tail)

    @property
    def has_tail(self) -> bool:
        """Whether the payload's size depends on the room there is."""
        return bool(self.flags)

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


class Group:
    """The fields of a message or of a list's elements."""

    def __init__(self, walk: Walk, fields: tuple[Field, ...], path: str, *, listed: bool) -> None:
        self.fields, self.path = fields, path
        clock = next((f for f in fields if isinstance(f, Duration) and f.since), None)
        species = [
            at for at, f in enumerate(fields) if isinstance(f, SpeciesCode) and not f.optional
        ]
        self.species = species[0] if listed and len(species) == 1 else None
        self.may_be_set = self.species is not None and clock is None
        self.parts: list[Part] = []
        started = False
        for at, f in enumerate(fields):
            spot = self._spot(walk, fields, at, f"{path}.{f.name}", listed)
            match f:
                case ListOf():
                    tail = not listed and at == len(fields) - 1 and not f.optional
                    part: Part = ListPart(walk, f, spot, tail=tail)
                case SpeciesCode():
                    part = SpeciesPart(walk, spot, self, ranked=at == self.species)
                case Time() if not listed and not started:
                    part, started = StartPart(walk, f, spot), True
                case Duration() if f.since:
                    part = GapPart(walk, f, spot)
                case _:
                    part = ValuePart(walk, spot)
            self.parts.append(OptionalPart(walk, spot, part) if f.optional else part)

    def _spot(
        self, walk: Walk, fields: tuple[Field, ...], at: int, path: str, listed: bool
    ) -> Spot:
        f = fields[at]
        said = [n for n in range(at) if not isinstance(fields[n], ListOf)]
        before = [(n, codes_of(fields[n], walk.schema)) for n in reversed(said)]
        return Spot(
            path=path,
            role="value",
            codes=codes_of(f, walk.schema),
            field=f,
            get=itemgetter(at),
            listed=listed,
            species=self.species if self.species is not None and self.species < at else None,
            before=tuple(before[: len(BEFORE)]),
            ranked=self.species is not None,
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
        group: Tree = [None] * len(self.fields)
        now = Now(history, here, group)
        for at, part in enumerate(self.parts):
            if known is not None and at == self.species:
                group[at] = known
            else:
                item = None if said is None else said[at]
                group[at] = part.code(coder, now, item)
        return group

    def note(self, here: ListHistory, group: Tree) -> None:
        species: Any = None if self.species is None else group[self.species]
        here.add(group, species, keeps=self.may_be_set)


class ValuePart:
    """A value by the table of its place."""

    def __init__(self, walk: Walk, spot: Spot) -> None:
        self.place = walk.make(spot, walk.table(spot))

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        return self.place.code(coder, now, said)


class OptionalPart:
    """Whether a field is there, and then the field."""

    def __init__(self, walk: Walk, spot: Spot, part: Part) -> None:
        get = spot.get
        presence = spot.like(
            f"{spot.path}?", "presence", 2, lambda group: int(get(group) is not None)
        )
        self.presence = walk.make(presence, walk.table(presence))
        self.part = part

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        if self.presence.code(coder, now, int(said is not None)):
            return self.part.code(coder, now, said)
        return None


class StartPart:
    """The first time of a message: its hour by a table, and the day's hours start from it."""

    def __init__(self, walk: Walk, field: Time, spot: Spot) -> None:
        self.codes = spot.codes
        self.step_s = field.step_s
        self.known = field.beyond == "reject" or field.span_s % DAY_S == 0
        self.an_hour = HOUR_S // field.step_s
        self.by_hour = HOUR_S % field.step_s == 0 and field.span_s % DAY_S == 0
        if self.by_hour:
            hour = spot.like(f"{spot.path} hour", "hour", HOURS_IN_DAY, spot.get)
            self.hour = walk.make(hour, walk.table(hour))

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
        hour = self.hour.code(coder, now, hour)
        rest = coder.uniform(self.an_hour, rest)
        return (days * HOURS_IN_DAY + hour) * self.an_hour + rest


class GapPart:
    """A duration since the element before: it moves the clock."""

    def __init__(self, walk: Walk, field: Duration, spot: Spot) -> None:
        self.step_s = int(field.step_s)
        self.place = walk.make(spot, walk.table(spot))

    def code(self, coder: Coder, now: Now, said: Any) -> Item:
        code = self.place.code(coder, now, said)
        now.history.elapsed_s += code * self.step_s
        return code


class ListPart:
    """The elements of a list: as a set, as a tail or by count."""

    def __init__(self, walk: Walk, field: ListOf, spot: Spot, *, tail: bool) -> None:
        self.path = spot.path
        self.least, self.most = field.least, field.most
        self.element = Group(walk, field.fields, f"{spot.path}[]", listed=True)
        self.set = None
        if self.element.may_be_set:
            self.set = SetOf(walk, spot, self)
        self.tail = tail and self.set is None and self.least < self.most
        least, rows_of = self.least, spot.get

        def count(group: Tree) -> int | None:
            rows: Any = rows_of(group)
            return None if rows is None else len(rows) - least

        counted = spot.like(f"{spot.path} count", "count", spot.codes, count)
        self.count = walk.make(counted, walk.table(counted))
        if self.tail:
            more = walk.table(spot.like(f"{spot.path} more", "more", 2, spot.get))
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
        self.element.note(inner, row)
        return row


def _check_species(known: tuple[int, ...], schema: Schema) -> None:
    """Known species ascend, so the ends tell."""
    capacity = schema.species.capacity
    for code in known[:1] + known[-1:]:
        if not 0 <= code < capacity:
            raise LayoutError(
                f"know a species {code}",
                place="models species",
                remedy=f"the schema's codes are below {capacity}; models belong to the schema they"
                " were trained for",
            )
