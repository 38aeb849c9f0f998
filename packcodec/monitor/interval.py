"""What an interval has seen so far, and where intervals begin and end."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import datetime, timedelta

from packcodec.codec.record import Values
from packcodec.monitor.inputs import Detection, Stretch
from packcodec.schema.model import Duration, Field, Species


@dataclass(slots=True)
class SpeciesRow:
    """One species in the open interval."""

    species: Species
    first: datetime
    last: datetime
    visits: int = 0
    most: int = 0
    detections: int = 0
    confidence_sum: float = 0.0

    def add(self, detection: Detection, new_visit: bool) -> None:
        self.first = min(self.first, detection.at)
        self.last = max(self.last, detection.at)
        self.visits += new_visit
        self.most = max(self.most, detection.individuals)
        self.detections += 1
        self.confidence_sum += detection.confidence

    def values(self, start: datetime, fields: Iterable[Field]) -> Values:
        """The row of an interval that began at `start`, times in the whole steps of `fields`."""
        by_name = {field.name: field for field in fields}
        return {
            "species": self.species.label,
            "visits": self.visits,
            "most": self.most,
            "first": _steps_into(self.first - start, by_name.get("first")),
            "last": _steps_into(self.last - start, by_name.get("last")),
            "confidence": self.confidence_sum / self.detections,
            "detections": self.detections,
        }


@dataclass(slots=True)
class Interval:
    """The open interval, `number` intervals after the epoch by a clock that is trusted or not."""

    number: int
    trusted: bool
    watched: timedelta = timedelta()
    dropped: int = 0
    rows: dict[str, SpeciesRow] = field(default_factory=dict)
    counts: Counter[str] = field(default_factory=Counter)


def pieces(stretch: Stretch, epoch: datetime, interval: timedelta) -> Iterator[Stretch]:
    """A stretch cut at the edges of intervals counted from `epoch`."""
    start = stretch.start
    while start < stretch.end:
        edge = epoch + ((start - epoch) // interval + 1) * interval
        end = min(edge, stretch.end)
        yield Stretch(stretch.station, start, end, stretch.clock_trusted)
        start = end


def _steps_into(offset: timedelta, field: Field | None) -> timedelta:
    """Whole steps passed: the 59.9th minute is the 59th, which the nearest step would not be."""
    if not isinstance(field, Duration):
        return offset
    step = timedelta(microseconds=int(field.step_s * 1_000_000))
    return offset // step * step if step else offset
