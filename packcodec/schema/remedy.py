"""The wording of remedies and counts, so that every refusal sounds alike."""

from collections.abc import Collection, Iterable
from fractions import Fraction


def one_of(options: Iterable[str]) -> str:
    """a, b or c"""
    *first, last = options
    return f"{', '.join(first)} or {last}" if first else last


def counted(count: int, what: str, several: str = "") -> str:
    """1 record, 2 records; `several` where an s does not make it several."""
    return f"{count} {what if count == 1 else several or f'{what}s'}"


def nearest(word: str, options: Collection[str], shown: Collection[str] = ()) -> str:
    """Did you mean the nearest option, or else all of them; of those only `shown`, if given."""
    # Here, for a monitor that finds nothing wrong need not load it.
    from difflib import get_close_matches

    close = get_close_matches(word.lower(), options, n=1)
    return f"did you mean {close[0]!r}?" if close else f"use {one_of(shown or options)}"


def decimal(number: Fraction) -> str:
    """A terminating fraction in plain decimals, for figures that came from decimals."""
    places = 0
    while (number * 10**places).denominator != 1:
        places += 1
    digits = str(abs(number.numerator) * 10**places // number.denominator).rjust(places + 1, "0")
    whole, rest = digits[: len(digits) - places], digits[len(digits) - places :]
    sign = "-" if number < 0 else ""
    return f"{sign}{whole}.{rest}" if rest else f"{sign}{whole}"
