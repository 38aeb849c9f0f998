"""Where frames come from: files, a serial line, UDP. packcodec/edge/mqtt.py is another.

A source runs in a thread of its own until it has no more, or until `stop` is set. It hands over
batches, and is told when each is stored. A live source that fails tries again for ever, waiting
longer each time.
"""

import socket
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from threading import Event
from typing import Any, Protocol, TextIO

from packcodec.edge.capture import Reader, read_lines
from packcodec.edge.framing import Cobs, Framing, Kiss
from packcodec.edge.heard import Heard
from packcodec.edge.parts import part
from packcodec.errors import LogError, SourceError

FRAMINGS: dict[str, type[Framing]] = {"cobs": Cobs, "kiss": Kiss}
CHUNK = 1000
# How often a source that waits looks whether it should stop, in seconds.
LOOK_S = 0.2
FIRST_WAIT_S, LONGEST_WAIT_S = 1.0, 60.0
LONGEST_DATAGRAM = 65_535
# Addresses that a port remembers to answer to.
MOST_ADDRESSES = 64

Stored = Callable[[], None]


@dataclass(frozen=True, slots=True)
class Outlet:
    """What a source is given: `put` takes a batch (it may wait), `tell` a line for people, and
    `refuse` a line of a file that is no frame."""

    put: Callable[[list[Heard], Stored | None], None]
    tell: Callable[[str], None]
    refuse: Callable[[LogError], None]
    stop: Event


class Source(Protocol):
    """`run` blocks. It raises PackcodecError only for what trying again cannot mend.

    A live source has a `ready`, which is set when it listens; one that can send as well, a `back`.
    """

    def run(self, outlet: Outlet) -> None:
        """Give `outlet` what is heard until it says stop, or the source ends."""


def now() -> datetime:
    """The time, in UTC."""
    return datetime.now(UTC)


class WayBack:
    """How frames go to the stations that a source hears: to all of them, and to none before."""

    def __init__(self) -> None:
        self._ways: dict[object, Callable[[bytes], object]] = {}

    def open(self, where: object, send: Callable[[bytes], object]) -> None:
        """Something was heard from `where`; the oldest of many such places is forgotten."""
        self._ways.pop(where, None)
        self._ways[where] = send
        while len(self._ways) > MOST_ADDRESSES:
            del self._ways[next(iter(self._ways))]

    def close(self) -> None:
        """Forget every way: nobody can be reached until somebody is heard."""
        self._ways.clear()

    def send(self, frame: bytes) -> int:
        """Send a frame; by how many ways it left."""
        left = 0
        for send in [*self._ways.values()]:
            try:
                send(frame)
            except OSError:
                # It is lost, as on the air; the source itself finds out what is wrong.
                continue
            left += 1
        return left


@dataclass(frozen=True, slots=True)
class FileSource:
    """A file of lines, or standard input for "-", whose lines are received as they are read."""

    path: str
    reader: Reader
    received: datetime | None = None

    def check(self) -> None:
        """Raises SourceError where the file cannot be opened."""
        if self.path != "-":
            with self._open():
                pass

    def run(self, outlet: Outlet) -> None:
        """Give every line. Raises SourceError for a file that cannot be read."""
        if self.path == "-":
            self._live(outlet, "standard input")
            return
        with self._open() as lines:
            self._file(lines, outlet)

    @contextmanager
    def _open(self) -> Iterator[TextIO]:
        try:
            with open(self.path, encoding="utf-8") as lines:
                yield lines
        except OSError as error:
            raise SourceError(
                f"cannot be read: {error.strerror}",
                place=self.path or "a source without a name",
                remedy="name a file of lines, or - for standard input",
            ) from None
        except UnicodeDecodeError:
            raise SourceError(
                "is not UTF-8 text", place=self.path, remedy="save it as UTF-8"
            ) from None

    def _file(self, lines: TextIO, outlet: Outlet) -> None:
        batch: list[Heard] = []
        for each in read_lines(lines, self.reader, self.path, self.received):
            if outlet.stop.is_set():
                return
            if isinstance(each, LogError):
                outlet.refuse(each)
                continue
            batch.append(each)
            if len(batch) == CHUNK:
                outlet.put(batch, None)
                batch = []
        outlet.put(batch, None)

    def _live(self, outlet: Outlet, place: str) -> None:
        for number, line in enumerate(sys.stdin, 1):
            if outlet.stop.is_set():
                return
            if not line.strip():
                continue
            try:
                heard = self.reader.read(line, f"{place}:{number}", self.received or now())
            except LogError as error:
                outlet.refuse(error)
            else:
                outlet.put([heard], None)


