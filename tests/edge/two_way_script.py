"""A station on a UDP port whose hours pass in seconds: two_way_script.py PORT STORE COUNT.

It sees COUNT otters, a minute apart; a line on standard input lets it see as many again; it goes on
sending what it is asked for until standard input ends. Each frame is told with its time.
"""

import sys
import time
from datetime import timedelta
from threading import Thread

from small_schema import EPOCH
from two_way_schema import CODEC, LINK

from packcodec.edge.ports import UdpPort
from packcodec.edge.station import Station

TICK_S, PAUSE_S = 15, 0.004


class Radio:
    def __init__(self, port: int) -> None:
        self.udp = UdpPort("127.0.0.1", port)
        self.received = self.udp.received
        self.now_s = 6 * 3600.0

    def __call__(self, frame: bytes) -> None:
        print(self.now_s, frame.hex(), flush=True)
        self.udp(frame)
        self.now_s += 1


def main() -> None:
    radio, count = Radio(int(sys.argv[1])), int(sys.argv[3])
    station = Station(
        CODEC,
        LINK,
        store=sys.argv[2],
        station=1,
        clocks=lambda: (EPOCH + timedelta(seconds=radio.now_s), radio.now_s),
    )

    def tick() -> None:
        radio.now_s += TICK_S
        station.tick(radio=radio, watching=False)
        time.sleep(PAUSE_S)

    def see() -> None:
        for _ in range(count):
            station.seen("otter")
            for _ in range(4):
                tick()

    see()
    print("seen", flush=True)
    lines: list[str] = []
    ended = Thread(target=lambda: lines.extend(sys.stdin), daemon=True)
    told = sys.stdin.readline()
    ended.start()
    if told:
        see()
    while ended.is_alive():
        tick()
    station.close()


main()
