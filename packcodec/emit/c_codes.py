"""The code of a value as an expression in C, for code that has no place to put what is between.

`c_encode` writes codes as variables, for one pass over a payload; here they are expressions over
a struct, which straight code for modelled coding asks for wherever it needs one.
"""

from dataclasses import dataclass

from packcodec.emit.c_header import literal
from packcodec.emit.c_types import CNames, CType, Struct, type_of
from packcodec.emit.whole import Whole, whole
from packcodec.layout.compiler import codes_of
from packcodec.schema.model import Boolean, Field, ListOf, Time

WORD = CType(32)


@dataclass(frozen=True, slots=True)
class Code:
    """A code as it is written: its text, and the test that its value must not meet ("" if none).

    `wide` where the text is of 64 bits.
    """

    text: str
    test: str
    wide: bool


def code_of(field: Field, struct: Struct, at: str, path: str, names: CNames) -> Code:
    """The code of a field that is there; `at` ends in -> or . and leads to the struct.

    Of a list, its count less the least.
    """
    if isinstance(field, ListOf):
        count = f"{at}{struct.counts[field.name]}"
        return Code(f"({count} - {field.least}u)" if field.least else count, "", wide=False)
    value = f"{at}{struct.members[field.name]}"
    if isinstance(field, Boolean):
        return Code(f"({value} ? 1u : 0u)", "", wide=False)
    held_as = type_of(field, names.schema, path)
    codes = codes_of(field, names.schema)
    if isinstance(field, Time):
        return _time(field, value, codes, held_as)
    number = whole(field)
    if number is None:
        test = f"{value} > {literal(codes - 1)}" if held_as.high >= codes else ""
        return Code(value, test, wide=held_as.bits > WORD.bits)
    return _quantity(number, value, codes, held_as)


def _time(field: Time, value: str, codes: int, held_as: CType) -> Code:
    wide = held_as.bits > WORD.bits
    text = divided(value, field.step_s, held_as.high, wide=wide)
    if held_as.high // field.step_s < codes:
        return Code(text, "", wide)
    last_s = codes * field.step_s - 1
    if field.beyond == "reject":
        return Code(text, f"{value} > {literal(last_s)}", wide)
    if wide:
        return Code(f"({text} % {literal(codes)})", "", wide)
    within = f"remainder_of({value}, {literal(last_s + 1)})"
    return Code(divided(within, field.step_s, last_s), "", wide)


def _quantity(number: Whole, value: str, codes: int, held_as: CType) -> Code:
    working = CType(64) if held_as.bits > 32 or number.spread >= 1 << 32 else WORD
    wide = working.bits > WORD.bits
    if codes == 1:
        return Code("0u", outside(number, value, held_as), wide=False)
    least, most = held_as.low, held_as.high
    if number.clamp_below and least < number.low:
        least = number.low
        value = f"({value} < {bound(least, held_as)} ? {bound(least, held_as)} : {value})"
    if number.clamp_above and most > number.high:
        most = number.high
        value = f"({value} > {bound(most, held_as)} ? {bound(most, held_as)} : {value})"
    offset = value if not held_as.signed and held_as.bits == 32 else f"({working.name}){value}"
    if number.first:
        sign = "-" if number.first > 0 else "+"
        offset = f"({offset} {sign} {literal(abs(number.first))})"
    fits = number.first <= least and most <= number.first + number.spread
    test = "" if fits else f"{offset} > {literal(number.spread)}"
    steps, beyond = divmod(number.first, number.step)
    if steps > 0 and not beyond and not held_as.signed and number.step > 1 and not wide:
        # Whole steps are shorter to take off after the division.
        text = divided(value, number.step, number.first + number.spread)
        return Code(f"({text} - {steps}u)", test, wide)
    if number.first < 0 and held_as == CType(16) and number.spread <= CType(16).high:
        # A sum that is 16 bits wide stands in no wider constant.
        offset = f"(uint32_t)(uint16_t)({value} + {-number.first}u)"
    return Code(divided(offset, number.step, number.spread, wide=wide), test, wide)


def outside(number: Whole, value: str, held_as: CType) -> str:
    """The test of a quantity that has one code, and so is not sent in any bit."""
    last = number.first + number.spread
    ends = []
    if not number.clamp_below and held_as.low < number.first:
        ends.append(f"{value} < {bound(number.first, held_as)}")
    if not number.clamp_above and held_as.high > last:
        ends.append(f"{value} > {bound(last, held_as)}")
    return " || ".join(ends)


def bound(number: int, kind: CType) -> str:
    """A bound in a comparison with a value of that type."""
    return literal(number) if not kind.signed or number < 0 else literal(number).replace("u", "")


def divided(text: str, by: int, most: int, *, wide: bool = False) -> str:
    """text / by, for a text from 0 to `most`: a product and a shift where 32 bits hold them."""
    if by == 1:
        return text
    if wide:
        return f"({text} / {literal(by)})"
    if not by & (by - 1):
        return f"({text} >> {by.bit_length() - 1})"
    twos = (by & -by).bit_length() - 1
    halved = _multiplied(f"({text} >> {twos})", by >> twos, most >> twos)
    return _multiplied(text, by, most) or halved or f"quotient({text}, {literal(by)})"


def _multiplied(text: str, by: int, most: int) -> str:
    """text / by as a product and a shift, "" where 32 bits do not hold it."""
    for shift in range(by.bit_length(), 32):
        times = -(-(1 << shift) // by)
        if times * most >= 1 << 32:
            break
        # n·times / 2^shift exceeds n / by by less than the 1 / by that would reach the next.
        if (times * by - (1 << shift)) * most < 1 << shift:
            return f"({text} * {times}u >> {shift})"
    return ""
