"""The airtime that a season's frames took on a link, against the tightest limit over its band.

Only frames that reached the base are known, so it is the least that was on the air.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime

from packcodec.dataset.build import Heard
from packcodec.dataset.model import Dataset
from packcodec.dataset.values import instant
from packcodec.errors import EncodeError
from packcodec.frame.codec import Codec
from packcodec.radio.limits import WindowLimit
from packcodec.radio.link import Link
from packcodec.radio.scopes import ledger_limits

HOUR_S = 3600
HOUR_US = HOUR_S * 1_000_000


@dataclass(frozen=True, slots=True)
class Airtime:
    """By station, the seconds on air in the fullest sliding hour of each day, and the limit."""

    fullest: Mapping[str, tuple[tuple[date, float], ...]]
    limit_s: float | None
    words: str


def airtime_used(codec: Codec, link: Link, data: Dataset, heard: Iterable[Heard]) -> Airtime:
    """What the frames of `heard` took on `link`.

    Frames that nobody can date or size are left out, and the words say how many. Raises RadioError
    where a frame is longer than the link takes.
    """
    sent: dict[int, list[tuple[datetime, float]]] = {}
    unknown = 0
    for each in heard:
        if each.provenance == "card":
            continue
        values = each.record.values
        at = each.received or instant(values.get("at", values.get("start")))
        size = _size(codec, each)
        if at is None or size is None or each.record.station is None:
            unknown += 1
            continue
        used = (at.astimezone(UTC), link.airtime(size).airtime_us / 1e6)
        sent.setdefault(each.record.station, []).append(used)
    names = {each.station: each.name.replace("_", " ") for each in data.deployments}
    fullest = {
        names.get(station, f"station {station}"): tuple(sorted(_fullest(frames).items()))
        for station, frames in sorted(sent.items())
    }
    return Airtime(fullest, _limit_s(link), _words(link, fullest, unknown))


def _size(codec: Codec, heard: Heard) -> int | None:
    """The frame's length in bytes, as it came or as it is made again."""
    if heard.frame_bytes is not None:
        return heard.frame_bytes
    counter = heard.counter if heard.counter is not None else heard.record.sequence
    try:
        return len(codec.encode(heard.record, sequence=counter or 0))
    except EncodeError:
        return None


def _words(link: Link, fullest: Mapping[str, tuple[tuple[date, float], ...]], unknown: int) -> str:
    most = max((used for days in fullest.values() for _, used in days), default=0.0)
    limit_s = _limit_s(link)
    share = f", {most / limit_s:.0%} of the limit" if limit_s else ""
    left_out = f" {unknown:,} frames of unknown time or size are left out." if unknown else ""
    return (
        f"On {link.name}, the fullest hour of any station had {most:.1f} s on the air{share}."
        f"{left_out}"
    )


def _limit_s(link: Link) -> float | None:
    an_hour = [
        limit.limit_us * HOUR_US / limit.window_us
        for limit in ledger_limits(link)
        if isinstance(limit, WindowLimit) and "@" not in limit.scope
    ]
    return min(an_hour) / 1e6 if an_hour else None


def _fullest(frames: list[tuple[datetime, float]]) -> dict[date, float]:
    """The most seconds on air in the hour up to any frame, by the day of that frame."""
    most: dict[date, float] = {}
    frames = sorted(frames)
    first, used = 0, 0.0
    for at, airtime_s in frames:
        used += airtime_s
        while (at - frames[first][0]).total_seconds() >= HOUR_S:
            used -= frames[first][1]
            first += 1
        most[at.date()] = max(most.get(at.date(), 0.0), used)
    return most
