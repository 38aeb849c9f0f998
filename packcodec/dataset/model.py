"""What a season came to: frozen plain data that every published form is made from.

Instants are aware and in UTC. Counts that the air clamped say so. People and vehicles have no
place here: `packcodec.dataset.build` leaves them out before anything else looks at them.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Literal

from packcodec.base.untold import Untold
from packcodec.schema.model import Species

Provenance = Literal["radio", "recovered", "card"]
Clock = Literal["trusted", "corrected", "unset"]
State = Literal["watching", "off", "unknown"]
SamplingDesign = Literal[
    "simpleRandom",
    "systematicRandom",
    "clusteredRandom",
    "experimental",
    "targeted",
    "opportunistic",
]
Role = Literal["contact", "principalInvestigator", "rightsHolder", "publisher", "contributor"]


@dataclass(frozen=True, slots=True)
class Count:
    """A count of 0 or more; where `at_least`, the air had no room for more."""

    value: int
    at_least: bool = False

    def __str__(self) -> str:
        return f"{self.value} or more" if self.at_least else str(self.value)


@dataclass(frozen=True, slots=True)
class Contributor:
    """A person or body named in the package; `email` and `organization` may be empty."""

    title: str
    role: Role = "contributor"
    email: str = ""
    organization: str = ""


@dataclass(frozen=True, slots=True)
class Project:
    """Who publishes what, by which design, under which licences.

    `data_license` and `media_license` are names such as CC0-1.0; both or neither are given.
    `classified_by` is the model and the version of its label map. `language` is of ISO 639-3.
    """

    name: str
    title: str
    description: str
    sampling_design: SamplingDesign
    contributors: tuple[Contributor, ...]
    data_license: str = ""
    media_license: str = ""
    classified_by: str = ""
    country_code: str = ""
    language: str = "eng"
    invented: bool = False


@dataclass(frozen=True, slots=True)
class Deployment:
    """One stay of one station at one place, from `start` to `end`.

    Degrees are WGS 84, north and east positive. `tilt_deg` is -90 (down) to 90, `heading_deg` 0 to
    360 clockwise from north, `height_m` above ground. `name` is for people. `coordinate_precision`
    is None where the coordinates are as held, and otherwise the degrees to which they are rounded.
    """

    id: str
    station: int
    name: str
    location: str
    latitude: float
    longitude: float
    start: datetime
    end: datetime
    uncertainty_m: int | None = None
    height_m: float | None = None
    heading_deg: int | None = None
    tilt_deg: int | None = None
    detection_distance_m: float | None = None
    bait: bool | None = None
    feature: str = ""
    habitat: str = ""
    comments: str = ""
    coordinate_precision: float | None = None


@dataclass(frozen=True, slots=True)
class Sighting:
    """One visit of which a message of its own told: `end` is `start` where only that is known.

    `start` is None where the clock was unset and nothing says when that was. `individuals` is the
    most in one picture, a lower bound of the group. `to_the_day`: the hour is kept back.
    """

    id: str
    deployment: str
    species: str
    start: datetime | None
    end: datetime | None
    individuals: Count
    confidence: float | None
    provenance: Provenance
    clock: Clock
    to_the_day: bool = False


@dataclass(frozen=True, slots=True)
class Interval:
    """One summary: the station watched `watched_s` of `start` to `end`; None is not known."""

    deployment: str
    start: datetime | None
    end: datetime | None
    watched_s: float | None
    left_out: Count
    provenance: Provenance
    clock: Clock


@dataclass(frozen=True, slots=True)
class Total:
    """One species in one interval, or in one day where `to_the_day`.

    `visits` began in it; 0 is one that goes on from before. `first_s` and `last_s` are its first
    and last detection, seconds after `start`. `confidence` is as the message says (a mean).
    """

    deployment: str
    start: datetime | None
    end: datetime | None
    species: str
    visits: Count
    most: Count
    first_s: float | None
    last_s: float | None
    confidence: float | None
    provenance: Provenance
    clock: Clock
    to_the_day: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """What is known of the watch from `start` to `end`: `watched_s` of it, in state `state`."""

    deployment: str
    start: datetime
    end: datetime
    state: State
    watched_s: float
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Gap:
    """`missing` frames that never came, sent after `after` and before `before` where known:
    the end of the last dated report before them, and the start of the first one after.

    `at_restart`: the station started anew then, and may have skipped numbers that it never sent.
    """

    deployment: str
    station: int
    missing: int
    after: datetime | None
    before: datetime | None
    at_restart: bool = False


@dataclass(frozen=True, slots=True)
class Health:
    """A station's state; `values` are those of its message by field name, without `at`."""

    deployment: str
    at: datetime | None
    values: Mapping[str, Any]
    provenance: Provenance
    clock: Clock


@dataclass(frozen=True, slots=True)
class HealthField:
    """One field of the health message: what it holds in a table, its unit and its note."""

    name: str
    kind: Literal["string", "integer", "number", "boolean"]
    unit: str = ""
    note: str = ""


@dataclass(frozen=True, slots=True)
class Tally:
    """What the base heard and what is in no table, so that the two can be added up.

    `corrected` records have a time put right by the clock's fit, within `uncertain_s` either way.
    """

    records: int = 0
    recovered: int = 0
    unplaced: int = 0
    unknown_codes: int = 0
    undated_sightings: int = 0
    corrected: int = 0
    uncertain_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Protection:
    """What was kept back, in words for `dataGeneralizations` and `informationWithheld`.

    `exact` says that nothing was, on an explicit order.
    """

    exact: bool
    generalized: str = ""
    withheld: str = ""


@dataclass(frozen=True, slots=True)
class Dataset:
    """A whole season. Everything is in the order of deployment, then time.

    `species` are the animal rows of the table by label. `protection` is None until
    `packcodec.dataset.protect` has been over it; nothing is published before that. `untold` is what
    stations counted in frames that are lost, with the station's number, from running totals.
    """

    project: Project
    created: datetime
    species: Mapping[str, Species]
    deployments: tuple[Deployment, ...]
    sightings: tuple[Sighting, ...] = ()
    intervals: tuple[Interval, ...] = ()
    totals: tuple[Total, ...] = ()
    effort: tuple[Stretch, ...] = ()
    gaps: tuple[Gap, ...] = ()
    health: tuple[Health, ...] = ()
    independence_s: int = 1800
    interval_s: int = 3600
    confidence_least: float = 0.5
    health_fields: tuple[HealthField, ...] = ()
    tally: Tally = Tally()
    protection: Protection | None = None
    untold: tuple[tuple[int, Untold], ...] = ()

    def deployment(self, name: str) -> Deployment:
        """The deployment of that id, which every row's `deployment` names."""
        return next(each for each in self.deployments if each.id == name)
