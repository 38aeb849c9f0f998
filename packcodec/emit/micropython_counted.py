"""Frames that need the whole counter, in MicroPython: sealed ones, and those with repair symbols.

The functions are those of templates/micropython_counted.py.txt, with the layout's figures in place.
"""

from collections.abc import Iterator

from packcodec.emit.templates import blocks_of
from packcodec.layout.model import Layout
from packcodec.schema.model import Message
from packcodec.schema.reader import CARRIED_SEQUENCE_BITS

_TEMPLATE = "micropython_counted.py.txt"


class Counted:
    """What frames of a layout have beside the rest: arguments, lines and functions."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.sealed = layout.check.sealed
        self.repair = layout.repair
        self.given = ["cipher"] * self.sealed + ["ring=None"] * (self.repair is not None)
        self.needed = ["ciphers=()", "expected=None"] * self.sealed
        self.told = ["counter"] * self.sealed + ["repair"] * (self.repair is not None)

    def comments(self) -> Iterator[str]:
        """What the head of the file says of them."""
        blocks = blocks_of(_TEMPLATE)
        for is_needed, key in ((self.repair, "ring says"), (self.sealed, "seal says")):
            if is_needed:
                yield blocks[key].rstrip("\n")

    def writing(self) -> Iterator[str]:
        """The functions that encoders call."""
        yield from self._functions((self.repair, "ring"), (self.sealed, "seal"))

    def reading(self) -> Iterator[str]:
        """The functions that only the decoder calls."""
        yield from self._functions((self.repair, "symbol"), (self.sealed, "opening"))

    def rides(self, message: Message) -> str | None:
        """Which frames of this message carry a symbol: a line that asks it of the sequence, empty
        where all do, None where none do."""
        if self.repair is None or message.name not in self.repair.repair.messages:
            return None
        every, symbols = self.repair.repair.every, self.repair.repair.symbols
        turn = f"(sequence & {every - 1}) * {symbols} % {every}"
        return "" if every == symbols else f"if {turn} < {symbols}:"

    def _functions(self, *chosen: tuple[object, str]) -> Iterator[str]:
        blocks = blocks_of(_TEMPLATE)
        for is_needed, key in chosen:
            if is_needed:
                block = blocks[key]
                for name, figure in self._figures().items():
                    block = block.replace(f"@{name}@", str(figure))
                yield from ("", "", block)

    def _figures(self) -> dict[str, object]:
        layout, repair = self.layout, self.repair
        figures: dict[str, object] = {
            "identity": layout.identity,
            "octets": layout.check.octets,
            "circle": f"0x{1 << (layout.schema.frame.sequence_bits or CARRIED_SEQUENCE_BITS):X}",
            "clear": layout.header_bits // 8 if layout.check.hides else "n",
        }
        if repair is None:
            return figures
        code_bits = max(each.message.code for each in layout.messages).bit_length()
        return figures | {
            "ring_bytes": repair.repair.span * repair.symbol_bytes,
            "window": repair.repair.window,
            "stride": repair.repair.stride,
            "span": repair.repair.span,
            "sent": f"0x{(1 << repair.sent_bits) - 1:X}",
            "held_bits": repair.held_bits,
            "field_bits": repair.bits,
            "symbol_bytes": repair.symbol_bytes,
            "symbol_bits": 8 * repair.symbol_bytes,
            "lead": 1 << code_bits,
            "lead_bits": 1 + code_bits,
        }
