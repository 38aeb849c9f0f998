"""Frames on a line that carries a stream of bytes: where one ends and the next begins.

COBS (S. Cheshire, M. Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM Transactions on
Networking 7(2), 1999), through the cobs package: zero bytes only between frames. KISS (M. Chepponis
and P. Karn, "The KISS TNC", 1987): FEND between frames, FEND and FESC inside them escaped as in
SLIP (RFC 1055); each begins with a byte that says port and kind, 0 for data on port 0.

A delimiter goes before each frame as well as after it, so that half a frame, cut off with the
power, does not spoil the next one.
"""

from packcodec.edge.parts import part
from packcodec.layout.compiler import LARGEST_FRAME_BYTES

FEND, FESC, TFEND, TFESC = b"\xc0", b"\xdb", b"\xdc", b"\xdd"
KISS_DATA = 0x00

# Every byte escaped, and then some: what is longer is no frame.
LONGEST_RUN = 4 * LARGEST_FRAME_BYTES


class Framing:
    """One direction of a line: `wrap` what is sent, `feed` what comes in.

    `broken` counts the runs between delimiters that were no frame, as after noise.
    """

    delimiter = b"\0"

    def __init__(self) -> None:
        self.broken = 0
        self._rest = b""

    def wrap(self, frame: bytes) -> bytes:
        """The bytes that carry `frame`, which may be empty of delimiters."""
        return self.delimiter + self._stuffed(frame) + self.delimiter

    def feed(self, data: bytes) -> list[bytes]:
        """The frames that `data` completes, in order."""
        *runs, self._rest = (self._rest + data).split(self.delimiter)
        if len(self._rest) > LONGEST_RUN:
            self._rest = self._rest[-LONGEST_RUN:]
        frames = []
        for run in filter(None, runs):
            frame = self._unstuffed(run) if len(run) < LONGEST_RUN else None
            if frame is None:
                self.broken += 1
            elif frame:
                frames.append(frame)
        return frames

    def _stuffed(self, frame: bytes) -> bytes:
        raise NotImplementedError

    def _unstuffed(self, run: bytes) -> bytes | None:
        """The frame in a run without delimiters; None where there is none."""
        raise NotImplementedError


class Cobs(Framing):
    """Raises MissingPartError where the cobs package is not installed."""

    def __init__(self) -> None:
        super().__init__()
        self._cobs = part("cobs.cobs", "serial")

    def _stuffed(self, frame: bytes) -> bytes:
        stuffed: bytes = self._cobs.encode(frame)
        return stuffed

    def _unstuffed(self, run: bytes) -> bytes | None:
        try:
            frame: bytes = self._cobs.decode(run)
        except self._cobs.DecodeError:
            return None
        return frame


class Kiss(Framing):
    """Data frames of port 0; other ports and kinds are passed over."""

    delimiter = FEND

    def _stuffed(self, frame: bytes) -> bytes:
        escaped = frame.replace(FESC, FESC + TFESC).replace(FEND, FESC + TFEND)
        return bytes([KISS_DATA]) + escaped

    def _unstuffed(self, run: bytes) -> bytes | None:
        if run[0] != KISS_DATA:
            return b""
        first, *escapes = run[1:].split(FESC)
        parts = [first]
        for escape in escapes:
            meant = {TFEND: FEND, TFESC: FESC}.get(escape[:1])
            if meant is None:
                return None
            parts.append(meant + escape[1:])
        return b"".join(parts)
