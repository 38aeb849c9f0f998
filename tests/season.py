"""A season of a station with power by day only, and an auditor that knows nothing of the engine.

Every evening the power goes, at any operation of the card or within it. Mornings come with the
clock right, or back in 2000; it drifts by 20 ppm; the radio fails for days; people walk by.
"""

from bisect import bisect_left
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from random import Random

from fake_disk import Disk, Operation, apply, cuts
from small_schema import EPOCH
from station_bench import CODEC, Bench

from packcodec.edge.station import Station
from packcodec.frame import Codec

DAY_S = 86_400
DAWN_S, DUSK_S = 5 * 3600, 19 * 3600
TICK_S = 300
PPM = 20e-6
ANIMALS = ("coot", "teal", "snipe", "lapwing", "rail")


class PowerCut(BaseException):
    """Nothing in the station may catch this."""


@dataclass
class Season:
    """`limit_s` in any `window_s` is the rule of the link, told again by hand.

    `visits` of otters, each half an hour or more after the last one, were acknowledged by `seen`.
    """

    link: str
    limit_s: float
    window_s: float
    chance: Random
    codec: Codec = CODEC
    bench: Bench = field(init=False)
    visits: int = 0
    last_otter_s: float = -DAY_S
    cut_off: int = 0
    dropped: int = 0
    detections: int = 0

    def __post_init__(self) -> None:
        self.bench = Bench(Disk(), link=self.link, codec=self.codec)

    def live(self, days: int) -> None:
        for day in range(days):
            bench, chance = self.bench, self.chance
            bench.now_s = day * DAY_S + DAWN_S
            bench.wall_offset = timedelta(seconds=PPM * bench.now_s)
            bench.radio_refuses = _dead if chance.random() < 0.05 else _alive
            unset = chance.random() < 0.1
            if unset:
                bench.wall_offset = datetime(2000, 1, 1, tzinfo=UTC) - EPOCH
            dusk_s = day * DAY_S + DUSK_S + chance.uniform(-3600, 3600)
            try:
                self._day(bench.boot(), dusk_s, unset)
            except PowerCut:
                self.cut_off += 1
            bench.disk.refuse = lambda _: None
        # A last day without events, for what still waits.
        bench.now_s, bench.radio_refuses = days * DAY_S + DAWN_S, _alive
        bench.run(bench.boot(), 14 * 60, every_s=TICK_S)

    def _day(self, station: Station, dusk_s: float, unset: bool) -> None:
        bench, chance = self.bench, self.chance
        station.health(battery_mv=chance.randint(3300, 4100))
        noon_s = dusk_s - 7 * 3600
        while bench.now_s < dusk_s + 3600:
            bench.now_s += TICK_S
            if bench.now_s > dusk_s:
                bench.disk.refuse = self._cut
            if unset and bench.now_s > noon_s:
                unset, bench.wall_offset = False, timedelta(seconds=PPM * bench.now_s)
                station.clock_set(True)
            if chance.random() < 0.3:
                self._seen(station, chance.choice(ANIMALS))
            if chance.random() < 0.005:
                self._seen(station, "otter")
                self.visits += bench.now_s - self.last_otter_s >= 1800
                self.last_otter_s = bench.now_s
            if chance.random() < 0.02:
                for _ in range(20):
                    self._seen(station, "human")
            while station.tick(radio=bench.radio):
                pass
            self.dropped = station.monitor.outbox.dropped["sighting"]

    def _seen(self, station: Station, label: str) -> None:
        self.detections += 1
        station.seen(label, None, 0.5 + self.chance.random() / 2, self.chance.randint(1, 3))

    def _cut(self, operation: Operation) -> None:
        if self.chance.random() < 0.5:
            return
        lengths = [self.chance.randrange(max(1, len(operation[3])))]
        partly = self.chance.choice(list(cuts(operation, lambda _: lengths)))
        if partly is not None:
            apply(self.bench.disk.files, partly)
        raise PowerCut

    def audit(self) -> list[str]:
        """Every breach: of the rule, of a number, of what was acknowledged."""
        bench = self.bench
        records = bench.records()
        on_air = [(at_s, bench.airtime_s(frame)) for at_s, _, frame in bench.sent]
        found = [
            f"{total:g} s on air in the window that ends at {end:g} s"
            for end, total in windows(on_air, self.window_s)
            if total > self.limit_s + 1e-6
        ]
        times = Counter(record.sequence for record in records)
        found += [f"number {n} sent {count} times" for n, count in times.items() if count > 1]
        told = sum(record.message == "sighting" for record in records)
        if told < self.visits:
            found.append(f"{told} sightings arrived, of {self.visits}")
        if self.dropped:
            found.append(f"{self.dropped} sightings made room")
        if any("human" in str(record.values) for record in records):
            found.append("people were told of")
        return found


def _alive() -> None:
    return


def _dead() -> None:
    raise OSError("the radio does not answer")


def windows(on_air: list[tuple[float, float]], window_s: float) -> list[tuple[float, float]]:
    """For each transmission, the end of the window that ends with it and the time on air in it."""
    starts = [start for start, _ in on_air]
    found = []
    for number, (start, airtime) in enumerate(on_air):
        end = start + airtime
        first = max(0, bisect_left(starts, end - window_s) - 1)
        inside = sum(
            min(a + d, end) - max(a, end - window_s)
            for a, d in on_air[first : number + 1]
            if a + d > end - window_s
        )
        found.append((end, inside))
    return found
