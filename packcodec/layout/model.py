"""Where each bit sits: the compiled form of a schema.

A message's body is a :class:`Group`. A group is sent as its steps, in order:

    Run     consecutive values of fixed width, first value most significant
    When    the steps of an optional field, sent only when its presence bit is 1
    Repeat  the elements of a list, each a group

The presence bits of a group come first, one for each optional field in field order; a list's
count sits in the run where the list stands. This is ASN.1 UPER (X.691, unaligned) bit for bit.
The same steps drive the compiled codec and every emitter.
"""

from typing import TypeAlias

from packcodec.frozen import frozen
from packcodec.layout.checks import Check
from packcodec.schema.model import Field, ListOf, Message, Repair, Schema


@frozen
class Value:
    """One value of a field: `codes` different ones in `width` bits. Never a list."""

    field: Field
    path: str
    codes: int
    width: int


@frozen
class Presence:
    """One bit: whether the optional field that follows later in the group is there."""

    field: Field
    path: str
    codes: int = 2
    width: int = 1


@frozen
class Count:
    """How many elements a list has, less its least."""

    field: ListOf
    path: str
    codes: int
    width: int


Place: TypeAlias = Value | Presence | Count


@frozen
class Run:
    """Places side by side; `width` is their sum."""

    places: tuple[Place, ...]
    width: int

    def shifts(self) -> tuple[int, ...]:
        """How far left of the run's last bit each place ends."""
        shifts, left = [], self.width
        for place in self.places:
            left -= place.width
            shifts.append(left)
        return tuple(shifts)


@frozen
class When:
    """What follows only if `field`'s presence bit is 1."""

    field: Field
    steps: "tuple[Run | Repeat, ...]"


@frozen
class Repeat:
    """The elements of a list whose count has been said."""

    field: ListOf
    path: str
    element: "Group"


Step: TypeAlias = Run | When | Repeat


@frozen
class Group:
    """The fields of a message or of a list's element, as steps, with their size in bits."""

    fields: tuple[Field, ...]
    steps: tuple[Step, ...]
    least_bits: int
    most_bits: int

    @property
    def rigid_bits(self) -> int | None:
        """The size if it is always the same single run, else None."""
        if not self.steps:
            return 0
        if len(self.steps) == 1 and isinstance(self.steps[0], Run):
            return self.most_bits
        return None


@frozen
class MessageLayout:
    """A message laid out, with its least and greatest payload in bits and frame in bytes."""

    message: Message
    body: Group
    least_frame_bytes: int
    most_frame_bytes: int

    @property
    def name(self) -> str:
        """The message's."""
        return self.message.name


@frozen
class RepairLayout:
    """The repair field, which stands between header and payload of the frames that carry it.

    It is `held`, how many sources of the window the symbol covers, and the symbol. `sent_bits` of
    the counter choose the coefficients. `holds_all`: no payload is too long for a symbol, so that a
    source of zeros is that of a number that was never used.
    """

    repair: Repair
    held_bits: int
    symbol_bytes: int
    sent_bits: int
    holds_all: bool = True

    @property
    def bits(self) -> int:
        """The length of the field."""
        return self.held_bits + 8 * self.symbol_bytes

    @property
    def rate(self) -> float:
        """Sources over sources and symbols, if every frame is of a message that carries them."""
        return self.repair.every / (self.repair.every + self.repair.symbols)

    def rides(self, message: str, sequence: int) -> bool:
        """Whether the frame of this message with this sequence carries a repair field."""
        repair = self.repair
        turn = sequence * repair.symbols % repair.every
        return turn < repair.symbols and message in repair.messages


@frozen
class Layout:
    """A compiled schema. `identity` is the SHA-256 of the canonical form, 32 bytes."""

    schema: Schema
    identity: bytes
    tag: int
    check: Check
    messages: tuple[MessageLayout, ...]
    repair: RepairLayout | None = None

    @property
    def header_bits(self) -> int:
        """Bits before the payload: tag, message, station and sequence, as far as they are sent."""
        frame = self.schema.frame
        return frame.tag_bits + frame.message_bits + frame.station_bits + frame.sequence_bits
