"""A station on a card in memory, with clocks moved by hand and a radio that keeps what it sends."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import cache
from typing import Any

from fake_disk import Disk
from small_schema import EPOCH, codec_of

from packcodec.codec.record import Record
from packcodec.edge.station import Station
from packcodec.radio.links import find_link

CODEC = codec_of()
# 3.6 s in any hour, and some 1.5 s a frame: two fit.
TIGHT = "lora-eu-864.0:sf=12"


@dataclass
class Bench:
    """`now_s` is true time, from the schema's epoch; a boot's monotonic clock starts at its own
    `zero_s`. `sent` holds true time, card operations so far, and the frame.
    """

    disk: Disk = field(default_factory=Disk)
    link: str = "lora-eu-868.1"
    now_s: float = 6 * 3600
    wall_offset: timedelta = timedelta()
    zero_s: float = 0.0
    sent: list[tuple[float, int, bytes]] = field(default_factory=list)
    radio_refuses: Callable[[], None] = lambda: None
    codec: Any = CODEC

    def boot(self, **options: Any) -> Station:
        self.zero_s = self.now_s
        return Station(
            self.codec, self.link, store=self.disk, station=1, clocks=self.clocks, **options
        )

    def clocks(self) -> tuple[datetime, float]:
        wall = EPOCH + timedelta(seconds=self.now_s) + self.wall_offset
        return wall, self.now_s - self.zero_s

    def radio(self, frame: bytes) -> None:
        self.radio_refuses()
        self.sent.append((self.now_s, len(self.disk.log), frame))
        self.now_s += self.airtime_s(frame)

    def airtime_s(self, frame: bytes) -> float:
        return _airtime_s(self.link, len(frame))

    def run(self, station: Station, minutes: float, *, every_s: float = 60, **tick: Any) -> None:
        end_s = self.now_s + minutes * 60
        while self.now_s < end_s:
            self.now_s += every_s
            while station.tick(radio=self.radio, **tick):
                pass

    def records(self) -> list[Record]:
        return [self.codec.decode(frame) for _, _, frame in self.sent]


@cache
def _airtime_s(link: str, frame_bytes: int) -> float:
    return find_link(link).airtime(frame_bytes).airtime_s


def key(record: Record) -> tuple[str, Any]:
    """What tells one record of this bench from another."""
    return record.message, record.values.get("start") or record.values.get("at")


def over_the_limit(
    sent: list[tuple[float, float]], limit_s: float, window_s: float
) -> list[tuple[float, float]]:
    """The (end, time on air) of every window over its limit, told second by second of the ends.

    Written apart from the ledger: a window is fullest where it ends with a transmission.
    """
    found = []
    for start_s, airtime_s in sent:
        end_s = start_s + airtime_s
        inside = sum(
            max(0.0, min(start + airtime, end_s) - max(start, end_s - window_s))
            for start, airtime in sent
            if start < end_s
        )
        if inside > limit_s + 1e-6:
            found.append((end_s, inside))
    return found
