"""Quantities as whole numbers, for devices that hold no fractions.

A field is held in units of 10**-decimals of its own unit, the coarsest in which its ends and its
step are whole: 0.25 to 1 by 0.05 is 25 to 100 by 5, in units of 0.01.
"""

from dataclasses import dataclass
from fractions import Fraction

from packcodec.schema.model import Duration, Field, Integer, Scaled
from packcodec.schema.remedy import decimal


@dataclass(frozen=True, slots=True)
class Whole:
    """low..high by step, all whole; a value given is brought to the nearest step, up on a tie."""

    low: int
    high: int
    step: int
    decimals: int = 0
    clamp_below: bool = False
    clamp_above: bool = False

    @property
    def first(self) -> int:
        """The least value whose nearest step is `low`; (value - first) // step is its code."""
        return self.low - self.step // 2

    @property
    def spread(self) -> int:
        """How far from `first` a value may lie and still have a code."""
        return self.high - self.low + self.step - 1


def whole(field: Field) -> Whole | None:
    """The whole numbers that stand for an integer, a scaled quantity or a duration."""
    match field:
        case Integer():
            return Whole(field.low, field.high, 1, 0, field.clamp_below, field.clamp_above)
        case Scaled():
            return _scaled(field.low, field.high, field.step, field.clamp_below, field.clamp_above)
        case Duration():
            return _scaled(Fraction(0), field.high_s, field.step_s, False, field.clamp_above)
        case _:
            return None


def unit_of(field: Field) -> str:
    """What one of the whole numbers counts: "mV", "0.01", "0.1 s", or nothing for plain counts."""
    number = whole(field)
    unit = "s" if isinstance(field, Duration) else getattr(field, "unit", "")
    unit = "" if unit == "1" else unit
    if number is None or number.decimals == 0:
        return str(unit)
    return f"{decimal(Fraction(1, 10**number.decimals))} {unit}".strip()


def _scaled(low: Fraction, high: Fraction, step: Fraction, below: bool, above: bool) -> Whole:
    decimals = max(_decimals(low), _decimals(step))
    unit = 10**decimals
    return Whole(int(low * unit), int(high * unit), int(step * unit), decimals, below, above)


def _decimals(number: Fraction) -> int:
    """How many decimals a figure needs that was written with finitely many."""
    decimals = 0
    while (number * 10**decimals).denominator != 1:
        decimals += 1
    return decimals
