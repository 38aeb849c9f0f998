"""What both ends know while a payload is coded: the contexts that choose a table's row.

Everything here is drawn from codes already said in the same payload, so each packet decodes alone.
"""

from collections.abc import Callable

from packcodec.codec.modelled.tables import Classes
from packcodec.codec.modelled.tree import Item, Tree

HOUR_S = 3600
HOURS_IN_DAY = 24
HOUR_ROWS = 8
NOON_ROW = HOUR_ROWS // 2
BUCKETS = 8
KINS = 4
MOST_RECENT = 4
RANKS = MOST_RECENT + 1
SET_AGES = 11


class ListHistory:
    """The elements of one list so far, in all its instances in the payload.

    `recent` holds species codes, four at most, the last seen first, and `rank` where that of the
    element before stood among them; `last` the last element of each of them, or of every species
    (see `add`), and `seen_in` the last instance in which each was.
    """

    __slots__ = ("instances", "last", "previous", "rank", "recent", "seen_in")

    def __init__(self) -> None:
        self.previous: Tree | None = None
        self.rank: int | None = None
        self.instances = 0
        self.recent: list[int] = []
        self.last: dict[int, Tree] = {}
        self.seen_in: dict[int, int] = {}

    def rank_of(self, species: Item) -> int:
        """Where a species stands among those seen lately, the last first; 4 for none of them."""
        return self.recent.index(species) if species in self.recent else MOST_RECENT

    def add(self, element: Tree, species: int | None, *, keeps: bool) -> None:
        """Note an element that has been said; `species` is the code in it, if it has one.

        `keeps`: the last element of a species is known for ever, and not just while it is recent.
        """
        self.previous = element
        if species is None:
            return
        self.rank = self.rank_of(species)
        if self.rank < MOST_RECENT:
            del self.recent[self.rank]
        self.recent.insert(0, species)
        self.last[species] = element
        self.seen_in[species] = self.instances
        if len(self.recent) > MOST_RECENT:
            forgotten = self.recent.pop()
            if not keeps:
                del self.last[forgotten]


class History:
    """Of a whole payload. `start_s` is its time of day, None until or unless it is known."""

    __slots__ = ("elapsed_s", "lists", "start_s")

    def __init__(self) -> None:
        self.start_s: int | None = None
        self.elapsed_s = 0
        self.lists: dict[str, ListHistory] = {}

    def of(self, path: str) -> ListHistory:
        found = self.lists.get(path)
        if found is None:
            found = self.lists[path] = ListHistory()
        return found

    def hour_row(self) -> int:
        """Which eighth of the day it is; noon where nobody knows."""
        if self.start_s is None:
            return NOON_ROW
        return (self.start_s + self.elapsed_s) // HOUR_S % HOURS_IN_DAY * HOUR_ROWS // HOURS_IN_DAY


class Now:
    """Where a walk stands: the payload so far, the list it is in, the group it fills."""

    __slots__ = ("group", "here", "history")

    def __init__(self, history: History, here: ListHistory, group: Tree) -> None:
        self.history = history
        self.here = here
        self.group = group


def bucket_of(codes: int) -> tuple[int, Callable[[int | None], int]]:
    """How many buckets a code can fall in, and the bucket of a code or of None (which is 0)."""
    if codes <= BUCKETS:
        return codes + 1, lambda code: 0 if code is None else code + 1
    classes = Classes(codes)
    count, of = len(classes), classes.of
    return BUCKETS + 1, lambda code: 0 if code is None else of(code) * BUCKETS // count + 1


def set_age_row(instances: int, seen_in: int | None) -> int:
    """How long ago, in instances of the list, a species was last in one, whichever way it went."""
    if not instances:
        return 0
    if seen_in is None:
        return 1 + min(instances - 1, 3)
    return 5 + min(instances - 1 - seen_in, 5)
