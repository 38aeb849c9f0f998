"""Other encodings of the same summaries, from their codes: [hour, [[after, health …, rows] …]].

UPER plain is a SEQUENCE OF the summary as it goes alone, each with its hour; the ratios that are
asked for were set against that. How much of it is the hours, two others show: fixed coding of the
same schema, which is UPER with the hours since the one before, and UPER where only the first hour
is told.
"""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from size_peers import Columns, Peer, compressed, general_peers, packed, zigzag

from packcodec.layout.compiler import codes_of
from packcodec.schema.model import ListOf, Schema

PLAIN, FIXED = "UPER plain", "fixed (UPER, hours since)"
ONCE, TUNED = "UPER, the hour told once", "UPER tuned"


def plain_of(schema: Schema) -> Callable[[Any], bytes]:
    """UPER plain of a frame in codes."""
    return lambda tree: packed(_uper(schema, tree, each=True))


def fixed_of(schema: Schema) -> Callable[[Any], bytes]:
    """The fixed coding of the same schema: the first hour, and the hours since the one before."""
    return lambda tree: packed(_uper(schema, tree, first=True, gaps=True))


def once_of(schema: Schema) -> Callable[[Any], bytes]:
    """UPER where only the first hour is told, and the others follow it."""
    return lambda tree: packed(_uper(schema, tree, first=True))


def peers_of(schema: Schema, samples: Iterable[Any]) -> list[Peer]:
    """All of them, bare and after compressors with dictionaries made of `samples`."""
    uper = [
        Peer(PLAIN, plain_of(schema)),
        Peer(FIXED, fixed_of(schema)),
        Peer(ONCE, once_of(schema)),
        Peer(TUNED, lambda tree: packed(_tuned(schema, tree))),
    ]
    general = [
        Peer(peer.name, lambda tree, peer=peer: peer.encode(_columns(tree)))  # type: ignore[misc]
        for peer in general_peers()
    ]
    peers = [*uper, *general]
    return [*peers, *compressed(peers, list(samples))]


def _widths(schema: Schema) -> tuple[int, int, int, list[int], int, list[int]]:
    """Bits of the hour, of the number of summaries, of the hours since, of each field of health, of
    the number of rows, and of each field of a row."""
    hour, listed = schema.messages[0].fields
    assert isinstance(listed, ListOf)
    after, *health, rows = listed.fields
    assert isinstance(rows, ListOf)
    fields = (hour, listed, after, *health, rows, *rows.fields)
    bits = [(codes_of(each, schema) - 1).bit_length() for each in fields]
    of_rows = 3 + len(health)
    return bits[0], bits[1], bits[2], bits[3:of_rows], bits[of_rows], bits[of_rows + 1 :]


def _uper(
    schema: Schema, tree: Any, *, first: bool = False, each: bool = False, gaps: bool = False
) -> Iterator[tuple[int, int]]:
    """With the first hour, each hour, or the hours since the one before, as asked."""
    hour_bits, count_bits, gap_bits, health_bits, rows_bits, row_bits = _widths(schema)
    hour, intervals = tree
    if first:
        yield hour, hour_bits
    yield len(intervals) - 1, count_bits
    for after, *health, rows in intervals:
        hour += after
        if each:
            yield hour, hour_bits
        if gaps:
            yield after, gap_bits
        yield from zip(health, health_bits, strict=True)
        yield len(rows), rows_bits
        for row in rows:
            yield from zip(row, row_bits, strict=True)


def _tuned(schema: Schema, tree: Any) -> Iterator[tuple[int, int]]:
    """Hours that follow, no state, none dropped, one visit and one individual as DEFAULT; the last
    minute as a CHOICE of spans 0..3, 4..19 and more."""
    hour_bits, count_bits, gap_bits, health_bits, rows_bits, row_bits = _widths(schema)
    hour, intervals = tree
    yield hour, hour_bits
    yield len(intervals) - 1, count_bits
    for after, *health, rows in intervals:
        yield (0, 1) if after <= 1 else (1 << gap_bits | after, gap_bits + 1)
        for at, (value, bits) in enumerate(zip(health, health_bits, strict=True)):
            rare = at >= 3
            yield (0, 1) if rare and not value else (rare << bits | value, bits + rare)
        yield len(rows), rows_bits
        for species, visits, most, first, last, confidence in rows:
            yield species, row_bits[0]
            yield (0, 1) if visits == 1 else (1 << row_bits[1] | visits, row_bits[1] + 1)
            yield (0, 1) if most == 0 else (1 << row_bits[2] | most, row_bits[2] + 1)
            yield first, row_bits[3]
            yield _span(last - first, row_bits[4])
            yield confidence, row_bits[5]


def _span(span: int, bits: int) -> tuple[int, int]:
    if span < 4:
        return span, 4
    return (1 << 4 | span - 4, 6) if span < 20 else (2 << bits | span, bits + 2)


def _columns(tree: Any) -> Columns:
    """Health as differences to the hour before, the last minute as the span since the first."""
    hour, intervals = tree
    columns: Columns = [[hour], [after for after, *_ in intervals]]
    before: list[int] = []
    changes = []
    for _, *health, _ in intervals:
        old = before or [0] * len(health)
        changes.append([zigzag(new - last) for new, last in zip(health, old, strict=True)])
        before = health
    columns += [list(column) for column in zip(*changes, strict=True)]
    columns.append([len(rows) for *_, rows in intervals])
    rows = [
        [species, visits, most, first, last - first, confidence]
        for *_, rows in intervals
        for species, visits, most, first, last, confidence in rows
    ]
    return [*columns, *(list(column) for column in zip(*rows, strict=True))]
