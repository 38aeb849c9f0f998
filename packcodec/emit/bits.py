"""Values side by side in words: which shift of which value goes into each."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Item:
    """An expression of exactly `width` bits; `wide` where it is of a type past 32 bits."""

    text: str
    width: int
    wide: bool = False


@dataclass(frozen=True, slots=True)
class Part:
    """What of an item falls into a word: `left` is how far to shift it up, or down if negative."""

    item: Item
    left: int


@dataclass(frozen=True, slots=True)
class Word:
    """`bits` of a run, the first the most significant of `size`; what is below them is zero."""

    parts: tuple[Part, ...]
    bits: int


def words(items: Iterable[Item], size: int) -> Iterator[Word]:
    """The items, first most significant, cut into words of `size` bits; the last may be shorter.

    A part shifted up may have bits above the word, which the emitted code must cut off.
    """
    parts: list[Part] = []
    filled = 0
    for item in items:
        left = item.width
        while left:
            taken = min(left, size - filled)
            left -= taken
            filled += taken
            parts.append(Part(item, size - filled - left))
            if filled == size:
                yield Word(tuple(parts), size)
                parts, filled = [], 0
    if parts:
        yield Word(tuple(parts), filled)
