"""Kill a station at random moments, again and again, on one store, and audit what it had said.

The child tells through a pipe what was acknowledged and what it put on the air; the parent kills it
with SIGKILL. That shows the cut of a process, not of the power: what the kernel holds survives. For
the power see test_station_power.py, where the card is made of memory.
"""

import os
import random
import signal
import time
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path
from typing import Any

from small_schema import EPOCH, codec_of
from station_bench import over_the_limit

from packcodec.edge.station import Station
from packcodec.radio.links import find_link
from packcodec.radio.rules import known_rules

AT = '[message.sighting]\ncode = 0\nfields = [\n  {{ name = "at", kind = "time", step_s = {}'
# Every detection a visit, told to the second, so that each acknowledged one is found again.
CODEC = codec_of(
    ("independence_min = 30", "independence_min = 0"),
    (AT.format(60), AT.format(1)),
)
LINK = "lora-eu-868.1:sf=9"
LIMIT_S, WINDOW_S = 36.0, 3600.0
# An hour of the station's passes in so many seconds.
HOUR_S = 360.0
# A child is killed some lines into its life, and a moment later.
MOST_LINES = 20
LONGEST_MOMENT_S = 0.01
# The outbox makes room by dropping; here nothing may be dropped.
ROOM = 1_000_000


@dataclass
class Told:
    """What all children said: numbers of acknowledged sightings, and (time, frame) on the air."""

    acknowledged: list[str] = field(default_factory=list)
    sent: list[tuple[float, bytes]] = field(default_factory=list)


def rounds(store: Path, lives: int, chance: random.Random) -> Told:
    """Let so many children live a random while each; every line they said whole."""
    told = Told()
    # What a child would otherwise spend its life on.
    known_rules()
    find_link(LINK)
    begun_s = time.monotonic()
    for _ in range(lives):
        reader, writer = os.pipe()
        child = os.fork()
        if child == 0:
            try:
                os.close(reader)
                _live(store, writer, begun_s)
            finally:
                os._exit(1)
        os.close(writer)
        said = _heard(reader, chance.randint(0, MOST_LINES))
        time.sleep(chance.uniform(0, LONGEST_MOMENT_S))
        os.kill(child, signal.SIGKILL)
        with os.fdopen(reader, "rb") as rest:
            lines = (said + rest.read()).split(b"\n")
        _, status = os.waitpid(child, 0)
        assert os.WIFSIGNALED(status), "the child died of its own"
        for line in lines[:-1]:
            what, *rest = line.decode().split()
            if what == "seen":
                told.acknowledged.append(rest[0])
            else:
                told.sent.append((float(rest[0]), bytes.fromhex(rest[1])))
    return told


def _heard(reader: int, lines: int) -> bytes:
    """What the child says until it has said so many lines."""
    said = b""
    while said.count(b"\n") < lines:
        said += os.read(reader, 4096)
    return said


def faults(store: Path, told: Told) -> list[str]:
    """Whatever was lost, repeated, or sent against the rule; and too little tried to tell."""
    station = Station(CODEC, LINK, store=store, station=1, outbox_most=ROOM)
    there = Counter(
        _name(CODEC.payloads["sighting"].unpack_values(entry.payload))
        for entry in station.monitor.outbox
        if entry.message == "sighting"
    )
    station.close()
    records = [CODEC.decode(frame) for _, frame in told.sent]
    there.update(_name(record.values) for record in records if record.message == "sighting")
    acknowledged = Counter(told.acknowledged)
    found = [f"lost {each}" for each, times in acknowledged.items() if there[each] < times]
    numbers = Counter(record.sequence for record in records)
    found += [f"number {n} was sent {times} times" for n, times in numbers.items() if times > 1]
    link = find_link(LINK)
    on_air = [(at_s, link.airtime(len(frame)).airtime_s) for at_s, frame in told.sent]
    found += [f"{s:g} s on air until {end}" for end, s in over_the_limit(on_air, LIMIT_S, WINDOW_S)]
    if not told.acknowledged or not told.sent:
        found.append("nothing was acknowledged or sent")
    return found


def _name(values: dict[str, Any]) -> str:
    """What tells one sighting from another: its second, its confidence, its individuals."""
    return f"{values['at']:%d%H%M%S}-{values['confidence']:.2f}-{values['individuals']}"


def _live(store: Path, writer: int, begun_s: float) -> None:
    born_s = time.monotonic()
    scale = WINDOW_S / HOUR_S

    def station_s() -> float:
        return (time.monotonic() - begun_s) * scale

    def clocks() -> tuple[datetime, float]:
        return EPOCH + timedelta(seconds=station_s()), (time.monotonic() - born_s) * scale

    def radio(frame: bytes) -> None:
        os.write(writer, b"sent %f %s\n" % (station_s(), frame.hex().encode()))

    station = Station(CODEC, LINK, store=store, station=1, clocks=clocks, leap=8, outbox_most=ROOM)
    station.health(battery_mv=3900)
    for number in count():
        values = {
            "at": (EPOCH + timedelta(seconds=int(station_s()))).astimezone(UTC),
            "confidence": (50 + number % 50) / 100,
            "individuals": 1 + number // 50 % 8,
        }
        station.seen("otter", values["at"], values["confidence"], values["individuals"])
        os.write(writer, f"seen {_name(values)}\n".encode())
        for _ in range(3):
            station.seen("coot", None, 0.9)
            station.tick(radio=radio)
