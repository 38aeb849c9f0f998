"""The header: what of tag, message, station and sequence the frame carries, and what the carrier.

Each width is the schema's and may be 0 where the carrier says it.
"""

from packcodec.codec.settle import shown
from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.sequence import COUNTERS
from packcodec.layout.model import Layout

UNSENT_STATION_BITS = 32


class Header:
    """Puts headers together and takes them apart, for one layout."""

    def __init__(self, layout: Layout) -> None:
        self.frame = layout.schema.frame
        self.name = layout.schema.name
        self.tag = layout.tag
        self.codes = {each.name: each.message.code for each in layout.messages}

    def join(self, code: int, station: int | None, sequence: int | None) -> int:
        """The header as a number. Raises EncodeError for a station or sequence that cannot be."""
        frame = self.frame
        stations = 1 << (frame.station_bits or UNSENT_STATION_BITS)
        if sequence is None and not frame.sequence_bits:
            sequence = 0
        for place, number, numbers in (
            ("station", station, stations),
            ("sequence", sequence, COUNTERS),
        ):
            if type(number) is not int or not 0 <= number < numbers:
                raise EncodeError(
                    as_said(number),
                    place=place,
                    remedy=f"it takes a whole number, 0 to {numbers - 1}",
                )
        assert station is not None
        assert sequence is not None
        header = self.tag
        if frame.message_bits:
            header = header << frame.message_bits | code
        if frame.station_bits:
            header = header << frame.station_bits | station
        return header << frame.sequence_bits | sequence & ((1 << frame.sequence_bits) - 1)

    def split(
        self, header: int, message: str | None, station: int | None, sequence: int | None
    ) -> tuple[int, int, int | None]:
        """Message code, station and sequence, from the header or from the carrier.

        Raises CarrierError for what neither says, DecodeError for a tag that is not ours.
        """
        frame = self.frame
        if frame.sequence_bits:
            sequence = header & ((1 << frame.sequence_bits) - 1)
            header >>= frame.sequence_bits
        if frame.station_bits:
            station = header & ((1 << frame.station_bits) - 1)
            header >>= frame.station_bits
        elif type(station) is not int or not 0 <= station < 1 << UNSENT_STATION_BITS:
            raise CarrierError(
                as_said(station),
                place="station",
                remedy="frames of this schema do not carry it: pass the number the carrier gives",
            )
        if frame.message_bits:
            code = header & ((1 << frame.message_bits) - 1)
            header >>= frame.message_bits
        else:
            code = self._carried_code(message)
        if header != self.tag:
            raise DecodeError(
                Reason.UNKNOWN_TAG, f"the tag is not that of {self.name}", place="tag"
            )
        return code, station, sequence

    def _carried_code(self, message: str | None) -> int:
        if message is None and len(self.codes) == 1:
            return next(iter(self.codes.values()))
        if message not in self.codes:
            raise CarrierError(
                as_said(message),
                place="message",
                remedy="frames of this schema do not carry it: pass one of "
                + ", ".join(self.codes),
            )
        return self.codes[message]


def as_said(said: object) -> str:
    """What stands where something else was wanted, in words."""
    return "is missing" if said is None else f"is {shown(said)}"
