"""Where a frame's repair field stands, and what of a frame the erasure code protects.

A *source* is a frame's message and payload as a symbol of fixed length:

    1 | message | payload | zeros to `symbol_bytes`

A payload too long for that is a source of zeros: it is sent, and never won back.
"""

from collections.abc import Iterator

from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.repair import RepairField, Ring
from packcodec.layout.model import RepairLayout


class Sources:
    """The sources and repair fields of one layout with `[repair]`."""

    def __init__(self, repair: RepairLayout, highest_code: int) -> None:
        """`highest_code` is that of the messages, 0 to 255."""
        self.repair = repair
        self._symbol_bits = 8 * repair.symbol_bytes
        # A bit that says it is one, and the message's code.
        self._lead_bits = 1 + highest_code.bit_length()

    def source(self, code: int, bits: int, n: int) -> bytes:
        """The message `code` and its payload of `n` bits as a source."""
        room = self._symbol_bits - self._lead_bits - n
        x = 1 << self._lead_bits >> 1 | code
        if room >= 0:
            return ((x << n | bits) << room).to_bytes(self.repair.symbol_bytes, "big")
        if -room > n or bits & ((1 << -room) - 1):
            return bytes(self.repair.symbol_bytes)
        return (x << n + room | bits >> -room).to_bytes(self.repair.symbol_bytes, "big")

    def code(self, source: bytes) -> int:
        """The code of the message in a recovered source; one of no message where it is none."""
        return self._split(source)[0]

    def payloads(self, source: bytes) -> Iterator[tuple[int, int]]:
        """What may be the payload in a recovered source: the last bits of (integer, bits).

        A payload says where it ends, so of the lengths that are 8 bits apart just one leaves it 0
        to 7 zeros of padding, and all that follows is zero. It may fill the source.
        """
        _, x, bits = self._split(source)
        x, bits = x << 7, bits + 7
        zeros = min(bits, (x & -x).bit_length() - 1)
        for rest in range(zeros, -1, -8):
            yield x >> rest, bits - rest

    def advance(
        self, name: str, code: int, sequence: int | None, ring: Ring | None, bits: int, n: int
    ) -> tuple[int, int]:
        """Pass the ring with a frame, and get its repair field as (integer, bits).

        (0, 0) where the frame carries none. Raises EncodeError without a sequence.
        """
        if sequence is None:
            raise EncodeError(
                "is missing", place="sequence", remedy="the repair code needs the whole counter"
            )
        field = RepairField(0, bytes(self.repair.symbol_bytes))
        if ring is not None:
            field = ring.advance(sequence, self.source(code, bits, n))
        if not self.repair.rides(name, sequence):
            return 0, 0
        symbol = int.from_bytes(field.symbol, "big")
        return field.held << self._symbol_bits | symbol, self.repair.bits

    def field(
        self, name: str, sequence: int | None, x: int, n: int
    ) -> tuple[RepairField | None, int]:
        """The repair field of the last `n` bits of `x`, and how many bits follow it.

        Raises CarrierError without a sequence, DecodeError for what is no repair field.
        """
        if sequence is None:
            raise CarrierError(
                "is missing",
                place="sequence",
                remedy="frames of this schema do not carry it: pass the number the carrier gives",
            )
        if not self.repair.rides(name, sequence):
            return None, n
        n -= self.repair.bits
        if n < 0:
            raise DecodeError(
                Reason.WRONG_LENGTH,
                f"the frame ends {-n} bits before its repair field does",
                place="repair",
            )
        field = x >> n
        held = field >> self._symbol_bits & ((1 << self.repair.held_bits) - 1)
        if held > self.repair.repair.window:
            raise DecodeError(
                Reason.OUT_OF_RANGE,
                f"holds {held} sources",
                place="repair.held",
                remedy=f"the window is {self.repair.repair.window}",
            )
        symbol = field & ((1 << self._symbol_bits) - 1)
        return RepairField(held, symbol.to_bytes(self.repair.symbol_bytes, "big")), n

    def _split(self, source: bytes) -> tuple[int, int, int]:
        """The code, and (integer, bits) whose last `bits` bits follow it."""
        bits = 8 * len(source) - self._lead_bits
        x = int.from_bytes(source, "big")
        return (x >> bits) ^ (1 << self._lead_bits >> 1), x, bits
