"""One place at a time: the source that turns a value into its code, and a code into its value.

Both directions of a kind stand in one table each, in the order of the spec; `generate` puts them
together into whole messages. Constants that are objects (dicts of labels, the epoch, bounds) are
gathered in `Source.constants` under the names that the source uses.
"""

from datetime import timedelta
from fractions import Fraction
from typing import Any

from packcodec.codec.record import AtLeast, AtMost, PartialTime
from packcodec.codec.settle import number_of
from packcodec.layout.model import Count, Place, Presence, Value
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Flags,
    Integer,
    ListOf,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)

# The values of so many codes at most are looked up, those of more reckoned.
MOST_LISTED = 256


class Source:
    """Lines of one function, the constants they use, and a fresh variable for every place."""

    def __init__(self, schema: Schema) -> None:
        self.schema = schema
        self.constants: dict[str, Any] = {}
        self.lines: list[str] = []
        self.variables: dict[str, str] = {}

    def add(self, depth: int, line: str) -> None:
        self.lines.append("    " * depth + line)

    def variable(self, path: str, kind: str = "v") -> str:
        return self.variables.setdefault(f"{kind}:{path}", f"{kind}{len(self.variables)}")

    def constant(self, value: object) -> str:
        name = f"K{len(self.constants)}"
        self.constants[name] = value
        return name


class Labels(dict[int, str]):
    """Code → label; a code without a row reads as its number."""

    def __missing__(self, code: int) -> str:
        return f"#{code}"


class Codes(dict[str, int]):
    """Label → code; "#31" stands for a code that has no row."""

    def __init__(self, schema: Schema) -> None:
        super().__init__({row.label: row.code for row in schema.species.rows})
        self.taken = frozenset(self.values())
        self.capacity = schema.species.capacity

    def __missing__(self, label: str) -> int:
        code = int(label[1:])
        if label != f"#{code}" or code in self.taken or not 0 <= code < self.capacity:
            raise KeyError(label)
        return code


def pack_place(place: Place, source: Source, depth: int, variable: str) -> tuple[str, str, int]:
    """The test a value must pass, the term that stands for it, and what the term is too much."""
    if isinstance(place, Presence):
        return "", f"({variable} is not None)", 0
    if isinstance(place, Count):
        count, field = source.variable(place.path, "k"), place.field
        source.add(depth, f"{count} = len({variable})")
        # An empty text or dict would pass for an empty list.
        fits = f"{field.least} <= {count} <= {field.most}"
        return f"{fits} and ({count} or type({variable}) in LISTS)", count, field.least
    match place.field:
        case Integer(low=low, high=high):
            if low == high:
                return f"index({variable}) == {low}", variable, low
            return f"{low} <= {variable} <= {high}", variable, low
        case Scaled(low=low, step=step):
            return _pack_scaled(place, source, depth, variable, low, step)
        case Duration(step_s=step):
            code = source.variable(place.path, "c")
            _exact_code(place, source, depth, variable, Fraction(0), step)
            return f"0 <= {code} < {place.codes}", code, 0
        case Boolean():
            return "", f"{source.constant({False: 0, True: 1})}[{variable}]", 0
        case Enumeration(values=values):
            numbers = {name: number for number, name in enumerate(values)}
            return "", f"{source.constant(numbers)}[{variable}]", 0
        case SpeciesCode():
            code = source.variable(place.path, "c")
            source.add(depth, f"{code} = {source.constant(Codes(source.schema))}[{variable}]")
            return "", code, 0
        case Flags(flags=flags):
            masks = {name: 1 << (len(flags) - 1 - at) for at, name in enumerate(flags)}
            of = source.constant(masks)
            code = source.variable(place.path, "c")
            source.add(depth, f"{code} = sum([{of}[name] for name in {{*{variable}}}])")
            return f"type({variable}) in COLLECTIONS", code, 0
        case Time(step_s=step, beyond=beyond):
            epoch = source.constant(source.schema.epoch)
            code = source.variable(place.path, "c")
            steps = f"({variable} - {epoch}) // {source.constant(timedelta(seconds=step))}"
            if beyond == "wrap":
                source.add(depth, f"{code} = {steps} % {place.codes}")
                return "", code, 0
            source.add(depth, f"{code} = {steps}")
            return f"0 <= {code} < {place.codes}", code, 0
        case ListOf():
            raise AssertionError("a list has no place of its own")


def _pack_scaled(
    place: Value, source: Source, depth: int, variable: str, low: Fraction, step: Fraction
) -> tuple[str, str, int]:
    """A float is reckoned with as one, and exactly where that comes near the next code.

    What is lost so is under 2**-50 of the largest number on the way.
    """
    code, offset = source.variable(place.path, "c"), Fraction(1, 2) - low / step
    near = float((place.codes + abs(offset)) / (1 << 48))
    if near < 1 / 4:
        by = f"{variable} * {float(1 / step)!r} + {float(offset)!r}"
        source.add(depth, f"q_ = {by} if type({variable}) is float else 0.0")
        source.add(depth, f"{code} = int(q_)")
        source.add(depth, f"if not {near!r} < q_ - {code} < {1 - near!r}:")
        depth += 1
    _exact_code(place, source, depth, variable, low, step)
    return f"0 <= {code} < {place.codes}", code, 0


