"""A whole log at once: detections, effort and health of many stations → records.

The order of detections and of health rows does not matter. The order of stretches does where a
clock was unset, for nothing else says when that was: such a stretch belongs after the stretch with
a trusted clock that was written before it.
"""

from bisect import bisect_right
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import NamedTuple, TypeVar

from packcodec.codec.record import Record
from packcodec.errors import SchemaError
from packcodec.frame.codec import Codec
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.interval import pieces
from packcodec.monitor.summariser import Refusal, Summariser, Unmade
from packcodec.monitor.vocabulary import SUMMARY, check_vocabulary
from packcodec.monitor.worth import as_sent

BEFORE_ALL = datetime(1, 1, 1, tzinfo=UTC)


@dataclass(slots=True)
class Summary:
    """The records of a log, station by station in the order they became ready, and its account.

    `detections` is `counted` plus the sum of `refused`. `outside` of those counted lie in no
    stretch that the station watched; `joined` stretches overlapped an earlier one of the same
    clock, and their time is counted once.
    """

    records: list[Record] = field(default_factory=list)
    detections: int = 0
    counted: int = 0
    refused: Counter[Refusal] = field(default_factory=Counter)
    unknown_labels: Counter[str] = field(default_factory=Counter)
    unmade: dict[str, Unmade] = field(default_factory=dict)
    outside: int = 0
    joined: int = 0


def summarise(
    codec: Codec,
    detections: Iterable[Detection],
    watches: Iterable[Stretch] | None = None,
    health: Iterable[Health] = (),
) -> Summary:
    """The records of a whole log, with sequences from 0 for every station, as a station sends them.

    Nothing is cut to fit, and what may go in a batch is a batch of its own.
    `watches` is None where nobody knows when the stations watched: then only intervals that saw
    something have a summary, and a time before the schema's epoch is taken for an unset clock's.
    Raises SchemaError if a message cannot be filled.
    """
    check_vocabulary(codec.schema)
    if watches is None:
        _check_effort_optional(codec)
    seen, watched, told = _by_station(detections), _by_station(watches or ()), _by_station(health)
    summary = Summary()
    for station in sorted({*seen, *watched, *told}):
        timeline = _Timeline(watched.get(station, []), codec.schema.epoch)
        summary.joined += timeline.joined
        _station(codec, station, seen.get(station, []), timeline, told.get(station, []), summary)
    return summary


def _station(
    codec: Codec,
    station: int,
    detections: Sequence[Detection],
    timeline: "_Timeline",
    health: Sequence[Health],
    summary: Summary,
) -> None:
    summariser = Summariser(codec, station)
    once = set(detections)
    summary.detections += len(detections)
    summary.refused[Refusal.DUPLICATE] += len(detections) - len(once)
    labels = {row.label for row in codec.schema.species.rows}
    summary.unknown_labels.update(each.label for each in once if each.label not in labels)
    interval = timedelta(seconds=codec.schema.policy.interval_s)

    events: list[tuple[_Place, Detection | Stretch | Health]] = []
    events += [(timeline.place(each.at), each) for each in once]
    events += [(timeline.place(each.at, each.clock_trusted), each) for each in health]
    for stretch, anchor in timeline.stretches:
        for piece in pieces(stretch, codec.schema.epoch, interval):
            events.append((_Place(anchor or piece.end, anchor is not None, piece.end), piece))
    events.sort(key=lambda event: (event[0], *_among_equals(event[1])))

    records: list[Record] = []
    for place, event in events:
        trusted = not place.unset
        match event:
            case Stretch():
                records += summariser.watching(event.start, event.end, clock_trusted=trusted)
            case Detection():
                before = summariser.counted
                records += summariser.seen(event, clock_trusted=trusted)
                outside = timeline.stretch_of(event.at) is None
                summary.outside += outside and summariser.counted > before
            case Health():
                records += summariser.health(event)
    records += summariser.close()
    summary.records += [
        replace(as_sent(codec, record), sequence=n) for n, record in enumerate(records)
    ]
    summary.counted += summariser.counted
    summary.refused += summariser.refused
    for where, unmade in summariser.unmade.items():
        summary.unmade.setdefault(where, Unmade(0, unmade.first)).count += unmade.count


