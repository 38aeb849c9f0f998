"""Record ⇄ frame: what `packcodec.load` gives.

A frame, most significant bit first:

    tag | message | station | sequence | repair | payload | 0 to 7 zero bits | check

Widths are the schema's, and any of the first four may be 0 where the carrier says it. The repair
field (`packcodec.frame.repair`) stands in the frames that the schema's [repair] names. The check
is a CRC over what both ends know and nobody sends, followed by what is sent:

    identity (32 bytes) | message (1) | station (4) | length of the frame (2) | header and payload

with message and station 0 in that prefix when the header carries them (an error in a sent bit must
not spread into the prefix). So a frame read with the wrong schema, as the wrong message or for the
wrong station fails, and so does a frame that lost or gained zero bytes. A schema with a seal has
its tag in place of the CRC (`packcodec.frame.seal`).
"""

from collections.abc import Mapping
from datetime import datetime
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

from packcodec.codec.compiled import PayloadCodec
from packcodec.codec.record import Record
from packcodec.codec.settle import shown
from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.crc import crc_function
from packcodec.frame.header import Header, as_said
from packcodec.frame.repair import RepairField, Ring
from packcodec.frame.sequence import COUNTERS, infer_counter
from packcodec.frame.source import Sources
from packcodec.frame.times import resolve, wraps
from packcodec.frozen import frozen
from packcodec.layout.compiler import LARGEST_FRAME_BYTES
from packcodec.layout.model import Layout
from packcodec.schema.model import Schema

if TYPE_CHECKING:
    from packcodec.codec.modelled.payload import ModelledPayload
    from packcodec.frame.seal import Key, Keys, Seal

# What a carrier that numbers frames itself is sure to say of the counter.
CARRIED_BITS = 16

NONE_HEARD: Mapping[int, int] = MappingProxyType({})


@frozen
class Opened:
    """A verified frame: its record, and what the erasure code needs of it.

    `source` is empty in a schema without repair; `repair` is None where the frame carries none.
    `counter` is the whole counter of a sealed frame, as good as its tag; None in others.
    """

    record: Record
    source: bytes
    repair: RepairField | None
    counter: int | None = None


