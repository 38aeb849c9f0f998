"""Sources: Abramson's pure ALOHA, S = G e^(−2G), as textbooks print it: the peak 1/(2e) at G = 0.5;
the exercise of 100 stations on 1 Mbit/s with 1000-bit frames, two each a second (13.4 %, as solved
in print); G = 1 and G = 0.25 give 13.5 % and 15.2 % (from memory).
"""

from math import e

import pytest

from packcodec.radio.channel import aloha_throughput, frame_loss


@pytest.mark.parametrize(
    ("load", "throughput"),
    [(0.5, 1 / (2 * e)), (0.5, 0.184), (1.0, 0.135), (0.25, 0.152), (100 * 2 * 0.001, 0.134)],
)
def test_throughput_as_printed(load: float, throughput: float) -> None:
    assert aloha_throughput(load) == pytest.approx(throughput, abs=0.0005)


def test_loss_and_throughput_are_one_law() -> None:
    # 100 stations, 1 ms frames, one each half second: a frame meets 99 rivals.
    kept = 1 - frame_loss(100, 1_000, 500_000)
    assert 0.2 * kept == pytest.approx(aloha_throughput(0.2), rel=0.005)