@dataclass(frozen=True, slots=True)
class SerialSource:
    """A serial line on which frames come framed; `framing` is "cobs" or "kiss"."""

    port: str
    base: str
    baud: int = 115_200
    framing: str = "cobs"
    ready: Event = field(default_factory=Event)
    back: WayBack = field(default_factory=WayBack)

    def run(self, outlet: Outlet) -> None:
        """Listen until told to stop, again and again where the line fails.

        Raises SourceError for an unknown framing, MissingPartError without pyserial.
        """
        serial = part("serial", "serial")
        if self.framing not in FRAMINGS:
            raise SourceError(
                f"there is no framing {self.framing!r}", place=self.port, remedy="use cobs or kiss"
            )

        def listen(calm: Callable[[], None]) -> None:
            framing = FRAMINGS[self.framing]()
            with serial.serial_for_url(self.port, baudrate=self.baud, timeout=LOOK_S) as line:
                calm()
                self.ready.set()
                self.back.open(self.port, lambda frame: line.write(framing.wrap(frame)))
                while not outlet.stop.is_set():
                    data = line.read(line.in_waiting or 1)
                    frames = [Heard(frame, now(), self.base) for frame in framing.feed(data)]
                    if frames:
                        outlet.put(frames, None)

        try:
            keep_trying(listen, (serial.SerialException, OSError), self.port, outlet)
        finally:
            self.back.close()


@dataclass(frozen=True, slots=True)
class UdpSource:
    """Datagrams to a port of this machine: a frame each, as bytes, or as the reader's text."""

    host: str
    port: int
    base: str
    reader: Reader | None = None
    ready: Event = field(default_factory=Event)
    back: WayBack = field(default_factory=WayBack)

    def run(self, outlet: Outlet) -> None:
        """Listen until told to stop, again and again where the port cannot be had."""
        place = f"udp://{self.host}:{self.port}"

        def listen(calm: Callable[[], None]) -> None:
            family = socket.AF_INET6 if ":" in self.host else socket.AF_INET
            with socket.socket(family, socket.SOCK_DGRAM) as line:
                line.bind((self.host, self.port))
                line.settimeout(LOOK_S)
                calm()
                self.ready.set()
                while not outlet.stop.is_set():
                    try:
                        data, sender = line.recvfrom(LONGEST_DATAGRAM)
                    except TimeoutError:
                        continue
                    self.back.open(sender, partial(_answer, line, sender))
                    self._take(data, place, outlet)

        keep_trying(listen, (OSError,), place, outlet)

    def _take(self, data: bytes, place: str, outlet: Outlet) -> None:
        if self.reader is None:
            outlet.put([Heard(data, now(), self.base)], None)
            return
        try:
            heard = self.reader.read(data.decode("utf-8", "replace"), place, now())
        except LogError as error:
            outlet.tell(str(error))
        else:
            outlet.put([heard], None)


def _answer(line: socket.socket, to: Any, frame: bytes) -> int:
    return line.sendto(frame, to)


def keep_trying(
    listen: Callable[[Callable[[], None]], None],
    failures: tuple[type[BaseException], ...],
    place: str,
    outlet: Outlet,
) -> None:
    """Run `listen` until it is told to stop; it says by its argument that it got through."""
    wait_s = FIRST_WAIT_S

    def calm() -> None:
        nonlocal wait_s
        wait_s = FIRST_WAIT_S

    while not outlet.stop.is_set():
        try:
            listen(calm)
        except failures as error:
            outlet.tell(f"{place}: {error}; trying again in {wait_s:.0f} s")
            outlet.stop.wait(wait_s)
            wait_s = min(2 * wait_s, LONGEST_WAIT_S)
