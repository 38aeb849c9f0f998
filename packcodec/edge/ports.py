"""Radios of the plainest kind: a serial line, a TNC, a datagram, a file. Each is a `send(bytes)`;
the first three give by `received()` the next frame that came back, or None, without waiting.

An address names one, as for `packcodec receive`:

    serial:/dev/ttyUSB0?baud=115200&framing=cobs      or framing=kiss, for a TNC
    udp://192.168.1.20:5005                           a frame a datagram, for the bench
    frames.txt                                        a line of hexadecimal a frame, - to see them

A port opens when it is first used, and again after a failure: a plug that was pulled is no end.
"""

import os
import socket
import sys
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import parse_qsl, urlsplit

from packcodec.edge.framing import Cobs, Framing, Kiss
from packcodec.edge.parts import part
from packcodec.errors import SourceError

FRAMINGS: dict[str, type[Framing]] = {"cobs": Cobs, "kiss": Kiss}
BAUD = 115_200
# What a line may hold back before it counts as stuck, in seconds.
WRITE_TIMEOUT_S = 10.0
LONGEST_DATAGRAM = 65_535


class SerialPort:
    """A serial line; raises OSError where it cannot be written or read."""

    def __init__(self, port: str, *, baud: int = BAUD, framing: str = "cobs") -> None:
        """Raises SourceError for an unknown framing, MissingPartError without pyserial."""
        if framing not in FRAMINGS:
            raise SourceError(
                f"there is no framing {framing!r}", place=port, remedy="use cobs or kiss"
            )
        self._serial = part("serial", "serial")
        self._port, self._baud = port, baud
        self._framing = FRAMINGS[framing]()
        self._line: Any = None
        self._heard: deque[bytes] = deque()

    def __call__(self, frame: bytes) -> None:
        """Send, and wait until the last byte has left."""
        with self._opened() as line:
            line.write(self._framing.wrap(frame))
            line.flush()

    def received(self) -> bytes | None:
        """The next frame that came."""
        if not self._heard:
            with self._opened() as line:
                self._heard += self._framing.feed(line.read(line.in_waiting))
        return self._heard.popleft() if self._heard else None

    @contextmanager
    def _opened(self) -> Iterator[Any]:
        """The line, to be opened anew where it fails."""
        try:
            if self._line is None:
                self._line = self._serial.serial_for_url(
                    self._port, baudrate=self._baud, write_timeout=WRITE_TIMEOUT_S
                )
            yield self._line
        except OSError:
            # pyserial's own errors are OSErrors too.
            self.close()
            raise

    def close(self) -> None:
        """Close the line; the next frame opens it anew."""
        line, self._line = self._line, None
        if line is not None:
            line.close()


class UdpPort:
    """Datagrams to an address; raises OSError where it cannot be reached."""

    def __init__(self, host: str, port: int) -> None:
        self._to = (host, port)
        family = socket.AF_INET6 if ":" in host else socket.AF_INET
        self._socket = socket.socket(family, socket.SOCK_DGRAM)

    def __call__(self, frame: bytes) -> None:
        self._socket.sendto(frame, self._to)

    def received(self) -> bytes | None:
        """The next datagram that came to where ours come from."""
        try:
            return self._socket.recv(LONGEST_DATAGRAM, socket.MSG_DONTWAIT)
        except BlockingIOError:
            return None

    def close(self) -> None:
        """Close the socket, for good."""
        self._socket.close()


class FilePort:
    """A line of hexadecimal a frame, at the end of a file or, for "-", on standard output."""

    def __init__(self, path: str) -> None:
        self._path = path

    def __call__(self, frame: bytes) -> None:
        if self._path == "-":
            sys.stdout.write(frame.hex() + "\n")
            sys.stdout.flush()
            return
        with open(self._path, "a", encoding="ascii") as file:
            file.write(frame.hex() + "\n")
            file.flush()
            os.fsync(file.fileno())

    def close(self) -> None:
        """Nothing is held open."""


Port = SerialPort | UdpPort | FilePort


def open_port(address: str) -> Port:
    """The port of an address. Raises SourceError for one that names none."""
    parts = urlsplit(address)
    options = dict(parse_qsl(parts.query))
    if parts.scheme == "serial":
        unknown = set(options) - {"baud", "framing"}
        baud = options.get("baud", str(BAUD))
        if unknown or not baud.isdecimal() or not parts.path:
            raise SourceError(
                "names no serial line",
                place=address,
                remedy="write serial:/dev/ttyUSB0?baud=115200&framing=cobs",
            )
        return SerialPort(parts.path, baud=int(baud), framing=options.get("framing", "cobs"))
    if parts.scheme == "udp":
        try:
            host, port = parts.hostname, parts.port
        except ValueError:
            host, port = None, None
        if not host or not port:
            raise SourceError("names no host and port", place=address, remedy="udp://HOST:5005")
        return UdpPort(host, port)
    if parts.scheme:
        raise SourceError(
            f"there is no port of kind {parts.scheme!r}",
            place=address,
            remedy="use serial:…, udp://… or a file",
        )
    return FilePort(address)
