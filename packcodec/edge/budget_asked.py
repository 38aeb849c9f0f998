"""What a budget is asked about: expected rates, or what a log's records would have sent."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial

from packcodec.budget.remedies import AtInterval
from packcodec.budget.traffic import Expected, Regular, Traffic
from packcodec.edge.link_words import figure
from packcodec.edge.log_traffic import read_logs, traffic_of, watch_s_a_day
from packcodec.edge.rate_words import rate_in_words, read_rates
from packcodec.errors import PackcodecError, RadioError
from packcodec.frame.codec import Codec
from packcodec.frame.typical import typical_bytes
from packcodec.monitor.vocabulary import SUMMARY, check_vocabulary

HOURS_A_DAY = 24.0
WORST_EXPECTED = (
    "all at their greatest size, one regular frame of each kind late, and as many at random as one "
    "hour in a year brings"
)
WORST_LOGGED = "the fullest sliding window that any station of the log had"
WORST_MODELLED = (
    f"{WORST_LOGGED}, each frame as long as 99 of 100 of its message stay within, or longer if it "
    "was"
)
MODELLED_LOGGED = (
    "modelled sizes: a day's airtime and energy by their mean, the room and the limits by what 99 "
    "of 100 frames stay within"
)
MODELLED_EXPECTED = "modelled sizes: a day and its limits by the greatest, which few frames reach; "
BY_TABLES = "typical ones are what the trained tables hold likely"
BY_NOBODY = "for typical ones give a log, or train tables with packcodec train"


@dataclass(frozen=True, slots=True)
class Asked:
    """What is sent, in words, what its worst case assumes, and how another interval would be."""

    traffic: Traffic
    words: tuple[str, ...]
    worst: str
    watch_h: float
    at_interval: AtInterval | None


def expected(
    codec: Codec, every: Sequence[str], interval_s: int | None, watch_h: float | None
) -> Asked:
    """Rates as said by NAME=RATE, the rest assumed. Raises RadioError."""
    rates = read_rates(codec.schema, every, interval_s)
    hours = HOURS_A_DAY if watch_h is None else watch_h
    said = {text.partition("=")[0] for text in every}
    said |= set() if interval_s is None else {SUMMARY}
    told = [
        f"{name} {rate_in_words(rate)}" + ("" if name in said else " (assumed)")
        for name, rate in rates.items()
    ]
    words = [", ".join(told) + f"; {figure(hours)} h of watching a day"]
    typical = {name: size for name in rates if (size := typical_bytes(codec, name)) is not None}
    if codec.schema.coding == "modelled":
        words.append(MODELLED_EXPECTED + (BY_TABLES if typical else BY_NOBODY))
    summary = rates.get(SUMMARY)
    if isinstance(summary, Regular):
        words += _hindrance(codec, summary.period_s)
    traffic = Expected(rates, _watch_s(hours), typical)
    return Asked(traffic, tuple(words), WORST_EXPECTED, hours, None)


def logged(
    codec: Codec,
    log: str,
    watch: str | None,
    health: str | None,
    watched: str | None,
    interval_s: int | None,
    watch_h: float | None,
    room_bytes: int | None = None,
) -> Asked:
    """The frames that the logs in these files give; batches fill `room_bytes`.

    Raises LogError for a file that cannot be read, SchemaError for an interval that the schema's
    fields do not reach, RadioError for a log without a frame.
    """
    logs = read_logs(codec, log, watch, health, watched)
    at_interval = partial(traffic_of, codec, logs, room_bytes=room_bytes)
    traffic = at_interval(interval_s)
    watched_s = watch_s_a_day(logs)
    hours = watched_s / 3600 if watch_h is None and watched_s is not None else watch_h
    hours = HOURS_A_DAY if hours is None else hours
    _watch_s(hours)
    words = [
        f"{len(traffic.sent)} frames of {len(traffic.by_station())} stations on "
        f"{traffic.station_days} station-days of {log}; {figure(hours)} h of watching a day",
    ]
    modelled = codec.schema.coding == "modelled"
    if modelled:
        words.append(MODELLED_LOGGED)
    if logs.refused:
        words.append(f"{logs.refused} rows could not be read: packcodec summarise tells which")
    worst = WORST_MODELLED if modelled else WORST_LOGGED
    return Asked(traffic, tuple(words), worst, hours, at_interval)


def _watch_s(hours: float) -> int:
    if not 0 < hours <= HOURS_A_DAY:
        raise RadioError(
            f"{hours:.12g} h a day", place="--watch-h", remedy="give hours above 0, up to 24"
        )
    return max(1, round(hours * 3600))


def _hindrance(codec: Codec, interval_s: int) -> list[str]:
    """What the schema's own fields have against the interval, if it was good for its own."""
    policy = replace(codec.schema.policy, interval_s=interval_s)
    try:
        check_vocabulary(codec.schema)
    except PackcodecError:
        return []
    try:
        check_vocabulary(replace(codec.schema, policy=policy))
    except PackcodecError as error:
        return [f"Before this can be sent, change the schema: {error}"]
    return []