def _exact_code(
    place: Value, source: Source, depth: int, variable: str, low: Fraction, step: Fraction
) -> None:
    """floor((value - low) / step + 1/2), exactly: n/d is the value as a ratio of integers."""
    code = source.variable(place.path, "c")
    by_n = 2 * step.denominator * low.denominator
    by_d = low.denominator * step.numerator - 2 * step.denominator * low.numerator
    under = 2 * low.denominator * step.numerator
    source.add(depth, f"n_, d_ = {variable}.as_integer_ratio()")
    source.add(depth, f"{code} = (n_ * {by_n} + d_ * {by_d}) // (d_ * {under})")


def plus(code: str, low: int) -> str:
    """Python source of `code` and `low` added."""
    if low == 0:
        return code if code.isidentifier() or code.isdigit() else f"({code})"
    return f"({code}) + {low}" if low > 0 else f"({code}) - {-low}"


def value_expression(place: Value, source: Source, depth: int, code: str) -> str:
    """Python source of the value that the code `code` of a place stands for."""
    match place.field:
        case Integer(low=low, high=high, clamp_below=below, clamp_above=above):
            return _bounded(place, source, depth, code, plus("{}", low), low, high, below, above)
        case Scaled(low=low, high=high, step=step, clamp_below=below, clamp_above=above):
            if place.codes <= MOST_LISTED:
                return f"{source.constant(_values(place.field, place.codes))}[{code}]"
            shape = _quantity(low, step)
            return _bounded(
                place, source, depth, code, shape, number_of(low), number_of(high), below, above
            )
        case Duration(step_s=step, high_s=high, clamp_above=above):
            shape = _quantity(Fraction(0), step)
            return _bounded(place, source, depth, code, shape, 0, number_of(high), False, above)
        case Boolean():
            return f"({code}) == 1"
        case Enumeration(values=names):
            return f"{source.constant(names)}[{code}]"
        case SpeciesCode():
            labels = Labels({row.code: row.label for row in source.schema.species.rows})
            if place.codes <= MOST_LISTED:
                listed = tuple(labels[each] for each in range(place.codes))
                return f"{source.constant(listed)}[{code}]"
            return f"{source.constant(labels)}[{code}]"
        case Flags(flags=flags):
            masks = [(1 << (len(flags) - 1 - at), flag) for at, flag in enumerate(flags)]
            variable = source.variable(place.path, "f")
            source.add(depth, f"{variable} = {code}")
            return (
                f"(tuple([flag for mask, flag in {source.constant(masks)} if {variable} & mask])"
                f" if {variable} else ())"
            )
        case Time(step_s=step, span_s=span, beyond=beyond):
            if beyond == "wrap":
                return f"{source.constant(PartialTime)}(({code}) * {step}, {span})"
            epoch = source.constant(source.schema.epoch)
            return f"{epoch} + ({code}) * {source.constant(timedelta(seconds=step))}"
        case ListOf():
            raise AssertionError("a list has no place of its own")


def _values(field: Scaled, codes: int) -> tuple[int | float | AtLeast | AtMost, ...]:
    """The value of each code: whole where low and step are, else the nearest double."""
    whole = field.low.denominator == field.step.denominator == 1
    exact = [field.low + code * field.step for code in range(codes)]
    values: list[Any] = [int(each) if whole else float(each) for each in exact]
    if field.clamp_above:
        values[-1] = AtLeast(number_of(field.high))
    if field.clamp_below:
        values[0] = AtMost(number_of(field.low))
    return tuple(values)


def _quantity(low: Fraction, step: Fraction) -> str:
    """low + code x step as an expression of {}: whole where both are, else the nearest double."""
    if low.denominator == step.denominator == 1:
        by, plus = step.numerator, low.numerator
        return f"({{}}) * {by} + {plus}" if plus else f"({{}}) * {by}"
    under = low.denominator * step.denominator
    by, plus = step.numerator * low.denominator, low.numerator * step.denominator
    return f"(({{}}) * {by} + {plus}) / {under}"


def _bounded(
    place: Value,
    source: Source,
    depth: int,
    code: str,
    shape: str,
    low: float,
    high: float,
    below: bool,
    above: bool,
) -> str:
    if not below and not above:
        return shape.format(code)
    variable = source.variable(place.path, "b")
    source.add(depth, f"{variable} = {code}")
    expression = shape.format(variable)
    if above:
        bound = source.constant(AtLeast(high))
        expression = f"({expression} if {variable} != {place.codes - 1} else {bound})"
    if below:
        bound = source.constant(AtMost(low))
        expression = f"({expression} if {variable} else {bound})"
    return expression
