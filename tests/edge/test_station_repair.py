"""The repair code goes on after a power cut: what was sent before it is still won back."""

from datetime import timedelta

import pytest
from fake_disk import Disk, Operation, after, cuts
from small_schema import EPOCH, codec_of
from station_bench import Bench

from packcodec.base import Base
from packcodec.base.events import Contradicted, Event, Recovered
from packcodec.edge.station import Station
from packcodec.frame import Codec

REPAIR = '[repair]\nmessages = ["summary"]\nwindow = 12\nstride = 1\n[policy]'
NUMBERS = """  { name = "battery_mv", kind = "integer", low = 2800, high = 4300 },
  { name = "last_sent", kind = "integer", low = 0, high = 65535, optional = true },
  { name = "first_number", kind = "integer", low = 0, high = 65535 },
"""
TOLD = ('  { name = "battery_mv", kind = "integer", low = 2800, high = 4300 },\n', NUMBERS)
CODEC = codec_of(("[policy]", REPAIR), TOLD)
LEAP = 8


def live(bench: Bench, hours: int) -> Station:
    """Hours of it from a boot, with something else to say in each; the health report goes first."""
    station = bench.boot(leap=LEAP, checkpoint_s=0)
    station.health(battery_mv=3900)
    for hour in range(hours):
        for species in ("coot", "teal", "snipe")[: 1 + hour % 3]:
            station.seen(species, None, 0.9, 1 + hour % 5)
        bench.run(station, 60, every_s=300)
    return station


def heard(codec: Codec, bench: Bench, lost: set[int]) -> list[Event]:
    """What a base makes of all frames but some, told by how many came before them."""
    base = Base([codec])
    return [
        event
        for number, (at_s, _, frame) in enumerate(bench.sent)
        if number not in lost
        for event in base.heard(frame, EPOCH + timedelta(seconds=at_s))
    ]


@pytest.fixture(scope="module")
def before() -> Bench:
    bench = Bench(codec=CODEC)
    live(bench, 7)
    return bench


def test_a_cut_at_any_operation_leaves_the_code_whole(before: Bench) -> None:
    tried = 0
    for done in range(len(before.disk.log) // 2, len(before.disk.log)):
        sent = [each for each in before.sent if each[1] <= done]
        for partly in cuts(before.disk.log[done], lambda length: [1, length - 1]):
            tried += 1
            again = Bench(Disk(after(before.disk.log, done, partly)), codec=CODEC)
            again.sent = list(sent)
            again.now_s = sent[-1][0] + 60
            live(again, 5)
            lost = {len(sent) - 2, len(sent) - 1, len(sent) + 2}
            events = heard(CODEC, again, lost)
            assert not [event for event in events if isinstance(event, Contradicted)]
            won = {str(event.record.values) for event in events if isinstance(event, Recovered)}
            wanted = {str(CODEC.decode(again.sent[number][2]).values) for number in lost}
            assert wanted <= won
            # And the frame that was ready when the power went, if there was one.
            assert len(won - wanted) <= 1
    assert tried > 100


def _full(operation: Operation) -> None:
    if operation[1] == "journal":
        raise OSError(28, "No space left on device")


def test_after_a_full_card_the_code_begins_anew() -> None:
    """Frames went that the journal does not know of: to take them for never used would be a lie."""
    bench = Bench(codec=CODEC)
    station = live(bench, 4)
    before = len(bench.sent)
    bench.disk.refuse = _full
    station.seen("rail")
    bench.run(station, 60, every_s=300)
    assert len(bench.sent) > before
    for _ in range(2):
        bench.disk.refuse = lambda _: None
        live(bench, 6)
    lost = len(bench.sent) - 3
    events = heard(CODEC, bench, {lost})
    assert not [event for event in events if isinstance(event, Contradicted)]
    assert [event.counter for event in events if isinstance(event, Recovered)] == [
        CODEC.decode(bench.sent[lost][2]).sequence
    ]
