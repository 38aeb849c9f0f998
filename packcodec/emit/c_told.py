"""What is known of a message while it is coded, as C holds it.

Of a list with one species an element: the four species seen last, with where the last element of
each stands in the message. All else is looked up in the message itself.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field
from math import gcd
from typing import Any

from packcodec.codec.modelled.history import MOST_RECENT
from packcodec.emit.c_header import INDENT, literal
from packcodec.emit.c_tables import Tables
from packcodec.emit.c_types import CNames, Struct
from packcodec.emit.names import Names
from packcodec.errors import LayoutError
from packcodec.layout.model import MessageLayout
from packcodec.schema.model import Field, ListOf

LAST, PREVIOUS, KIN, RANK, HOUR = "last", "previous", "kin", "rank", "hour"


@dataclass
class Part:
    """A message or the elements of one of its lists; a message is a part without a list."""

    key: str
    path: str
    fields: tuple[Field, ...]
    said: dict[str, Any]
    struct: Struct
    field: ListOf | None = None
    outer: "Part | None" = None
    most: int = 1
    lists: dict[str, "Part"] = dataclass_field(default_factory=dict)

    @property
    def depth(self) -> int:
        return 0 if self.outer is None else 1 + self.outer.depth

    @property
    def species_at(self) -> int | None:
        found = self.said["species_at"]
        return None if found is None else int(found)

    @property
    def species(self) -> str:
        """The member that holds an element's one species."""
        assert self.species_at is not None
        return self.struct.members[self.fields[self.species_at].name]

    @property
    def sets(self) -> bool:
        """Whether the list may be sent as a set."""
        return bool(self.field is not None and self.said["set"])

    @property
    def tail(self) -> bool:
        return bool(self.field is not None and self.said["more"])

    @property
    def at(self) -> str:
        """What leads to the values of this part in a function of its own."""
        return "row->" if self.outer else "message->"

    def element(self, *places: str) -> str:
        """The element at those places, one for each list that it is in."""
        assert self.field is not None
        assert self.outer is not None
        outer = f"{self.outer.element(*places[:-1])}." if self.outer.outer else "message->"
        return f"{outer}{self.outer.struct.members[self.field.name]}[{places[-1]}]"

    def asks(self, what: str) -> bool:
        """Whether a place of the elements looks at such an earlier code."""
        return any(what in (*place["contexts"], place["around"]) for place in self.places())

    def places(self) -> Iterator[dict[str, Any]]:
        """Those that send anything by a table."""
        for entry in self.said["fields"]:
            for key in ("presence", "value", "hour", "count", "recent"):
                place = entry.get(key)
                if place and place["rows"] and place["codes"] > 1:
                    yield place


@dataclass(frozen=True, slots=True)
class Seen:
    """A species seen as one word of 32 bits: the species, and where its last element stands.

    Widths in bits, the lowest last; one place for each list that the element is in.
    """

    places: tuple[int, ...]
    species: int

    def word(self, species: str) -> str:
        """All in one, with i and j as places."""
        text, low = "", 0
        for name, bits in reversed([*zip("ij", self.places, strict=False)]):
            text = f"{_raised(name, low)}{f' | {text}' if text else ''}"
            low += bits
        return f"{_raised(species, low)} | {text}"

    def species_of(self, word: str) -> str:
        return _cut(word, sum(self.places), self.species)

    def places_of(self, word: str) -> list[str]:
        texts: list[str] = []
        low = 0
        for bits in reversed(self.places):
            texts.insert(0, _cut(word, low, bits))
            low += bits
        return texts


def _raised(text: str, low: int) -> str:
    return f"(uint32_t){text} << {low}" if low else f"(uint32_t){text}"


def _cut(word: str, low: int, bits: int) -> str:
    shifted = f"{word} >> {low}" if low else word
    return f"({shifted} & {literal((1 << bits) - 1)})"


def is_gap(entry: dict[str, Any]) -> bool:
    """Whether a field is a duration that moves the clock on."""
    return bool(entry["part"] == "gap")


def _type_of(bits: int, path: str) -> str:
    """The least of 32 and 64 bits that is wide enough."""
    if bits > 64:
        raise LayoutError(
            "more can happen in one packet than a word of 64 bits tells apart",
            place=path,
            remedy="narrow the durations since the previous element, or shorten the lists",
        )
    return "uint32_t" if bits <= 32 else "uint64_t"


