"""A bench whose radio hears as well, and the audit of what it sent."""

from dataclasses import dataclass, field

from station_bench import Bench, over_the_limit

from packcodec.edge.station import Station


@dataclass
class TwoWay(Bench):
    """A bench whose radio hears, first in first out; an exception among it is raised."""

    heard: list[object] = field(default_factory=list)

    def __call__(self, frame: bytes) -> None:
        self.radio(frame)

    def received(self) -> object:
        if not self.heard:
            return None
        said = self.heard.pop(0)
        if isinstance(said, Exception):
            raise said
        return said

    def live(self, station: Station, minutes: float, every_s: float = 60) -> None:
        end_s = self.now_s + minutes * 60
        while self.now_s < end_s:
            self.now_s += every_s
            while station.tick(radio=self):
                pass

    def frames(self) -> list[bytes]:
        return [frame for _, _, frame in self.sent]


def audit(bench: TwoWay, limit_s: float = 36.0) -> None:
    on_air = [(at_s, bench.airtime_s(frame)) for at_s, _, frame in bench.sent]
    assert over_the_limit(on_air, limit_s, 3600) == []
