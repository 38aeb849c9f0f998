"""A season whose base asks: power cuts every evening, garbage in the air, and the auditor."""

from dataclasses import dataclass, field
from random import Random

import pytest
from fake_disk import Disk
from season import Season
from small_schema import schema_of
from station_bench import Bench
from two_way_bench import TwoWay

from packcodec.frame import Codec
from packcodec.frame.missing import encode_list
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

KEY = Key(bytes(range(16)))
CODEC = Codec(compile_layout(schema_of()), {1: KEY})


@dataclass
class Asked(TwoWay):
    """Its radio hears lists of what it sent of late, lists again, and garbage."""

    chance: Random = field(default_factory=lambda: Random(1))
    lists: list[bytes] = field(default_factory=list)

    @property
    def radio(self) -> "Asked":  # type: ignore[override]
        return self

    def __call__(self, frame: bytes) -> None:
        Bench.radio(self, frame)

    def received(self) -> object:
        chance, drawn = self.chance, self.chance.random()
        if drawn < 0.004 and self.sent:
            late = {record.sequence for record in self.records()[-40:]}
            missing = sorted(chance.sample(sorted(late), min(len(late), 12)))
            self.lists.append(encode_list(KEY, 1, len(self.lists), missing, 51)[0])
            return self.lists[-1]
        if drawn < 0.02 and self.lists:
            return chance.choice(self.lists)
        if drawn < 0.06:
            return chance.choice((chance.randbytes(20), b"", None, "text", OSError()))
        return None


class AskedSeason(Season):
    def __post_init__(self) -> None:
        self.bench = Asked(Disk(), link=self.link, codec=CODEC, chance=Random(9))

    def again(self) -> int:
        """How many frames went again."""
        bench = self.bench
        frames = [frame for _, _, frame in bench.sent]
        return len(frames) - len(set(frames))


@pytest.mark.parametrize(
    ("link", "limit_s", "window_s"),
    [("lora-eu-868.1:sf=9", 36.0, 3600.0), ("lora-eu-864.0:sf=11", 3.6, 3600.0)],
)
def test_no_rule_is_broken_for_what_goes_again(link: str, limit_s: float, window_s: float) -> None:
    season = AskedSeason(link, limit_s, window_s, Random(6))
    season.live(40)
    assert season.cut_off > 20
    assert len(season.bench.lists) > 15
    assert season.again() > 20
    breaches = season.audit()
    # A number is sent more than once only with the same bytes.
    numbers = [each for each in breaches if each.startswith("number ")]
    assert [each for each in breaches if each not in numbers] == []
    distinct = {frame for _, _, frame in season.bench.sent}
    assert len({CODEC.decode(frame).sequence for frame in distinct}) == len(distinct)
