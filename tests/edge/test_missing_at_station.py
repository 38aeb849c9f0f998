"""A station that hears its base: what it sends again, and what never makes it do anything."""

import os
import socket
import time
import tty
from collections import Counter
from collections.abc import Callable
from random import Random

import pytest
from fake_disk import Disk, after, cuts
from small_schema import codec_of, schema_of
from two_way_bench import TwoWay, audit

from packcodec.edge.framing import Cobs
from packcodec.edge.ports import SerialPort, UdpPort
from packcodec.frame import Codec
from packcodec.frame.missing import KEPT_FRAMES, encode_list
from packcodec.frame.seal import Key
from packcodec.layout import compile_layout

# 3.6 s in any hour, a quarter of it for sightings, and some 0.8 s a frame.
NARROW = "lora-eu-864.0:sf=11"
KEY, OTHER = Key(bytes(range(16))), Key(bytes(16))
SEALED = Codec(
    compile_layout(schema_of(("sequence_bits = 16", 'sequence_bits = 18\nseal = "ccm4"'))), {1: KEY}
)
OPEN = Codec(compile_layout(schema_of()), {1: KEY})


def asks(number: int, *missing: int, key: Key = KEY, station: int = 1) -> bytes:
    return encode_list(key, station, number, missing, 51)[0]


@pytest.mark.parametrize("codec", [OPEN, SEALED], ids=["open", "sealed"])
def test_what_is_asked_for_goes_again_with_the_same_bytes(codec: Codec) -> None:
    bench = TwoWay(codec=codec)
    station = bench.boot()
    bench.live(station, 8 * 60)
    before = bench.frames()
    assert len(before) == 8
    bench.heard.append(asks(0, 2, 3, 6))
    bench.live(station, 50)
    again = bench.frames()[8:]
    assert again == [before[2], before[3], before[6]]
    bench.live(station, 3 * 60)
    assert len(bench.frames()) == 8 + 3 + 3
    audit(bench)


def test_a_list_counts_once_and_a_later_one_takes_its_place() -> None:
    bench = TwoWay(codec=OPEN)
    station = bench.boot()
    bench.live(station, 6 * 60)
    frames = bench.frames()
    bench.heard += [asks(5, 1), asks(5, 2), asks(4, 3), asks(6, 4), asks(6, 4)]
    bench.live(station, 30)
    assert bench.frames()[6:] == [frames[4]]
    assert station.troubles.total() == 3


def test_fresh_records_go_first_and_an_intervals_share_stays() -> None:
    bench = TwoWay(codec=OPEN, link=NARROW)
    station = bench.boot()
    bench.live(station, 12 * 60)
    count, first = len(bench.sent), bench.records()[0].sequence
    assert first == 0
    bench.heard.append(asks(0, *range(count)))
    sighted = []
    for _ in range(6):
        station.seen("otter")
        before = len(bench.sent)
        bench.live(station, 60)
        new = bench.records()[before:]
        sighted.append([record.message for record in new if record.sequence >= count][:1])
        assert new[0].message == "sighting", "what is asked for waits for a sighting"
    assert sighted == [["sighting"]] * 6
    audit(bench, 3.6)
    assert any(record.sequence < count for record in bench.records()[count:])


GARBAGE: list[object] = [
    b"",
    b"x",
    bytes(11),
    bytes(51),
    bytes(5000),
    "text",
    17,
    ["list"],
    RuntimeError("the driver is broken"),
    OSError("no such device"),
    asks(0, 1, key=OTHER),
    asks(0, 1, station=2),
    asks(0, 1)[:-1],
    asks(0, 1) + b"\0",
]


def test_garbage_forgeries_and_broken_radios_change_nothing() -> None:
    plain, noisy = TwoWay(codec=OPEN), TwoWay(codec=OPEN)
    draw = Random(3)
    states = []
    for bench in (plain, noisy):
        station = bench.boot()
        for _ in range(400):
            if bench is noisy:
                bench.heard += [draw.choice(GARBAGE), draw.randbytes(draw.randrange(60))]
            bench.live(station, 1)
        noisy.heard.clear()
        states.append((bench.frames(), bench.disk.files["journal"], station.monitor.again.asked))
    assert states[0] == states[1]
    assert len(plain.sent) == 6
    assert station.troubles.total() > 400
    assert len(station.troubles) <= 65
    # And the right one is still taken.
    noisy.heard.append(asks(0, 1))
    noisy.live(station, 5)
    assert noisy.frames()[-1] == noisy.frames()[1]


def test_a_station_without_its_key_takes_no_list_and_keeps_no_frames() -> None:
    bench = TwoWay(codec=codec_of())
    station = bench.boot()
    bench.live(station, 200)
    bench.heard.append(asks(0, 1))
    bench.live(station, 40)
    assert len(bench.sent) == 4
    assert bench.heard, "nobody listens"
    assert b"again" not in bench.disk.files["journal"]
    assert b'"frame"' not in bench.disk.files["journal"]


def test_what_is_no_longer_kept_is_not_sent() -> None:
    short = compile_layout(schema_of(("sequence_bits = 16", "sequence_bits = 6")))
    bench = TwoWay(codec=Codec(short, {1: KEY}))
    station = bench.boot()
    bench.live(station, 40 * 60, every_s=300)
    frames = bench.frames()
    assert len(frames) == 40
    bench.heard.append(asks(0, *range(40)))
    bench.live(station, 12 * 60, every_s=300)
    # Half the circle of 64, less one: of 31 frames none is taken for another.
    again = [frame for frame in bench.frames()[40:] if frame in frames]
    assert again == frames[9:]