class Codec:
    """Encodes and decodes the frames of one layout. Holds no state from frame to frame."""

    def __init__(self, layout: Layout, keys: "Keys | None" = None) -> None:
        """`keys` by station: without them the frames of a schema with a seal stay shut, and no
        missing list goes to a station (`packcodec.frame.missing`).

        Raises MissingPartError where the seal needs what is not installed.
        """
        self.layout = layout
        self._keys = keys or {}
        self._seal = _seal(layout, self._keys) if layout.check.sealed else None
        payload = _payload_codec(layout.schema.coding)
        self.payloads = {each.name: payload(layout, each) for each in layout.messages}
        self._header = Header(layout)
        self._by_code = {each.message.code: each.name for each in layout.messages}
        if self._seal is None:
            self._crc = crc_function(layout.check)
            self._identity_crc = self._crc(layout.identity)
        # Messages with times that only the reception time makes whole.
        self._wrapping = {each.name for each in layout.messages if wraps(each.message.fields)}
        self._sources = Sources(layout.repair, max(self._by_code)) if layout.repair else None
        self._least = (layout.header_bits + 7) // 8 + layout.check.octets

    @property
    def schema(self) -> Schema:
        """The schema that the layout was compiled from."""
        return self.layout.schema

    def has_key(self, station: int) -> bool:
        """Whether frames of that station can be sealed and opened."""
        return self._seal is not None and self._seal.has(station)

    @property
    def has_keys(self) -> bool:
        """Whether any station's key is there."""
        return bool(self._keys)

    def key(self, station: int) -> "Key | None":
        """That station's key, if there is one, also where the schema has no seal."""
        return self._keys.get(station)

    def encode(
        self,
        record: Record | Mapping[str, Any],
        *,
        station: int | None = None,
        sequence: int | None = None,
        ring: Ring | None = None,
    ) -> bytes:
        """The frame of `record`, a Record or its JSON form.

        `ring` is the station's, which each of its frames passes once, in order; a frame made
        without one says in its repair field that it covers nothing.

        `station` and `sequence` (the whole counter, 0 to 2**32 - 1) come from the record where not
        given; a sequence of which no bit is sent may be left away. Raises EncodeError naming the
        field that cannot be sent.
        """
        name, values, station, sequence = _parts(record, station, sequence)
        payload = self.payloads.get(name) if isinstance(name, str) else None
        if payload is None:
            known = ", ".join(self.payloads)
            raise EncodeError(
                "is missing" if name is None else f"there is none called {shown(name)}",
                place="message",
                remedy=f"use one of {known}",
            )
        header = self._header.join(payload.message.message.code, station, sequence)
        bits, n = payload.pack_bits(*payload.ordered(values))
        width = self.layout.header_bits
        if self._sources is not None:
            code = payload.message.message.code
            field, m = self._sources.advance(name, code, sequence, ring, bits, n)
            header, width = header << m | field, width + m
        total = width + n
        most = payload.message.most_frame_bytes
        if (total + 7) // 8 + self.layout.check.octets > most:
            raise EncodeError(
                f"takes {(total + 7) // 8 + self.layout.check.octets} bytes as a frame",
                place=f"message.{name}",
                remedy=f"the largest of this layout has {most}: say fewer list elements in one",
            )
        data = ((header << n | bits) << (-total & 7)).to_bytes((total + 7) >> 3, "big")
        code = payload.message.message.code
        if self._seal is not None:
            return self._sealed(self._seal, data, code, station or 0, sequence)
        crc = self.check(data, code, station or 0)
        return data + crc.to_bytes(self.layout.check.octets, "big")

    def decode(
        self,
        frame: bytes,
        *,
        received: datetime | None = None,
        station: int | None = None,
        message: str | None = None,
        sequence: int | None = None,
        expected: Mapping[int, int] = NONE_HEARD,
    ) -> Record:
        """The record in `frame`.

        `received` resolves times that are sent modulo a span; without it they stay PartialTime.
        `station`, `message` and `sequence` are what the carrier says, and count only where the
        header does not say it. `expected` is, by station, one more than the highest counter
        verified so far, 0 where there is none: a sealed frame opens only if the counter nearest
        to it is the right one. Raises DecodeError with a Reason for bytes that are not a frame of
        this layout, CarrierError when the carrier's part is missing.
        """
        return self.open(
            frame,
            received=received,
            station=station,
            message=message,
            sequence=sequence,
            expected=expected,
        ).record

    def open(
        self,
        frame: bytes,
        *,
        received: datetime | None = None,
        station: int | None = None,
        message: str | None = None,
        sequence: int | None = None,
        expected: Mapping[int, int] = NONE_HEARD,
    ) -> Opened:
        """As `decode`, with the source and the repair field that a base feeds its solver."""
        if not isinstance(frame, bytes | bytearray | memoryview):
            raise CarrierError(
                f"a frame is bytes, not {type(frame).__name__}",
                place="frame",
                remedy="bytes.fromhex(…) reads hex",
            )
        if not self._least <= len(frame) <= LARGEST_FRAME_BYTES:
            raise DecodeError(
                Reason.WRONG_LENGTH,
                f"a frame of {len(frame)} bytes",
                remedy=f"the shortest of this schema has {self._least}, no radio carries more than "
                f"{LARGEST_FRAME_BYTES}",
            )
        data, check = frame[: -self.layout.check.octets], frame[-self.layout.check.octets :]
        n = 8 * len(data) - self.layout.header_bits
        x = int.from_bytes(data, "big")
        code, station, sequence = self._header.split(x >> n, message, station, sequence)
        counter = None
        if self._seal is not None:
            if not self._seal.has(station):
                raise _failed_check(f"there is no key for station {station}")
            counter = self._counter(sequence, expected.get(station, 0))
            x = self._unsealed(self._seal, frame, code, station, counter)
        elif self.check(data, code, station) != int.from_bytes(check, "big"):
            raise _failed_check("damaged on the way, or of another schema or station")
        name = self._by_code.get(code)
        if name is None:
            raise DecodeError(
                Reason.UNKNOWN_MESSAGE, f"message code {code} is not in the schema", place="message"
            )
        payload = self.payloads[name]
        field, source = None, b""
        if self._sources is not None:
            field, n = self._sources.field(name, sequence, x, n)
            source = self._sources.source(code, x & ((1 << n) - 1), n)
        values = payload.named(payload.unpack_bits(x, n))
        if received is not None and name in self._wrapping:
            values = resolve(values, self.schema.epoch, received)
        return Opened(Record(name, values, station, sequence), source, field, counter)

    def claimed(
        self, frame: bytes, *, station: int | None, message: str | None, sequence: int | None
    ) -> int | None:
        """The station that a frame which failed its check names, if its key is there to judge it
        by; None in a schema without a seal. The arguments are those that `open` had.
        """
        if self._seal is None:
            return None
        n = 8 * (len(frame) - self.layout.check.octets) - self.layout.header_bits
        header = int.from_bytes(frame[: len(frame) - self.layout.check.octets], "big") >> n
        named = self._header.split(header, message, station, sequence)[1]
        return named if self._seal.has(named) else None

    def reopen(
        self, source: bytes, *, received: datetime | None = None, station: int, sequence: int
    ) -> Record:
        """The record in a recovered source; `received` is when its frame would have come.

        Raises DecodeError where the source is not one of this layout.
        """
        name = None if self._sources is None else self._by_code.get(self._sources.code(source))
        if self._sources is None or name is None:
            raise DecodeError(Reason.UNKNOWN_MESSAGE, "not a source", place="message")
        payload = self.payloads[name]
        for x, bits in self._sources.payloads(source):
            try:
                values = payload.named(payload.unpack_bits(x, bits))
            except DecodeError:
                continue
            if received is not None and name in self._wrapping:
                values = resolve(values, self.schema.epoch, received)
            return Record(name, values, station, sequence)
        raise DecodeError(Reason.NOT_CANONICAL, "the source holds no payload", place=name)

    def check(self, data: bytes, code: int, station: int) -> int:
        """The check that must follow `data`, a frame's header and payload.

        `code` (of the message) and `station` count only where the header does not carry them.
        """
        unsent = self._unsent(code, station, len(data) + self.layout.check.octets)
        return self._crc(data, self._crc(unsent, self._identity_crc))

    def _unsent(self, code: int, station: int, frame_bytes: int) -> bytes:
        """What the check covers after the identity and nobody sends."""
        frame = self.schema.frame
        return (
            (0 if frame.message_bits else code).to_bytes(1, "big")
            + (0 if frame.station_bits else station).to_bytes(4, "big")
            + frame_bytes.to_bytes(2, "big")
        )

    def _sealed(
        self, seal: "Seal", data: bytes, code: int, station: int, counter: int | None
    ) -> bytes:
        if counter is None:
            raise EncodeError(
                "is missing", place="sequence", remedy="a seal needs the whole counter"
            )
        if not seal.has(station):
            raise EncodeError(
                f"there is none for station {station}",
                place="key",
                remedy="load the schema with it",
            )
        unsent = self._unsent(code, station, len(data) + self.layout.check.octets)
        return seal.close(data, self.layout.identity + unsent, station, counter)

    def _unsealed(self, seal: "Seal", frame: bytes, code: int, station: int, counter: int) -> int:
        """The data of a sealed frame as a number, once its tag has been verified."""
        unsent = self.layout.identity + self._unsent(code, station, len(frame))
        data = seal.open(frame, unsent, station, counter)
        if data is None:
            raise _failed_check("not sealed with this key, replayed, or damaged on the way")
        return int.from_bytes(data, "big")

    def _counter(self, sequence: int | None, expected: int) -> int:
        bits = self.schema.frame.sequence_bits or CARRIED_BITS
        if type(sequence) is not int or not 0 <= sequence < COUNTERS:
            raise CarrierError(
                as_said(sequence),
                place="sequence",
                remedy="a sealed frame opens only with its counter: pass what the carrier says",
            )
        return infer_counter(expected, sequence & ((1 << bits) - 1), bits)


