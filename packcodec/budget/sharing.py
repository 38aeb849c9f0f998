"""Stations that share a channel without hearing one another: what collides, and how many may be.

Pure ALOHA without capture (packcodec.radio.channel): the pessimistic bound for like stations.
"""

from dataclasses import dataclass

from packcodec.budget.plan import Budget
from packcodec.budget.traffic import DAY_S, HOUR_US, Expected
from packcodec.errors import RadioError
from packcodec.radio.channel import STATIONS_MOST, frame_loss, jitter_us, most_stations
from packcodec.radio.modulations import US_PER_S
from packcodec.radio.quantity import checked

LOSSES = (0.01, 0.05, 0.1, 0.2)


@dataclass(frozen=True, slots=True)
class Sharing:
    """`stations` like stations on one link: `loss` of the mean frame, 0..1.

    `airtime_us` is the mean frame's, `period_us` the mean time between a station's frames while it
    watches. `busy_loss` is the loss if all stations have their fullest hour at once. `most` gives
    for each loss how many stations stay at or below it. Stations that wake together must spread
    their starts over `spread_us`, or all of this is void.
    """

    stations: int
    loss: float
    busy_loss: float
    airtime_us: int
    period_us: int
    channels: int
    most: tuple[tuple[float, int], ...]
    spread_us: int

    def loss_among(self, stations: int) -> float:
        """The part of frames lost, 0..1, were there so many stations."""
        return frame_loss(stations, self.airtime_us, self.period_us, channels=self.channels)


def share_channel(budget: Budget, stations: int) -> Sharing:
    """What `stations` stations with the budget's traffic lose to one another.

    Raises RadioError for fewer than one station, for more than a million, and for a link whose air
    is not ours to share.
    """
    checked("stations", stations, 1, STATIONS_MOST)
    frames = sum(message.frames_per_day for message in budget.messages if message.sent_bytes)
    if not budget.link.frequencies_hz or not frames:
        raise RadioError(
            "has no channel of ours that stations could share",
            place=f"link '{budget.link.name}'",
            remedy="ask for another link, or leave out the stations",
        )
    watch_s = budget.traffic.watch_s if isinstance(budget.traffic, Expected) else None
    awake_s = watch_s or round(budget.supply.awake_h * 3600) or DAY_S
    airtime_us = max(1, round(budget.airtime_us_per_day / frames))
    period_us = max(airtime_us, round(awake_s * US_PER_S / frames))
    channels = max(len(budget.link.frequencies_hz), budget.link.hops_over)
    shared = {"channels": channels}
    return Sharing(
        stations=stations,
        loss=frame_loss(stations, airtime_us, period_us, **shared),
        busy_loss=_busy_loss(budget, stations, channels),
        airtime_us=airtime_us,
        period_us=period_us,
        channels=channels,
        most=tuple((loss, most_stations(loss, airtime_us, period_us, **shared)) for loss in LOSSES),
        spread_us=jitter_us(stations, airtime_us, LOSSES[0]),
    )


def _busy_loss(budget: Budget, stations: int, channels: int) -> float:
    fullest = budget.traffic.fullest(HOUR_US, budget.airtime_us)
    airtime_us = max(1, round(fullest.used_us / fullest.frames))
    period_us = max(airtime_us, HOUR_US // fullest.frames)
    return frame_loss(stations, airtime_us, period_us, channels=channels)
