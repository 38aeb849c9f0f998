"""A value and its code, as expressions of MicroPython."""

from packcodec.emit.whole import whole
from packcodec.schema.model import Boolean, Field, ListOf, Time


def value_of(field: Field, code: str) -> str:
    """The expression of the value that a code stands for."""
    number = whole(field)
    if isinstance(field, Boolean):
        return f"{code} == 1"
    by = field.step_s if isinstance(field, Time) else number.step if number else 1
    plus = number.low if number else 0
    scaled = f"{code} * {by}" if by != 1 else code
    return f"{scaled} {'+' if plus > 0 else '-'} {abs(plus)}" if plus else scaled


def code_of(field: Field, codes: int, given: str) -> str:
    """The expression of the code of a value that has been found sound."""
    if isinstance(field, Boolean):
        return f"1 if {given} else 0"
    if isinstance(field, Time):
        code = f"{given} // {field.step_s}" if field.step_s > 1 else given
        return f"{code} % {codes}" if field.beyond == "wrap" else code
    number = whole(field)
    if number is None:
        return given
    code = f"max({given}, {number.low})" if number.clamp_below else given
    code = f"min({code}, {number.high})" if number.clamp_above else code
    if number.first:
        code = f"{code} {'-' if number.first > 0 else '+'} {abs(number.first)}"
    if number.step > 1:
        code = f"({code}) // {number.step}" if number.first else f"{code} // {number.step}"
    return code


def nothing(field: Field) -> str:
    """A sound value, which is overlooked."""
    number = whole(field)
    return "()" if isinstance(field, ListOf) else str(number.low if number else 0)