def test_no_more_frames_are_kept_than_is_said() -> None:
    bench = TwoWay(codec=OPEN)
    station = bench.boot()
    bench.live(station, (KEPT_FRAMES + 40) * 60, every_s=300)
    assert len(bench.sent) == KEPT_FRAMES + 40
    assert len(station.monitor.again.frames) == KEPT_FRAMES
    again = bench.boot()
    frames = bench.frames()
    bench.heard.append(asks(0, 20, 40, 200))
    bench.live(again, 180)
    assert [frame for frame in bench.frames()[len(frames) :] if frame in frames] == [frames[200]]


def test_the_list_and_what_is_left_of_it_outlast_a_power_cut_at_any_operation() -> None:
    bench = TwoWay(codec=OPEN, link=NARROW)
    station = bench.boot(leap=4)
    bench.live(station, 5 * 60, every_s=300)
    sent = bench.frames()
    bench.heard.append(asks(7, 0, 1, 2))
    begun = len(bench.disk.log)
    bench.live(station, 6 * 60, every_s=300)
    assert [frame for frame in bench.frames() if bench.frames().count(frame) > 1]
    taken = 0
    for done in range(begun, len(bench.disk.log)):
        for partly in cuts(bench.disk.log[done], lambda n: [1, n // 2, n - 1]):
            again = TwoWay(
                Disk(after(bench.disk.log, done, partly)),
                codec=OPEN,
                link=NARROW,
                now_s=bench.now_s,
            )
            again.sent = [each for each in bench.sent if each[1] <= done]
            before = len(again.sent)
            station = again.boot(leap=4)
            # The base says it once more: a list that was taken is refused, one that was not is not.
            again.heard.append(asks(7, 0, 1, 2))
            had = station.monitor.again.number == 7
            again.live(station, 8 * 60, every_s=300)
            assert station.monitor.again.number == 7
            assert any("that it has had" in words for words in station.troubles) == had
            taken += had
            assert set(sent[:3]) <= set(again.frames()[3:]), "all that was asked for came"
            audit(again, 3.6)
            fresh = Counter(f for f in again.frames() if f not in sent)
            assert set(fresh.values()) <= {1}
            assert len(again.sent) > before
    assert taken > 10


def test_a_frame_that_a_new_link_does_not_take_is_passed_over() -> None:
    bench = TwoWay(codec=OPEN)
    station = bench.boot()
    bench.live(station, 5 * 60)
    frames = bench.frames()
    assert {len(frame) for frame in frames} == {13}
    bench.link = "lorawan-us915-dr0"
    again = bench.boot()
    bench.heard.append(asks(0, 1, 2))
    bench.live(again, 30)
    assert again.monitor.again.number == 0
    assert again.monitor.again.asked == []
    assert bench.frames() == frames


def test_where_the_carrier_numbers_frames_none_is_kept() -> None:
    carried = compile_layout(schema_of(("sequence_bits = 16", "sequence_bits = 0")))
    bench = TwoWay(codec=Codec(carried, {1: KEY}))
    station = bench.boot()
    bench.live(station, 5 * 60)
    assert len(bench.sent) == 5
    bench.heard.append(asks(0, 1, 2))
    bench.live(station, 30)
    assert len(bench.sent) == 5
    assert not station.monitor.again.frames


def test_a_card_that_fails_keeps_no_list_from_being_followed() -> None:
    bench = TwoWay(codec=OPEN)
    station = bench.boot()
    bench.live(station, 4 * 60)
    frames = bench.frames()

    def full(operation: tuple[str, str, int, bytes]) -> None:
        if operation[0] != "overwrite":
            raise OSError(28, "No space left on device")

    bench.disk.refuse = full
    bench.heard.append(asks(0, 1))
    bench.live(station, 30)
    assert bench.frames()[-1] == frames[1]


def test_another_schema_forgets_the_frames_and_not_the_list() -> None:
    bench = TwoWay(codec=OPEN)
    station = bench.boot()
    bench.live(station, 4 * 60)
    bench.heard.append(asks(3, 1))
    bench.live(station, 5)
    assert len(bench.sent) == 5
    bench.codec = Codec(compile_layout(schema_of(("version = 1", "version = 2"))), {1: KEY})
    station.seen("otter")
    again = bench.boot()
    assert again.monitor.again.number == 3
    assert not again.monitor.again.frames
    assert len(again.monitor.outbox) == 0


def until(received: Callable[[], bytes | None]) -> bytes | None:
    """What comes within some seconds, for what is written to a line takes a moment."""
    for _ in range(500):
        if frame := received():
            return frame
        time.sleep(0.01)
    return None


def test_a_serial_line_brings_what_comes_back() -> None:
    pytest.importorskip("serial", reason="the part [serial] is not installed")
    near, far = os.openpty()
    tty.setraw(near)
    tty.setraw(far)
    port = SerialPort(os.ttyname(far))
    assert port.received() is None
    port(b"out")
    two = Cobs().wrap(b"two")
    os.write(near, Cobs().wrap(b"one") + two[:3])
    assert until(port.received) == b"one"
    assert port.received() is None
    os.write(near, two[3:] + Cobs().wrap(b"three"))
    assert [until(port.received), until(port.received)] == [b"two", b"three"]
    port.close()


def test_a_datagram_comes_back_to_where_ours_come_from() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as base:
        base.bind(("127.0.0.1", 0))
        port = UdpPort(*base.getsockname())
        assert port.received() is None
        port(b"out")
        _, sender = base.recvfrom(100)
        base.sendto(b"back", sender)
        base.sendto(b"more", sender)
        assert [until(port.received), until(port.received)] == [b"back", b"more"]
        assert port.received() is None
        port.close()