def _payload_codec(coding: str) -> "type[PayloadCodec] | type[ModelledPayload]":
    """The codec of payloads; a station loads only the one it speaks."""
    if coding == "fixed":
        return PayloadCodec
    from packcodec.codec.modelled.payload import ModelledPayload

    return ModelledPayload


def _seal(layout: Layout, keys: "Keys") -> "Seal":
    from packcodec.frame.seal import Seal

    return Seal(layout.check, layout.header_bits // 8, keys)


def _failed_check(problem: str) -> DecodeError:
    return DecodeError(Reason.FAILED_CHECK, problem, place="check")


def _parts(
    record: Record | Mapping[str, Any], station: int | None, sequence: int | None
) -> tuple[str, Mapping[str, Any], int | None, int | None]:
    """Message, values, station and sequence of a Record or of its JSON form."""
    if isinstance(record, Record):
        said: tuple[Any, ...] = (record.message, record.values, record.station, record.sequence)
    elif isinstance(record, Mapping):
        keys = ("message", "values", "station", "sequence")
        said = tuple(record.get(key) for key in keys)
        if not isinstance(said[1], Mapping):
            raise EncodeError(
                as_said(said[1]),
                place="values",
                remedy="it takes an object with a value for each field",
            )
    else:
        raise EncodeError(
            "not a record", remedy='a record is {"message": …, "station": …, "values": {…}}'
        )
    message, values, its_station, its_sequence = said
    return (
        message,
        values,
        its_station if station is None else station,
        its_sequence if sequence is None else sequence,
    )
