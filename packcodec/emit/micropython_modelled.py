"""Modelled coding in MicroPython: the coder, as far as a schema needs it, its tables and walks.

The coder is templates/micropython_modelled.py.txt: the range is held in halves of 16 bits and no
number in between reaches 2^30. Tables are sums ready to use, for weights do not fit such numbers.
"""

import re
from collections.abc import Iterator

from packcodec.codec.modelled.coder import ROOM_ROWS, SURE_BITS
from packcodec.codec.modelled.ending import PLAIN, ROOMY_BITS
from packcodec.codec.modelled.history import MOST_RECENT, RANKS
from packcodec.emit.micropython_comments import INDENT
from packcodec.emit.micropython_encode import TAKEN, Function, add_step
from packcodec.emit.micropython_tables import Constants
from packcodec.emit.micropython_walk import Group
from packcodec.emit.modelled_table import add_models
from packcodec.emit.names import Names
from packcodec.emit.table import table
from packcodec.emit.text import broken
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout

_DEFINED = re.compile(r"^(?:def|class) (\w+)", re.MULTILINE)
_WALKS = (
    "# A walk takes values to send them, or to overlook them where it reads, and gives those sent",
    "# or read; of a list's elements it takes one, and puts there what it has read. `known` is the",
    "# species of an element where a set has said it, else -1.",
)
_READING = ("reading", "species reading")


class Walks:
    """The walks of a schema's messages, and the tables they use, each written once."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.data = table(layout)
        add_models(self.data, layout)
        self.constants = Constants(self.data["known"])
        self.functions = [
            line
            for message, said in zip(layout.messages, self.data["messages"], strict=True)
            for line in (
                *Group(self.constants, message.name, message.message.fields, said, None).lines(),
                *_plain(message),
            )
        ]

    def tail(self, name: str) -> int:
        """The most elements of the list at the end of a message, where the room says how many."""
        (said,) = (each for each in self.data["messages"] if each["name"] == name)
        last = said["fields"][-1] if said["fields"] else {"part": ""}
        return int(last["most"]) if last["part"] == "list" and last["more"] else 0

    def writing(self, blocks: dict[str, str]) -> Iterator[str]:
        """What encoders need: tables, the coder, what of the walk's parts is used, the walks."""
        used = self._used(blocks)
        yield from self.constants.lines(self._text() + "".join(used.values()))
        for key, block in used.items():
            if key not in _READING:
                yield from ("", "", block)
        yield from ("", "", *self._states())
        _, _, *functions = self.functions
        yield from ("", "", *_WALKS, *functions)

    def reading(self, blocks: dict[str, str]) -> Iterator[str]:
        """What only decoders need."""
        used = self._used(blocks)
        for key in _READING:
            if key in used:
                yield from ("", "", used[key])

    def _text(self) -> str:
        return "\n".join((*self._states(), *self.functions))

    def _states(self) -> Iterator[str]:
        yield "_c = _State()"
        yield "_begin(_c, None, 0, 0, 0)"
        for name, is_set in self.constants.lists.items():
            yield f"{name} = _State()"
            yield f"{name}.recent = [-1] * {MOST_RECENT}"
            yield f"{name}.rows = [None] * {RANKS}"
            if is_set:
                yield f"{name}.ages = bytearray(len(_KNOWN))"
            yield f"_forget{'_set' * is_set}({name})"

    def _used(self, blocks: dict[str, str]) -> dict[str, str]:
        """Those of the blocks that the walks need, in their order, with figures in place."""
        filled = {key: self._filled(block) for key, block in blocks.items()}
        text, used = self._text(), {"core", "reading"}
        while True:
            said = text + "".join(filled[key] for key in used)
            more = used | {
                key
                for key, block in filled.items()
                if any(f"{name}(" in said for name in _DEFINED.findall(block))
            }
            if more == used:
                return {key: block for key, block in filled.items() if key in used}
            used = more

    def _filled(self, block: str) -> str:
        figures = {
            "roomy_bits": ROOMY_BITS,
            "sure_bits": SURE_BITS,
            "last_room": ROOM_ROWS - 1,
            "recent": MOST_RECENT,
            "plain_bits": PLAIN_BITS,
            "plain": PLAIN,
        }
        for name, figure in figures.items():
            block = block.replace(f"@{name}@", str(figure))
        return block


def _plain(message: MessageLayout) -> Iterator[str]:
    """The function that appends the payload of fixed coding behind its mark."""
    function = Function(Names(TAKEN))
    held = {f.name: function.variables.give(f.name) for f in message.message.fields}
    for step in message.body.steps:
        add_step(step, held, function, 1)
    names = [f"{name}," for name in held.values()]
    yield from ("", "", f"def _plain_{message.name}(out, n, values):")
    if names:
        yield from broken(f"{INDENT}(", names, " ", ") = values")
    yield f"{INDENT}n = _put(out, n, {PLAIN}, {PLAIN_BITS})"
    yield from function.lines
    yield f"{INDENT}return n"
