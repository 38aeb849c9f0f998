"""The codes of a payload as a tree, between the fixed coding's bits and the walk over a message.

A group is a list with one item a field: the code, None where the field is absent, a list of groups
for a list. Modelled coding starts from the codes of fixed coding, so values are turned into codes,
checked and clamped in one place only.
"""

from typing import TypeAlias

from packcodec.layout.model import Count, Group, Place, Presence, Repeat, Run, Step, When

Item: TypeAlias = "int | list[Tree] | None"
Tree: TypeAlias = list[Item]


def tree_of(body: Group, x: int, bits: int) -> Tree:
    """The codes in the last `bits` bits of `x`, a sound payload of fixed coding."""
    return _read(body, _Reader(x, bits))


def bits_of(body: Group, tree: Tree) -> tuple[int, int]:
    """The payload of fixed coding that holds these codes, as (integer, number of bits)."""
    writer = _Writer()
    _write(body, tree, writer)
    return writer.x, writer.bits


class _Reader:
    def __init__(self, x: int, left: int) -> None:
        self.x = x
        self.left = left

    def take(self, place: Place) -> int:
        self.left -= place.width
        return self.x >> self.left & ((1 << place.width) - 1)


class _Writer:
    def __init__(self) -> None:
        self.x = 0
        self.bits = 0

    def put(self, code: int, width: int) -> None:
        self.x = self.x << width | code
        self.bits += width


def _read(group: Group, reader: _Reader) -> Tree:
    found: dict[str, Item] = {}
    present: dict[str, int] = {}
    for step in group.steps:
        if isinstance(step, When):
            if present[step.field.name]:
                for inner in step.steps:
                    _read_step(inner, reader, found, present)
        else:
            _read_step(step, reader, found, present)
    return [found.get(field.name) for field in group.fields]


def _read_step(
    step: Step, reader: _Reader, found: dict[str, Item], present: dict[str, int]
) -> None:
    if isinstance(step, Repeat):
        count = found[step.field.name]
        assert isinstance(count, int)
        found[step.field.name] = [_read(step.element, reader) for _ in range(count)]
        return
    assert isinstance(step, Run)
    for place in step.places:
        code = reader.take(place)
        match place:
            case Presence():
                present[place.field.name] = code
            case Count():
                found[place.field.name] = place.field.least + code
            case _:
                found[place.field.name] = code


def _write(group: Group, tree: Tree, writer: _Writer) -> None:
    items = dict(zip((field.name for field in group.fields), tree, strict=True))
    for step in group.steps:
        if isinstance(step, When):
            if items[step.field.name] is not None:
                for inner in step.steps:
                    _write_step(inner, items, writer)
        else:
            _write_step(step, items, writer)


def _write_step(step: Step, items: dict[str, Item], writer: _Writer) -> None:
    if isinstance(step, Repeat):
        rows = items[step.field.name]
        assert isinstance(rows, list)
        for row in rows:
            _write(step.element, row, writer)
        return
    assert isinstance(step, Run)
    for place in step.places:
        item = items[place.field.name]
        match place:
            case Presence():
                writer.put(item is not None, place.width)
            case Count():
                assert isinstance(item, list)
                writer.put(len(item) - place.field.least, place.width)
            case _:
                assert isinstance(item, int)
                writer.put(item, place.width)
