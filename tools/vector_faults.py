"""Frames that must be refused: one fault each, made of the first case of a vector file."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from vector_beside import Beside, key
from vector_cases.case import Case, VectorFile

from packcodec.codec import reference as payloads
from packcodec.errors import Reason
from packcodec.frame import reference as frames
from packcodec.frame import reference_repair as repairs
from packcodec.layout import Layout


@dataclass(frozen=True)
class Bad:
    about: str
    frame: bytes
    reason: Reason
    beside: Beside


class Faults:
    """The faults of one file."""

    def __init__(self, layout: Layout, file: VectorFile, beside: Beside) -> None:
        """`beside` is that of the first case."""
        self.layout = layout
        self.file = file
        self.beside = beside
        self.case: Case = file.cases[0]
        message = next(one for one in layout.schema.messages if one.name == self.case.message)
        self.code = message.code
        self.behind = payloads.encode_bits(layout.schema, message, self.case.values)
        repair = layout.repair
        if repair is not None and repairs.carries(repair, message, self.case.counter):
            field = repairs.field(repair, self.case.station, self.case.counter, ())
            self.behind = repairs.field_bits(repair, *field) + self.behind
        self.good = self.framed(self.behind)

    def framed(self, behind: str, code: int | None = None, pad: str = "") -> bytes:
        """A frame that is right but for the bits behind its header."""
        return frames.frame_of(
            self.layout,
            self.code if code is None else code,
            behind,
            station=self.case.station,
            counter=self.case.counter,
            pad=pad,
            key=key(self.beside.key),
        )

    def all(self) -> Iterator[Bad]:
        yield from self._bits()
        yield from self._header()
        yield from self._check()
        if self.layout.check.sealed:
            yield from self._seal()

    def _bits(self) -> Iterator[Bad]:
        """Faults under a check that is right."""
        octets, behind = self.layout.check.octets, self.behind
        wrong_length = Reason.WRONG_LENGTH
        for fault in self.file.faults:
            yield self._bad(fault.about, self.framed(fault.bits), fault.reason)
        yield self._bad("no bytes", b"", wrong_length)
        yield self._bad("a check without its last byte", self.good[-octets:-1], wrong_length)
        longer = self.framed(behind + "0" * 2700)
        yield self._bad("longer than any link carries", longer, wrong_length)
        zeros = self.framed(behind + "0" * 8)
        yield self._bad("a zero byte after the payload", zeros, wrong_length)
        bits_sent = self.layout.header_bits + len(behind)
        if bits_sent > 8:
            short = self.framed(behind[: len(behind) - (bits_sent - 1) % 8 - 1])
            yield self._bad("payload without its last byte", short, wrong_length)
        for pad in range(1, -bits_sent % 8 + 1):
            ones = self.framed(behind, pad="0" * (pad - 1) + "1")
            yield self._bad(f"bit {pad} of the padding is 1", ones, Reason.NONZERO_PAD)

    def _header(self) -> Iterator[Bad]:
        schema = self.layout.schema
        if schema.frame.message_bits:
            codes = {one.code for one in schema.messages}
            unknown = min(set(range(1 << schema.frame.message_bits)) - codes)
            frame = self.framed(self.behind, unknown)
            yield self._bad(f"message code {unknown}", frame, Reason.UNKNOWN_MESSAGE)
        if schema.frame.tag_bits:
            yield self._bad("a bit of the tag", _flipped(self.good, 0), Reason.UNKNOWN_TAG)

    def _check(self) -> Iterator[Bad]:
        """Frames whose check does not hold."""
        good, octets, widths = self.good, self.layout.check.octets, self.layout.schema.frame
        failed, size = Reason.FAILED_CHECK, 8 * len(self.good)
        for bit in (widths.tag_bits, size - 8 * octets, size - 1):
            yield self._bad(f"bit {bit} flipped", _flipped(good, bit), failed)
        if not widths.station_bits:
            other = replace(self.beside, station=self.beside.station ^ 1)
            yield Bad("for another station", good, failed, other)
        if len(good) > octets + self.layout.header_bits // 8 + 1:
            cut = good[: -octets - 1] + good[-octets:]
            yield self._bad("the last byte before the check lost", cut, failed)

    def _seal(self) -> Iterator[Bad]:
        """Sealed frames that must stay shut."""
        good, beside, widths = self.good, self.beside, self.layout.schema.frame
        failed, keys = Reason.FAILED_CHECK, self.file.keys
        other = next(each for each in keys if each != beside.station)
        flipped = format(int(beside.key, 16) ^ 1, "032x")
        yield Bad("no key of the station", good, failed, replace(beside, key=""))
        yield Bad("the key of another station", good, failed, replace(beside, key=keys[other]))
        yield Bad("the last bit of the key flipped", good, failed, replace(beside, key=flipped))
        header = self.layout.header_bits
        if widths.station_bits:
            # The key beside it is then that of the station which the frame names.
            named = _renamed(
                good, widths.tag_bits + widths.message_bits, widths.station_bits, other
            )
            theirs = replace(beside, key=keys[other])
            yield Bad(f"the header changed to station {other}", named, failed, theirs)
        if widths.sequence_bits:
            last = _flipped(good, header - 1)
            yield self._bad("the last bit of the sequence flipped", last, failed)
        else:
            said = replace(beside, sequence=beside.sequence + 1)
            yield Bad("another sequence said by the carrier", good, failed, said)
        if not widths.message_bits:
            names = [one.name for one in self.layout.schema.messages]
            said = replace(beside, message=names[names.index(beside.message) - 1])
            yield Bad("another message said by the carrier", good, failed, said)
        yield self._bad("the first bit behind the header flipped", _flipped(good, header), failed)
        yield self._bad("the last byte of the tag lost", good[:-1], failed)
        yield self._bad("a zero byte after the tag", good + bytes(1), failed)
        circle = 1 << (widths.sequence_bits or frames.CARRIED_BITS)
        if circle <= 1 << 16:
            for about, ahead in (
                ("its counter is a circle back: a replay", circle),
                ("its counter is half a circle back", circle // 2),
            ):
                late = replace(beside, expected=self.case.counter + ahead)
                yield Bad(about, good, failed, late)

    def _bad(self, about: str, frame: bytes, reason: Reason) -> Bad:
        return Bad(about, frame, reason, self.beside)


def _flipped(frame: bytes, bit: int) -> bytes:
    """`frame` with one bit, counted from the first sent, changed."""
    return _plus(frame, 1, bit + 1)


def _renamed(frame: bytes, at: int, bits: int, station: int) -> bytes:
    """`frame` with another station in the `bits` bits that begin at `at`."""
    whole = int.from_bytes(frame, "big")
    named = whole >> (8 * len(frame) - at - bits) & ((1 << bits) - 1)
    return _plus(frame, named ^ station, at + bits)


def _plus(frame: bytes, change: int, end: int) -> bytes:
    """`frame` exclusive or `change`, of which the last bit falls on the one before `end`."""
    changed = int.from_bytes(frame, "big") ^ change << (8 * len(frame) - end)
    return changed.to_bytes(len(frame), "big")
