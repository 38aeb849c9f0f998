"""What an interval has seen so far, and where intervals begin and end."""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from typing import Any, Self

from packcodec.codec.record import Values, rfc3339
from packcodec.monitor.inputs import Detection, Stretch
from packcodec.schema.model import Duration, Field, Species


class SpeciesRow:
    """One species in the open interval."""

    def __init__(
        self,
        species: Species,
        first: datetime,
        last: datetime,
        visits: int = 0,
        most: int = 0,
        detections: int = 0,
        confidence_sum: float = 0.0,
    ) -> None:
        self.species = species
        self.first = first
        self.last = last
        self.visits = visits
        self.most = most
        self.detections = detections
        self.confidence_sum = confidence_sum

    def add(self, detection: Detection, new_visit: bool) -> None:
        """Count a detection of this species, which may begin a visit."""
        self.first = min(self.first, detection.at)
        self.last = max(self.last, detection.at)
        self.visits += new_visit
        self.most = max(self.most, detection.individuals)
        self.detections += 1
        self.confidence_sum += detection.confidence

    def to_json(self) -> list[Any]:
        """All but the species as JSON data, times as RFC 3339; `of_json` takes it back."""
        times = [rfc3339(self.first), rfc3339(self.last)]
        return [*times, self.visits, self.most, self.detections, self.confidence_sum]

    @classmethod
    def of_json(cls, species: Species, kept: list[Any]) -> Self:
        """What `to_json` gave, of that species."""
        first, last, *rest = kept
        return cls(species, datetime.fromisoformat(first), datetime.fromisoformat(last), *rest)

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


class Interval:
    """The open interval, `number` intervals after the epoch by a clock that is trusted or not."""

    def __init__(self, number: int, trusted: bool) -> None:
        self.number = number
        self.trusted = trusted
        self.watched = timedelta()
        self.dropped = 0
        self.rows: dict[str, SpeciesRow] = {}
        self.counts: Counter[str] = Counter()

    def to_json(self) -> dict[str, Any]:
        """As JSON data, `watched` in seconds; `of_json` takes it back."""
        return {
            "number": self.number,
            "trusted": self.trusted,
            "watched_s": self.watched.total_seconds(),
            "dropped": self.dropped,
            "rows": {label: row.to_json() for label, row in self.rows.items()},
            "counts": dict(self.counts),
        }

    @classmethod
    def of_json(cls, kept: Mapping[str, Any], species: Mapping[str, Species]) -> Self:
        """The interval that `to_json` gave; rows that `species` has no label for are left out."""
        interval = cls(kept["number"], kept["trusted"])
        interval.watched = timedelta(seconds=kept["watched_s"])
        interval.dropped = kept["dropped"]
        interval.rows = {
            label: SpeciesRow.of_json(species[label], row)
            for label, row in kept["rows"].items()
            if label in species
        }
        interval.counts.update(kept["counts"])
        return interval


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
