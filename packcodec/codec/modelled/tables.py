"""Bytes of a models file → frequencies, and codes of any size → symbols of a small alphabet.

A table row is a string of bytes, one a symbol. A byte b stands for the weight 2**(b / 8), near
enough: ROOTS[b % 8] << (b // 8). All arithmetic is on integers, so a row means the same
frequencies everywhere.
"""

from collections.abc import Sequence
from itertools import accumulate

from packcodec.codec.modelled.coder import TOTAL, Cumulative

# 256 * 2**(i / 8), rounded.
ROOTS = (256, 279, 304, 332, 362, 395, 431, 470)
OCTAVE = 8

FIRST_CODES = 8
MOST_ALONE = 24


def weight(byte: int) -> int:
    """What a byte of a row stands for: an eighth of an octave a step, 256 for 0."""
    return ROOTS[byte % OCTAVE] << byte // OCTAVE


def frequencies(weights: Sequence[int], least: int = 1) -> tuple[int, ...]:
    """Frequencies in proportion to `weights`, each `least` or more, 2**16 in all.

    Every symbol gets `least`; the rest is shared by largest remainder, ties to the lower symbol.
    """
    room, total = TOTAL - least * len(weights), sum(weights)
    shares = [divmod(each * room, total) for each in weights]
    given = [least + share for share, _ in shares]
    missing = TOTAL - sum(given)
    for symbol in sorted(range(len(weights)), key=lambda s: -shares[s][1])[:missing]:
        given[symbol] += 1
    return tuple(given)


def cumulative(row: bytes, least: int = 1) -> Cumulative:
    """The table of a row, as the coder takes it."""
    return (0, *accumulate(frequencies([weight(byte) for byte in row], least)))


def odds(logit: int) -> Cumulative:
    """The table of no and yes, where yes is 2**(logit / 8) times as likely as no."""
    logit = min(max(logit, -15 * OCTAVE), 15 * OCTAVE)
    no, yes = weight(max(-logit, 0)), weight(max(logit, 0))
    return (0, *accumulate(frequencies((no, yes))))


class Classes:
    """Codes 0..codes-1 in classes: each of the first 8 alone, then two classes to an octave.

    A code is its class, by a table, and its place in the class, all places alike. Where there are
    at most 24 codes, as many as hours in a day, each is alone.
    """

    def __init__(self, codes: int) -> None:
        self.alone = codes if codes <= MOST_ALONE else FIRST_CODES
        spans, first, width = [(code, 1) for code in range(self.alone)], 8, 4
        while self.alone < codes and first < codes:
            for _ in range(2):
                if first < codes:
                    spans.append((first, min(width, codes - first)))
                first += width
            width *= 2
        self.spans = tuple(spans)

    def __len__(self) -> int:
        return len(self.spans)

    def of(self, code: int) -> int:
        if code < self.alone:
            return code
        octave = code.bit_length() - 4
        return FIRST_CODES + 2 * octave + (code >> octave + 2 & 1)


def fold(code: int, centre: int, codes: int) -> int:
    """How far `code` is from `centre`, as a number 0..codes-1: 0, +1, -1, +2, … as far as
    the range has both sides, then the rest of the longer side."""
    away = code - centre
    both = min(centre, codes - 1 - centre)
    if abs(away) > both:
        return both + abs(away)
    return 2 * away - 1 if away > 0 else -2 * away


def unfold(folded: int, centre: int, codes: int) -> int:
    """The code that `fold` took."""
    both = min(centre, codes - 1 - centre)
    if folded > 2 * both:
        away = folded - both
        return centre + away if centre + away < codes else centre - away
    return centre + (folded + 1) // 2 if folded % 2 else centre - folded // 2
