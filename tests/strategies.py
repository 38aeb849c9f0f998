"""Hypothesis strategies shared by the tests: whole schemas, and values that fit a message.

`schemas()` covers every field kind, nested lists, optionals, clamps, ranges of one value and
integers past 64 bits of range. `values_for(schema, message)` gives values as an encoder takes
them, always on the grid of the field, so that decoding them must give equal values.
"""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from fractions import Fraction
from typing import Any, Literal

from hypothesis import strategies as st

from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    FrameWidths,
    Integer,
    ListOf,
    Message,
    Repair,
    Scaled,
    Schema,
    Species,
    SpeciesCode,
    SpeciesKind,
    SpeciesTable,
    Time,
)

# Words of the field beside reserved words of the languages a layout may be emitted to, and pairs
# that collide when underscores or case are lost.
WORDS = """
at species individuals confidence power watched first last rows state
class def none true self int double struct end begin null out data length
integer sequence optional set type value values list time a_very_long_name_of_a_field
a1 a_1 ab a_b x i n c min max row here message w h code
"""
NAMES = tuple(WORDS.split())
UNITS = ("", "m", "mm", "V", "degC", "1")
STEPS = tuple(map(Fraction, ("0.001", "0.05", "0.1", "0.25", "0.3", "0.5", "1", "2.5", "7", "60")))
EARLIEST, LATEST = datetime(1970, 1, 1), datetime(2100, 1, 1)


def species_table(n: int, capacity: int | None = None) -> SpeciesTable:
    """`n` founding rows with codes 0..n-1, all animals but the last of five or more, a person."""
    kinds: list[SpeciesKind] = ["animal"] * n
    if n >= 5:
        kinds[-1] = "human"
    rows = tuple(
        Species(
            code=code,
            label=f"label {code}",
            scientific_name=f"Genus species{code}" if kind == "animal" else "",
            kind=kind,
            report="summary" if kind == "animal" else "count",
        )
        for code, kind in enumerate(kinds)
    )
    return SpeciesTable(rows, max(n, 1) if capacity is None else capacity)


@st.composite
def species_tables(draw: st.DrawFn) -> SpeciesTable:
    """Tables with gaps between codes, spare capacity, retired rows and rows that joined later."""
    codes = sorted(draw(st.sets(st.integers(0, 300), min_size=1, max_size=12)))
    retired = draw(st.sets(st.sampled_from(codes), max_size=len(codes) - 1))
    founding = draw(st.integers(1, len(codes)))
    rows = tuple(
        Species(
            code=code,
            label=f"label {code}",
            scientific_name=f"Genus species{code}",
            kind="animal",
            report=draw(st.sampled_from(["priority", "summary", "never"])),
            retired=code in retired,
            added="" if place < founding else "2027-06-01",
        )
        for place, code in enumerate(codes)
    )
    return SpeciesTable(rows, codes[-1] + 1 + draw(st.sampled_from([0, 1, 60])))


def counts(most: int) -> st.SearchStrategy[int]:
    """How many values a range has: 1, few, or about a power of two, where widths change."""
    near_powers = st.builds(
        lambda bits, off: min(max(1, (1 << bits) + off), most),
        st.integers(0, most.bit_length()),
        st.sampled_from([-1, 0, 1]),
    )
    return st.one_of(st.just(1), st.integers(1, min(20, most)), near_powers)


@st.composite
def integers(draw: st.DrawFn, name: str, optional: bool) -> Integer:
    least, most = -(1 << 63), (1 << 64) - 1
    span = draw(counts(most - least + 1)) - 1
    lows = st.one_of(st.integers(-20, 20), st.integers(least, most), st.just(least))
    low = max(least, min(draw(lows), most - span))
    clamp_below, clamp_above, unit = draw(CLAMPS)
    return Integer(name, low, low + span, clamp_below, clamp_above, unit, optional)


@st.composite
def scaleds(draw: st.DrawFn, name: str, optional: bool) -> Scaled:
    step = draw(st.sampled_from(STEPS))
    low = Fraction(draw(st.integers(-100_000, 100_000)), 100)
    high = low + step * (draw(counts(1 << 48)) - 1)
    clamp_below, clamp_above, unit = draw(CLAMPS)
    return Scaled(name, low, high, step, clamp_below, clamp_above, unit, optional)