class _Place(NamedTuple):
    """Where an event belongs in its station's life: `at` by the clock, after `anchor` in truth."""

    anchor: datetime
    unset: bool
    at: datetime


class _Timeline:
    """A station's stretches in the order they happened, overlaps joined.

    `stretches` holds each with its anchor: None by a trusted clock, else the end of the trusted
    stretch that was written before it.
    """

    def __init__(self, written: Sequence[Stretch], epoch: datetime) -> None:
        self._epoch = epoch
        trusted = [(stretch, None) for stretch in written if stretch.clock_trusted]
        unset: list[tuple[Stretch, datetime | None]] = []
        anchor = BEFORE_ALL
        for stretch in written:
            if stretch.clock_trusted:
                anchor = stretch.end
            else:
                unset.append((stretch, anchor))
        self._trusted, self._unset = _joined(trusted), _joined(unset)
        self.stretches = [*self._trusted, *self._unset]
        self.joined = len(written) - len(self.stretches)

    def stretch_of(
        self, at: datetime, trusted: bool | None = None
    ) -> tuple[Stretch, datetime | None] | None:
        """The stretch, with its anchor, in which the clock said `at`; by either clock for None."""
        for clock, stretches in ((True, self._trusted), (False, self._unset)):
            number = bisect_right(stretches, at, key=lambda pair: pair[0].start)
            if trusted in (None, clock) and number and at <= stretches[number - 1][0].end:
                return stretches[number - 1]
        return None

    def place(self, at: datetime, trusted: bool | None = None) -> _Place:
        """Where an event that the clock timed `at` belongs; `trusted` where its row says so."""
        found = self.stretch_of(at, trusted)
        if found is not None:
            anchor = found[1]
            return _Place(anchor or at, anchor is not None, at)
        unset = at < self._epoch if trusted is None else not trusted
        return _Place(BEFORE_ALL if unset else at, unset, at)


def _joined(
    stretches: Iterable[tuple[Stretch, datetime | None]],
) -> list[tuple[Stretch, datetime | None]]:
    """In order of their starts; what overlaps an earlier one is made part of it."""
    joined: list[tuple[Stretch, datetime | None]] = []
    for stretch, anchor in sorted(stretches, key=lambda pair: (pair[0].start, pair[0].end)):
        if joined and stretch.start < joined[-1][0].end:
            last, its_anchor = joined[-1]
            joined[-1] = replace(last, end=max(last.end, stretch.end)), its_anchor
        else:
            joined.append((stretch, anchor))
    return joined


def _among_equals(event: Detection | Stretch | Health) -> tuple[int, tuple[str, float, int, str]]:
    """At one instant: effort up to it, then what was seen, in an order of its own, then health."""
    if isinstance(event, Detection):
        return 1, (event.label, -event.confidence, event.individuals, event.image)
    return (0 if isinstance(event, Stretch) else 2), ("", 0.0, 0, "")


Row = TypeVar("Row", Detection, Stretch, Health)


def _by_station(rows: Iterable[Row]) -> dict[int, list[Row]]:
    stations: dict[int, list[Row]] = {}
    for row in rows:
        stations.setdefault(row.station, []).append(row)
    return stations


def _check_effort_optional(codec: Codec) -> None:
    for message in codec.schema.messages:
        for each in message.fields:
            if message.name == SUMMARY and each.name == "watched" and not each.optional:
                raise SchemaError(
                    "must be filled, and nothing says when the stations watched",
                    place="message.summary.watched",
                    remedy="give the stretches they watched (--watch, or --watched for the same "
                    "every day), or make the field optional",
                )
