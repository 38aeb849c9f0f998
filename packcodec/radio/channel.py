"""The shared channel: how many frames are lost when stations do not hear one another.

Pure ALOHA (Abramson 1970, as cited): a frame survives when no other begins within one airtime
before or after its start. Stations on another spreading factor or another channel do not count,
so ask once for each. Capture is left out: of two equal spreading factors the one 6 dB stronger
usually survives, and unequal ones may still collide when one is 16 dB or more above. The figures
are therefore pessimistic for like stations and mildly hopeful for very unlike ones.
"""

from math import exp, expm1, floor, log1p

from packcodec.radio.quantity import checked

FEWEST_JITTER_AIRTIMES = 10
STATIONS_MOST = 1_000_000


def aloha_throughput(load: float) -> float:
    """S = G e^(−2G): the share of time that carries frames that survive; at most 1/(2e) = 18 %."""
    return checked("load", load, 0) * exp(-2 * load)


def frame_loss(stations: int, airtime_us: int, period_us: int, *, channels: int = 1) -> float:
    """The share of frames lost, 0..1, among `stations` on one spreading factor.

    Each sends one frame of `airtime_us` every `period_us`, at times of its own, on one of
    `channels` chosen at random: 1 − exp(−2 (N − 1) T / (P × channels)).
    """
    rivals = checked("stations", stations, 1, STATIONS_MOST) - 1
    return 1 - exp(-2 * rivals * _load(airtime_us, period_us, channels))


def most_stations(loss: float, airtime_us: int, period_us: int, *, channels: int = 1) -> int:
    """The most stations with which :func:`frame_loss` stays at or below `loss` (0..0.999).

    Never more than STATIONS_MOST.
    """
    checked("loss", loss, 0, 0.999)
    stations = 1 + floor(-log1p(-loss) / (2 * _load(airtime_us, period_us, channels)))
    if stations >= STATIONS_MOST:
        return STATIONS_MOST
    # The floor of a quotient that rounding put a hair low may be one station short.
    one_more = frame_loss(stations + 1, airtime_us, period_us, channels=channels)
    return stations + 1 if one_more <= loss else stations


def jitter_us(stations: int, airtime_us: int, loss: float) -> int:
    """The span over which stations that wake together must spread their starts at random.

    ALOHA counts on independent times; stations that all wake on the hour collide every time. With
    starts drawn evenly from this span no more than `loss` (0.001..0.999) is lost:
    1 − (1 − 2 T / J)^(N − 1), edges of the span left out. At least ten airtimes.
    """
    rivals = checked("stations", stations, 1, STATIONS_MOST) - 1
    checked("loss", loss, 0.001, 0.999)
    fewest_us = FEWEST_JITTER_AIRTIMES * checked("airtime_us", airtime_us, 1)
    if rivals == 0:
        return int(fewest_us)
    lost_by_each = -expm1(log1p(-loss) / rivals)
    return max(int(fewest_us), -floor(-2 * airtime_us / lost_by_each))


def _load(airtime_us: int, period_us: int, channels: int) -> float:
    """One station's share of the time on one channel."""
    checked("airtime_us", airtime_us, 1)
    checked("period_us", period_us, airtime_us)
    return airtime_us / (period_us * checked("channels", channels, 1))