@st.composite
def times(draw: st.DrawFn, name: str, optional: bool) -> Time:
    step_s = draw(st.sampled_from([1, 2, 60, 900, 3600, 86400]))
    # At most 2**31 s, 68 years, past an epoch before 2100: every instant is before year 9999.
    steps = draw(counts((1 << 31) // step_s))
    return Time(name, step_s, steps * step_s, draw(st.sampled_from(["wrap", "reject"])), optional)


@st.composite
def durations(draw: st.DrawFn, name: str, optional: bool) -> Duration:
    step_s = draw(st.sampled_from(STEPS))
    high_s = step_s * (draw(counts(1 << 32)) - 1)
    return Duration(name, step_s, high_s, draw(st.booleans()), optional)


def flags(name: str, optional: bool) -> st.SearchStrategy[Flags]:
    sizes = st.one_of(st.integers(1, 9), st.sampled_from([16, 63, 64]))
    return sizes.map(lambda n: Flags(name, tuple(f"flag_{i}" for i in range(n)), optional))


def enumerations(name: str, optional: bool) -> st.SearchStrategy[Enumeration]:
    sizes = st.one_of(st.integers(1, 9), st.sampled_from([16, 17, 255, 256]))
    return sizes.map(lambda n: Enumeration(name, tuple(f"value_{i}" for i in range(n)), optional))


@st.composite
def lists(draw: st.DrawFn, name: str, optional: bool, species: bool, depth: int) -> ListOf:
    fields = draw(field_tuples(species, depth - 1, most=3))
    least = draw(st.integers(0, 2))
    return ListOf(name, fields, least, least + draw(st.integers(0, 3)), optional)


CLAMPS = st.tuples(st.booleans(), st.booleans(), st.sampled_from(UNITS))
PLAIN: tuple[Callable[[str, bool], st.SearchStrategy[Field]], ...] = (
    integers,
    scaleds,
    times,
    durations,
    flags,
    enumerations,
    lambda name, optional: st.just(Boolean(name, optional)),
)


@st.composite
def fields(draw: st.DrawFn, name: str, species: bool, depth: int) -> Field:
    """One field of any kind; species codes if `species`, lists at most `depth` deep."""
    optional = draw(st.sampled_from([False, False, True]))
    kinds = [make(name, optional) for make in PLAIN]
    if species:
        kinds.append(st.just(SpeciesCode(name, optional)))
    if depth > 0:
        kinds.append(lists(name, optional, species, depth))
    return draw(st.one_of(kinds))


@st.composite
def field_tuples(draw: st.DrawFn, species: bool, depth: int, most: int) -> tuple[Field, ...]:
    names = draw(st.lists(st.sampled_from(NAMES), min_size=1, max_size=most, unique=True))
    return tuple(draw(fields(name, species, depth)) for name in names)


def bits_at_most(field: Field, capacity: int) -> int:
    """An upper bound of a field's bits, by its own simple arithmetic (not the layout's)."""
    match field:
        case Integer():
            bits = (field.high - field.low).bit_length()
        case Scaled():
            bits = int((field.high - field.low) / field.step).bit_length()
        case Boolean():
            bits = 1
        case Flags():
            bits = len(field.flags)
        case Enumeration():
            bits = len(field.values).bit_length()
        case SpeciesCode():
            bits = capacity.bit_length()
        case Time():
            bits = (field.span_s // field.step_s).bit_length()
        case Duration():
            bits = int(field.high_s / field.step_s).bit_length()
        case ListOf():
            bits = 8 + field.most * sum(bits_at_most(inner, capacity) for inner in field.fields)
    return bits + field.optional


def fitting(drawn: tuple[Field, ...], capacity: int, room: int) -> tuple[Field, ...]:
    """The drawn fields without those that no longer fit `room` bits; at least one field."""
    kept = []
    for field in drawn:
        bits = bits_at_most(field, capacity)
        if bits <= room:
            kept.append(field)
            room -= bits
    return tuple(kept) or (Boolean(drawn[0].name),)


@st.composite
def schemas(
    draw: st.DrawFn,
    *,
    coding: Literal["fixed", "modelled"] = "fixed",
    check: str = "crc24",
    largest_payload_bits: int = 1600,
    most_messages: int = 3,
    most_fields: int = 6,
    repaired: bool = False,
) -> Schema:
    """Valid schemas whose payloads stay within `largest_payload_bits`."""
    table = draw(st.one_of(species_tables(), st.just(SpeciesTable((), 0))))
    frame = FrameWidths(
        tag_bits=draw(st.sampled_from([0, 1, 8, 16, 32])),
        message_bits=draw(st.integers(0, 8)),
        station_bits=draw(st.sampled_from([0, 1, 6, 13, 32])),
        sequence_bits=draw(st.sampled_from([0, 1, 7, 10, 32])),
        check=check,
    )
    last_code = (1 << (frame.message_bits or 8)) - 1
    most = min(most_messages, last_code + 1)
    codes = draw(st.lists(st.integers(0, last_code), min_size=1, max_size=most, unique=True))
    messages = tuple(
        Message(
            f"message_{place}",
            code,
            fitting(
                draw(field_tuples(bool(table.rows), 2, most_fields)),
                table.capacity,
                largest_payload_bits,
            ),
        )
        for place, code in enumerate(sorted(codes))
    )
    repair = None
    if repaired and frame.sequence_bits >= 7:
        names = [message.name for message in messages]
        repair = Repair(
            messages=tuple(draw(st.lists(st.sampled_from(names), min_size=1, unique=True))),
            symbol_bytes=draw(st.none() | st.integers(1, 40)),
            window=draw(st.integers(1, 16)),
            stride=draw(st.integers(1, 4)),
            every=(turn := draw(st.sampled_from([(1, 1), (2, 1), (4, 1), (4, 3)])))[0],
            symbols=turn[1],
        )
    last_station = (1 << (frame.station_bits or 32)) - 1
    stations = draw(st.sets(st.integers(0, last_station), max_size=3))
    return Schema(
        name=draw(st.sampled_from(["sedgemere", "a", "reed_bed_2"])),
        version=draw(st.integers(1, 9)),
        epoch=draw(st.datetimes(EARLIEST, LATEST)).replace(microsecond=0, tzinfo=UTC),
        coding=coding,
        frame=frame,
        messages=messages,
        species=table,
        stations=tuple((f"station_{number}", number) for number in sorted(stations)),
        repair=repair,
    )


def values_for(
    schema: Schema,
    message: Message,
    *,
    wrap_spans: int = 1,
    beyond_clamps: bool = False,
) -> st.SearchStrategy[dict[str, Any]]:
    """Values of one record: every field's key is present, an absent optional is None.

    Integers are int, scaled quantities and durations int or float on the grid, flags lists of
    names in order, species labels of rows that are not retired, times aware datetimes on whole
    steps from the epoch; a wrapping time lies within `wrap_spans` spans of it. With
    `beyond_clamps`, numbers also pass a bound on a side that clamps.
    """
    shared = _Drawing(schema, wrap_spans, beyond_clamps)
    return shared.record(message.fields)


class _Drawing:
    def __init__(self, schema: Schema, wrap_spans: int, beyond_clamps: bool) -> None:
        self.labels = [row.label for row in schema.species.rows if not row.retired]
        self.epoch = schema.epoch
        self.wrap_spans = wrap_spans
        self.beyond_clamps = beyond_clamps

    def record(self, drawn: tuple[Field, ...]) -> st.SearchStrategy[dict[str, Any]]:
        return st.fixed_dictionaries({field.name: self.field(field) for field in drawn})

    def field(self, field: Field) -> st.SearchStrategy[Any]:
        present = self.present(field)
        return st.one_of(st.none(), present) if field.optional else present

    def present(self, field: Field) -> st.SearchStrategy[Any]:
        match field:
            case Integer():
                return self.steps(field, 0, field.high - field.low).map(
                    lambda step: field.low + step
                )
            case Scaled():
                last = int((field.high - field.low) / field.step)
                return self.steps(field, 0, last).map(
                    lambda step: _number(field.low + step * field.step)
                )
            case Duration():
                last = int(field.high_s / field.step_s)
                return self.steps(field, 0, last).map(lambda step: _number(step * field.step_s))
            case Time():
                spans = self.wrap_spans if field.beyond == "wrap" else 1
                steps = st.integers(0, spans * (field.span_s // field.step_s) - 1)
                return steps.map(lambda step: self.epoch + timedelta(seconds=step * field.step_s))
            case Boolean():
                return st.booleans()
            case Flags():
                return st.sets(st.sampled_from(field.flags)).map(
                    lambda on: [flag for flag in field.flags if flag in on]
                )
            case Enumeration():
                return st.sampled_from(field.values)
            case SpeciesCode():
                return st.sampled_from(self.labels)
            case ListOf():
                return st.lists(
                    self.record(field.fields), min_size=field.least, max_size=field.most
                )

    def steps(
        self, field: Integer | Scaled | Duration, first: int, last: int
    ) -> st.SearchStrategy[int]:
        """first..last with its ends likely; a little past them where the field clamps."""
        inside = st.one_of(st.integers(first, last), st.sampled_from([first, last]))
        if not self.beyond_clamps:
            return inside
        if getattr(field, "clamp_below", False):
            inside = st.one_of(inside, st.integers(first - 1000, first - 1))
        if field.clamp_above:
            inside = st.one_of(inside, st.integers(last + 1, last + 1000))
        return inside


def _number(exact: Fraction) -> int | float:
    return int(exact) if exact.denominator == 1 else float(exact)
