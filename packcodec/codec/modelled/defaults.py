"""Tables where no log has been learned from: what holds for wildlife in general.

Counts are small and fall off, few species are there at a time, what was seen a moment ago is seen
again and much like before, and monitors report by day. Quantities and identifiers are left alike.
The numbers are judgement, in eighths of a power of two, and belong to the format: changing one
changes what payloads mean (spec/modelled-coding.md).
"""

from packcodec.codec.modelled.coder import ROOM_ROWS
from packcodec.codec.modelled.history import SET_AGES, bucket_of
from packcodec.codec.modelled.place import Spot
from packcodec.codec.modelled.tables import MOST_ALONE, Classes
from packcodec.schema.model import (
    Duration,
    Enumeration,
    Flags,
    Integer,
    Scaled,
    Schema,
)
from packcodec.schema.models import MOST_SPECIES, PlaceTable

EVEN = 128
OCTAVE = 8
LARGEST_COUNTED = 1 << 16
# How much less likely each step away from what the same species had last, in eighths.
NEAR = 8
# How much less likely with each doubling of a species' place in its table.
RANK = 4

# How likely one more element is, by the bits of room left: an end there is an end of the frame.
_MORE = (-23, -17, -12, -6, 0, 6, 12, 17, 23, 29, 35, 40, 46, 52, 58, 64)
# The next element is of the species seen last, the one before it …, or of none of those four: where
# nothing was seen yet, and by which of these the element before was.
_RECENT = (
    (-64, -64, -64, -64, 19),
    (14, -12, -26, -34, 2),
    (10, 6, -20, -30, -2),
    (9, 0, -4, -24, 0),
    (8, 0, -10, -14, 2),
    (8, -7, -20, -28, 8),
)
# A species is in a set: first set; never yet, after 1, 2, 3, 4 or more; was in, 1 to 6 sets ago.
_SET_AGE = (0, -4, -6, -6, -8, 26, 18, 14, 12, 8, 6)
# By day more than by night, most around the ends of the day.
_HOURS = (8, 8, 8, 8, 12, 22, 28, 28, 26, 24, 22, 22, 22, 22, 22, 24, 26, 28, 28, 24, 16, 10, 8, 8)
_RARE = -40


def default_table(spot: Spot, schema: Schema, known: tuple[int, ...]) -> PlaceTable:
    """The table of a place that the models have none for."""
    rows: tuple[bytes, ...]
    match spot.role:
        case "presence":
            rows = (bytes([EVEN, EVEN]),)
        case "count":
            rows = (_falling(spot.codes, 1),)
        case "hour":
            rows = (bytes(EVEN + each for each in _HOURS),)
        case "more":
            assert len(_MORE) == ROOM_ROWS
            return PlaceTable(spot.path, tuple(_yes(each) for each in _MORE), ("room",))
        case "recent":
            ranks = tuple(bytes(EVEN + each for each in row) for row in _RECENT)
            return PlaceTable(spot.path, ranks, ("rank",))
        case "new":
            likely = [EVEN + each for each in _likely(schema, known)]
            rows = (bytes([*likely, EVEN + _RARE]),)
        case "set":
            rows = (_yes(40),)
        case "there":
            rows = (bytes(EVEN - 32 + each for each in _likely(schema, known)),)
        case "age":
            assert len(_SET_AGE) == SET_AGES
            rows = (bytes(EVEN + each for each in _SET_AGE),)
        case _:
            rows = _value(spot)
            if _of_species(spot):
                first = rows[0] if rows else bytes([EVEN] * spot.codes)
                near = _falling(spot.codes, NEAR)
                size, _ = bucket_of(spot.codes)
                rows = (first, *(near,) * (size - 1))
                return PlaceTable(spot.path, rows, ("last",), around="last")
    return PlaceTable(spot.path, rows)


def default_species(schema: Schema) -> tuple[int, ...]:
    """The species that default tables know: the founding rows, 128 at most."""
    return tuple(row.code for row in schema.species.rows if not row.added)[:MOST_SPECIES]


def _of_species(spot: Spot) -> bool:
    """Whether a value is about a species just said, and small enough to be much like its last."""
    small = 2 < spot.codes <= MOST_ALONE
    return spot.species is not None and small and isinstance(spot.field, Integer | Scaled)


def _value(spot: Spot) -> tuple[bytes, ...]:
    match spot.field:
        case Integer(total_of=of) if of:
            # It goes round, and is anywhere at any time.
            return ()
        case Integer() | Enumeration() if spot.codes <= LARGEST_COUNTED:
            return (_falling(spot.codes, 4),)
        case Duration(since=since) if since:
            return (_falling(spot.codes, 3),)
        case Flags():
            return (bytes([EVEN + 24] + [EVEN] * (len(Classes(spot.codes)) - 1)),)
        case _:
            return ()


def _falling(codes: int, eighths: int) -> bytes:
    """Each class less likely than the one before by 2**(eighths / 8), down to 1/4096."""
    return bytes(EVEN - min(eighths * at, 12 * OCTAVE) for at in range(len(Classes(codes))))


def _yes(logit: int) -> bytes:
    return bytes([EVEN - logit // 2, EVEN - logit // 2 + logit])


def _likely(schema: Schema, known: tuple[int, ...]) -> list[int]:
    """By what belongs to the identity: a row's kind and place, not its status or `report`.

    The nth animal of the table is as likely as 1/sqrt(n), by whole powers of two of n: a table that
    names the common ones first gains much, and one in any other order loses little.
    """
    animals = {row.code for row in schema.species.rows if row.kind == "animal" and not row.added}
    likely, nth = [], 0
    for code in known:
        nth += code in animals
        likely.append(-RANK * (nth.bit_length() - 1) if code in animals else _RARE)
    return likely