class Told:
    """One message: its parts, and the struct of what is known of it so far."""

    def __init__(
        self,
        each: MessageLayout,
        said: dict[str, Any],
        names: CNames,
        tables: Tables,
        keys: Names,
    ) -> None:
        self.name = each.name
        self.names = names
        self.tables = tables
        self.capacity = names.schema.species.capacity
        self.keys = keys
        self.struct = names.structs[each.name]
        self.message = Part(
            each.name, f"message.{each.name}", each.message.fields, said, self.struct
        )
        self.parts = [self.message, *self._inner(self.message)]
        gaps = [entry for part in self.parts for entry in part.said["fields"] if is_gap(entry)]
        self.clocked = bool(gaps) and self.hours
        self.unit_s = gcd(*(int(entry["step_s"]) for entry in gaps)) if gaps else 1
        self.longest = self._longest() if self.clocked else 0
        self.moment = _type_of(self.longest.bit_length(), self.message.path)
        self.seen = {
            part.key: self._seen(part) for part in self.parts if part.species_at is not None
        }

    def _inner(self, part: Part) -> Iterator[Part]:
        for field, entry in zip(part.fields, part.said["fields"], strict=True):
            if isinstance(field, ListOf):
                inner = Part(
                    self.keys.give(f"{part.key}_{field.name}"),
                    f"{part.path}.{field.name}[]",
                    field.fields,
                    entry,
                    part.struct.elements[field.name],
                    field,
                    part,
                    part.most * field.most,
                )
                part.lists[field.name] = inner
                yield inner
                yield from self._inner(inner)

    def _longest(self) -> int:
        """The most that can pass in one packet, in units of the clock."""
        return sum(
            part.most * (entry["codes"] - 1) * (entry["step_s"] // self.unit_s)
            for part in self.parts
            for entry in part.said["fields"]
            if is_gap(entry)
        )

    @property
    def tail(self) -> Part | None:
        return next((part for part in self.parts if part.tail), None)

    @property
    def start(self) -> dict[str, Any] | None:
        """The time from which the hours of the day are counted."""
        found = (entry for entry in self.message.said["fields"] if entry["part"] == "start")
        return next((entry for entry in found if entry["known"]), None)

    @property
    def seconds(self) -> str:
        """The type of seconds since the epoch, past the last moment too."""
        start = self.start
        assert start is not None
        latest = int(start["codes"]) * int(start["step_s"]) + self.longest * self.unit_s
        return _type_of(latest.bit_length(), self.message.path)

    @property
    def hours(self) -> bool:
        """Whether the hour of the day is known, and chooses any row."""
        entries = [entry for part in self.parts for entry in part.said["fields"]]
        rows = [len(entry.get(key) or ()) for entry in entries for key in ("new", "there")]
        asked = max(rows, default=0) > 1 or any(part.asks(HOUR) for part in self.parts)
        return self.start is not None and asked

    def _seen(self, part: Part) -> Seen:
        lists = [each.field.most for each in (part.outer, part) if each and each.field]
        places = tuple(max(0, most - 1).bit_length() for most in lists)
        return Seen(places, (self.capacity - 1).bit_length())

    @property
    def remembers(self) -> bool:
        """Whether there is anything to know that the message itself does not say."""
        return any(True for _ in self._members())

    def structs(self) -> Iterator[str]:
        """What is known of a message so far."""
        if self.remembers:
            yield f"struct {self.name}_past {{"
            yield from (f"{INDENT}{line}" for line in self._members())
            yield "};"
            yield ""

    def _members(self) -> Iterator[str]:
        if self.hours:
            yield f"{self.seconds} start_s;"
            yield "bool started;"
        if self.clocked:
            yield f"{self.moment} elapsed; /* in units of {self.unit_s} s */"
        for part in self.parts:
            if part.species_at is not None:
                yield f"uint8_t {part.key}_count; /* the species seen last, the latest first */"
                yield f"uint32_t {part.key}[{MOST_RECENT}]; /* species, and where its last is */"
            if part.asks(RANK):
                yield f"uint8_t {part.key}_rank; /* of the one before, from 1 on; 0 for none */"
            if part.depth == 2 and part.sets:
                yield f"uint8_t {part.key}_instances;"
                known = max(1, len(self.tables.known))
                yield f"uint8_t {part.key}_in[{known}]; /* the last instance with it, from 1 on */"

    def reset(self) -> Iterator[str]:
        """Nothing is known."""
        if self.hours:
            yield "past->start_s = 0;"
            yield "past->started = false;"
        if self.clocked:
            yield "past->elapsed = 0;"
        for part in self.parts:
            if part.species_at is not None:
                yield f"past->{part.key}_count = 0;"
            if part.asks(RANK):
                yield f"past->{part.key}_rank = 0;"
            if part.depth == 2 and part.sets:
                yield f"past->{part.key}_instances = 0;"
                yield f"memset(past->{part.key}_in, 0, sizeof past->{part.key}_in);"
