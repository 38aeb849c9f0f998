"""What a field is in C: its type, its names, and how a schema's names are made safe.

Structs hold plain whole numbers: quantities in the units of `whole`, times in seconds since the
epoch, species and enumerations as their codes, flags as a mask.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from dataclasses import field as dataclass_field

from packcodec.emit.names import Names, word
from packcodec.emit.whole import unit_of, whole
from packcodec.errors import LayoutError, Reason
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Layout
from packcodec.schema.model import (
    Boolean,
    Enumeration,
    Field,
    Flags,
    ListOf,
    Message,
    Schema,
    SpeciesCode,
    Time,
)

# C99 (6.4.1) and C++ keywords, the macros of the headers included, and what GNU modes predefine.
_KEYWORDS = """
    alignas alignof and and_eq asm auto bitand bitor bool break case catch char class compl concept
    const consteval constexpr constinit const_cast continue co_await co_return co_yield decltype
    default delete do double dynamic_cast else enum explicit export extern false float for friend
    goto if inline int linux long mutable namespace new noexcept not not_eq nullptr offsetof
    operator or or_eq private protected public register reinterpret_cast requires restrict return
    short signed sizeof static static_assert static_cast struct switch template this thread_local
    throw true try typedef typeid typename typeof union unix unsigned using virtual void volatile
    wchar_t while xor xor_eq i386 i486 i586 i686 arm vax
"""
KEYWORDS = frozenset(_KEYWORDS.split())

# What a function may answer: the reasons of packcodec.errors under their numbers, and our own.
RESULTS = {"OK": 0, **{reason.name: int(reason) for reason in Reason}, "NO_ROOM": 100}
# Of sealed schemas only.
NO_KEY = ("NO_KEY", 101)


@dataclass(frozen=True, slots=True)
class CType:
    """An exact-width integer type."""

    bits: int
    signed: bool = False

    @property
    def name(self) -> str:
        return f"{'int' if self.signed else 'uint'}{self.bits}_t"

    @property
    def low(self) -> int:
        return -(1 << (self.bits - 1)) if self.signed else 0

    @property
    def high(self) -> int:
        return (1 << (self.bits - self.signed)) - 1


def type_of(field: Field, schema: Schema, path: str) -> CType:
    """The member that holds any field but a boolean or a list.

    Raises LayoutError for a field that 64 bits cannot hold.
    """
    number = whole(field)
    if number is None:
        last = codes_of(field, schema) - 1
        if isinstance(field, Time):
            return CType(32 if field.span_s <= 1 << 32 else 64)
        return _narrowest(0, last, 8, path)
    # A side that clamps is there to be passed: where it can, its type has room beyond it.
    least = 16 if number.clamp_below or number.clamp_above else 8
    signed = number.clamp_below and number.high <= CType(64, signed=True).high
    return _narrowest(min(number.low, -signed), number.high, least, path)


def _narrowest(low: int, high: int, least: int, path: str) -> CType:
    for bits in (8, 16, 32, 64):
        for signed in (False, True):
            found = CType(bits, signed)
            if bits >= least and found.low <= low and high <= found.high:
                return found
    raise LayoutError(
        f"runs from {low} to {high} in whole units, which no 64-bit integer holds",
        place=path,
        remedy="narrow its range or use a coarser step",
    )


@dataclass
class Struct:
    """A message or the elements of a list: the tag of its struct, and its members by field."""

    tag: str
    constant: str
    members: dict[str, str] = dataclass_field(default_factory=dict)
    presence: dict[str, str] = dataclass_field(default_factory=dict)
    counts: dict[str, str] = dataclass_field(default_factory=dict)
    elements: "dict[str, Struct]" = dataclass_field(default_factory=dict)
    masks: dict[str, tuple[str, ...]] = dataclass_field(default_factory=dict)
    values: dict[str, tuple[str, ...]] = dataclass_field(default_factory=dict)
    at_least: dict[str, str] = dataclass_field(default_factory=dict)
    at_most: dict[str, str] = dataclass_field(default_factory=dict)


class CNames:
    """Every name of a schema in C."""

    def __init__(self, layout: Layout) -> None:
        schema = layout.schema
        self.schema = schema
        self.prefix = schema.name
        self.macro = schema.name.upper()
        guards = ["cipher", "crypt"] * layout.check.sealed + ["ring"] * (layout.repair is not None)
        self._tags = Names(f"{self.prefix}_{name}" for name in ("header", *guards))
        taken = (*RESULTS, NO_KEY[0], "H", "TRUST_VALUES", "LARGEST_FRAME_BYTES")
        self._constants = Names(f"{self.macro}_{name}" for name in taken)
        self.message_codes: dict[str, str] = {}
        self.payload_bytes: dict[str, str] = {}
        self.frame_bytes: dict[str, str] = {}
        for message in schema.messages:
            upper = f"{self.macro}_{message.name.upper()}"
            self.message_codes[message.name] = self._constants.give(f"{upper}_MESSAGE")
            self.payload_bytes[message.name] = self._constants.give(f"{upper}_PAYLOAD_BYTES")
            self.frame_bytes[message.name] = self._constants.give(f"{upper}_FRAME_BYTES")
        self.structs = {message.name: self._message(message) for message in schema.messages}
        self.species = [
            (self._constants.give(f"{self.macro}_SPECIES_{word(row.label).upper()}"), row)
            for row in schema.species.rows
        ]

    def _message(self, message: Message) -> Struct:
        return self._struct(f"{self.prefix}_{message.name}", message.fields)

    def _struct(self, tag: str, fields: tuple[Field, ...]) -> Struct:
        struct = Struct(self._tags.give(tag), tag.upper())
        members = Names(KEYWORDS)
        for field in fields:
            struct.members[field.name] = members.give(field.name)
        for field in fields:
            if field.optional:
                struct.presence[field.name] = members.give(f"has_{field.name}")
            if isinstance(field, ListOf):
                struct.counts[field.name] = members.give(f"{field.name}_count")
                struct.elements[field.name] = self._struct(f"{tag}_{field.name}", field.fields)
            self._field_constants(struct, field)
        return struct

    def _field_constants(self, struct: Struct, field: Field) -> None:
        stem = f"{struct.constant}_{field.name.upper()}"
        match field:
            case Flags(flags=names):
                struct.masks[field.name] = tuple(self._named(stem, names))
            case Enumeration(values=names):
                struct.values[field.name] = tuple(self._named(stem, names))
        number = whole(field)
        if number is not None and number.clamp_above:
            struct.at_least[field.name] = self._constants.give(f"{stem}_AT_LEAST")
        if number is not None and number.clamp_below:
            struct.at_most[field.name] = self._constants.give(f"{stem}_AT_MOST")

    def _named(self, stem: str, names: tuple[str, ...]) -> Iterator[str]:
        for name in names:
            yield self._constants.give(f"{stem}_{name.upper()}")


def unit_comment(field: Field) -> str:
    """What the member's whole number counts."""
    match field:
        case Time(beyond="wrap"):
            return "seconds since the epoch; as decoded, modulo the span"
        case Time():
            return "seconds since the epoch"
        case SpeciesCode():
            return "species code"
        case Flags() | Enumeration() | Boolean() | ListOf():
            return ""
    number = whole(field)
    assert number is not None
    if number.decimals == 0:
        return ""
    return f"in units of {unit_of(field)}: {number.low} to {number.high} by {number.step}"
