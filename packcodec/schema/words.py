"""A field in words, for tables, documents and comments in emitted code."""

from fractions import Fraction

from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Repair,
    Scaled,
    SpeciesCode,
    Time,
)


def kind_of(field: Field) -> str:
    """The kind's name as the schema file writes it."""
    return {
        Integer: "integer",
        Scaled: "scaled",
        Boolean: "boolean",
        Flags: "flags",
        Enumeration: "enumeration",
        SpeciesCode: "species",
        Time: "time",
        Duration: "duration",
        ListOf: "list",
    }[type(field)]


def range_of(field: Field) -> str:
    """What values the field takes, with unit and step, in one line."""
    match field:
        case Integer(low=low, high=high, unit=unit, total_of=of):
            total = f", the running total of {of}" if of else ""
            return _clamped(f"{low} to {high}{_unit(unit)}{total}", field)
        case Scaled(low=low, high=high, step=step, unit=unit):
            text = f"{_plain(low)} to {_plain(high)}{_unit(unit)} by {_plain(step)}"
            return _clamped(text, field)
        case Boolean():
            return "true or false"
        case Flags(flags=flags):
            return "any of " + ", ".join(flags)
        case Enumeration(values=values):
            return "one of " + ", ".join(values)
        case SpeciesCode():
            return "a row of the species code table"
        case Time(step_s=step, span_s=span, beyond="wrap"):
            return f"by {duration(step)}, within {duration(span)}; when it is heard tells which"
        case Time(step_s=step, span_s=span):
            return f"by {duration(step)}, for {duration(span)} from the epoch"
        case Duration(step_s=step, high_s=high):
            return _clamped(f"0 to {duration(high)} by {duration(step)}", field)
        case ListOf(least=least, most=most):
            return f"{least} to {most} records"


def repair_words(repair: Repair | None) -> str:
    """The erasure code in one line."""
    if repair is None:
        return "none"
    size = f"{repair.symbol_bytes} bytes" if repair.symbol_bytes else "as long as the longest"
    turn = f", in {repair.symbols} of {repair.every} frames" if repair.every > 1 else ""
    on = ", ".join(repair.messages)
    return f"on {on}{turn}: symbol {size}, window {repair.window}, stride {repair.stride}"


def duration(seconds: int | Fraction) -> str:
    """A length of time in the largest unit that leaves a whole number."""
    for size, unit in ((86400, "d"), (3600, "h"), (60, "min")):
        if seconds >= size and seconds % size == 0:
            return f"{int(seconds // size)} {unit}"
    return f"{_plain(Fraction(seconds))} s"


def _plain(number: Fraction) -> str:
    return str(number.numerator) if number.denominator == 1 else f"{float(number):.12g}"


def _unit(unit: str) -> str:
    return f" {unit}" if unit not in ("", "1") else ""


def _clamped(text: str, field: Integer | Scaled | Duration) -> str:
    match field:
        case Integer(low=low, high=high):
            least, greatest = str(low), str(high)
        case Scaled(low=low_exact, high=high_exact):
            least, greatest = _plain(low_exact), _plain(high_exact)
        case Duration(high_s=high_s):
            least, greatest = "0", duration(high_s)
    ends = []
    if not isinstance(field, Duration) and field.clamp_below:
        ends.append(f"{least} means at most {least}")
    if field.clamp_above:
        ends.append(f"{greatest} means at least {greatest}")
    return f"{text} ({', '.join(ends)})" if ends else text
