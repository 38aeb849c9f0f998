"""What may be said: the checked, immutable form of a schema and its species code table.

Everything here is plain data. `packcodec.schema.reader` makes it from TOML and CSV text and is the
place where a wrong schema is refused; code that holds a :class:`Schema` may rely on every bound
stated here. spec/wire-format.md, "The schema", is the same in prose.
"""

from datetime import datetime
from fractions import Fraction
from typing import Literal, TypeAlias

from packcodec.frozen import frozen
from packcodec.schema.models import Models

SpeciesKind = Literal["animal", "human", "vehicle", "blank", "unknown", "unclassified"]
Report = Literal["priority", "summary", "count", "never"]
Beyond = Literal["wrap", "reject"]
Since = Literal["", "previous"]

UNSEALED = ("", "open")
LONGEST_LIST = 255
DEEPEST_LIST = 2


@frozen
class Species:
    """One row of the species code table.

    `added` is empty for the founding rows, which belong to the identity of the layout; a row that
    joined a table already in the field carries the date it joined and does not change the identity.
    `report`: "priority" is sent at once and summarised, "summary" is summarised, "count" (people)
    is at most counted, "never" is dropped before any store.
    """

    code: int
    label: str
    scientific_name: str
    kind: SpeciesKind
    report: Report
    authority: str = ""
    rank: str = ""
    common_name: str = ""
    taxon_id: str = ""
    sensitivity: str = ""
    retired: bool = False
    added: str = ""


@frozen
class SpeciesTable:
    """The rows in code order, and how many codes the air has room for (0..capacity-1)."""

    rows: tuple[Species, ...]
    capacity: int


@frozen
class Integer:
    """A whole number low..high. A side that clamps sends the bound, which decodes as a bound.

    `total_of` names the integer, "visits" or "rows.visits", whose running total it is, modulo
    high + 1 (`packcodec.codec.totals`); then low is 0, high + 1 a power of two, and it is optional.
    """

    name: str
    low: int
    high: int
    clamp_below: bool = False
    clamp_above: bool = False
    unit: str = ""
    optional: bool = False
    note: str = ""
    total_of: str = ""


@frozen
class Scaled:
    """A quantity low..high in whole steps, exact; `high - low` is a multiple of `step`."""

    name: str
    low: Fraction
    high: Fraction
    step: Fraction
    clamp_below: bool = False
    clamp_above: bool = False
    unit: str = ""
    optional: bool = False
    note: str = ""


@frozen
class Boolean:
    """True or false."""

    name: str
    optional: bool = False
    note: str = ""


@frozen
class Flags:
    """A set of named flags, 1 to 64 of them, in the order they are sent."""

    name: str
    flags: tuple[str, ...]
    optional: bool = False
    note: str = ""


@frozen
class Enumeration:
    """One of 1 to 256 named values, in the order of their numbers on the air."""

    name: str
    values: tuple[str, ...]
    optional: bool = False
    note: str = ""


@frozen
class SpeciesCode:
    """A row of the species code table, named by its label."""

    name: str
    optional: bool = False
    note: str = ""


@frozen
class Time:
    """An instant in steps of `step_s` since the schema's epoch.

    "wrap" sends it modulo `span_s` and the base resolves it by the reception time; "reject" sends
    it whole and refuses an instant outside epoch..epoch + span_s.
    """

    name: str
    step_s: int
    span_s: int
    beyond: Beyond = "wrap"
    optional: bool = False
    note: str = ""


@frozen
class Duration:
    """A length of time 0..high_s in steps of `step_s`, in seconds.

    `since` "previous", in a list and in whole seconds, counts from the element before it: for the
    first element from the message's first time. Modelled coding follows the hour by it.
    """

    name: str
    step_s: Fraction
    high_s: Fraction
    clamp_above: bool = False
    optional: bool = False
    note: str = ""
    since: Since = ""


@frozen
class ListOf:
    """least..most records of `fields` (most at most 255; lists in lists at most two deep)."""

    name: str
    fields: "tuple[Field, ...]"
    least: int
    most: int
    optional: bool = False
    note: str = ""


Field: TypeAlias = (
    Integer | Scaled | Boolean | Flags | Enumeration | SpeciesCode | Time | Duration | ListOf
)


@frozen
class Message:
    """A kind of report: its code in the header and its fields in the order they are sent."""

    name: str
    code: int
    fields: tuple[Field, ...]
    note: str = ""


@frozen
class FrameWidths:
    """Header widths in bits, each 0 where the carrier already says it, and the check's name.

    `seal` is the name of a seal, which takes the check's place; "open" says that there is none on
    purpose, "" only that there is none.
    """

    tag_bits: int
    message_bits: int
    station_bits: int
    sequence_bits: int
    check: str
    seal: str = ""


@frozen
class Repair:
    """The erasure code of a station's frames (spec/repair.md).

    Frames of `messages` carry a repair symbol over `window` earlier frames, `stride` apart, in
    `symbols` of every `every` frames of the counter (a power of two). `symbol_bytes` is None where
    a symbol is to hold the longest payload; a payload that does not fit it is not protected.
    """

    messages: tuple[str, ...]
    symbol_bytes: int | None = None
    window: int = 32
    stride: int = 3
    every: int = 1
    symbols: int = 1

    @property
    def span(self) -> int:
        """How many frames back the oldest one in the window lies."""
        return self.window * self.stride


@frozen
class Policy:
    """What is worth reporting. Not part of the identity: it may change without a new layout.

    `independence_s`: a detection of the same species at the same station starts a new visit when
    at least this long has passed since the last one (30 min is common practice, no source).
    `batch_s`: how long what goes in a batch may wait for others to share its frame.
    """

    interval_s: int = 3600
    independence_s: int = 1800
    confidence_least: float = 0.5
    batch_s: int = 43_200


@frozen
class Schema:
    """A whole schema. `stations` maps the names used in logs to the numbers sent.

    `models` are the trained tables of modelled coding; None stands for those that the format gives.
    """

    name: str
    version: int
    epoch: datetime
    coding: Literal["fixed", "modelled"]
    frame: FrameWidths
    messages: tuple[Message, ...]
    species: SpeciesTable
    policy: Policy = Policy()
    stations: tuple[tuple[str, int], ...] = ()
    repair: Repair | None = None
    models: Models | None = None
    note: str = ""
