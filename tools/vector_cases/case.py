"""What a vector file is made of: a schema, what to send, and what nobody may accept."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from packcodec.errors import Reason

LAST_COUNTER = (1 << 32) - 1


@dataclass(frozen=True)
class Case:
    """A record to send. `values` are what an encoder is given, which may be off the grid.

    `expected` is the counter that the receiver of a sealed frame expects next; `said_whole`: the
    carrier says the whole counter and not its last 16 bits. In a schema with repair the cases of a
    station follow one another and pass one ring, but for those `without_ring`; `kept`: the station
    knows that the counters it skipped before this one were never used.
    """

    about: str
    values: dict[str, Any]
    message: str = "m"
    station: int = 3
    counter: int = 700
    received: str = ""
    expected: int = 0
    said_whole: bool = False
    without_ring: bool = False
    kept: bool = False


@dataclass(frozen=True)
class Fault:
    """Payload bits that are no record, in a frame that is right in all else.

    Where the frame of the file's first case carries a repair field, `bits` begin with it.
    """

    about: str
    bits: str
    reason: Reason = Reason.OUT_OF_RANGE


@dataclass(frozen=True)
class Refusal:
    """Values that no encoder may send, and the field that is wrong."""

    about: str
    values: dict[str, Any]
    field: str


@dataclass(frozen=True)
class Loss:
    """A run of a station's cases, `first` to `last` by counter, of which some never came."""

    about: str
    first: int
    last: int
    lost: tuple[int, ...]
    station: int = 3


@dataclass(frozen=True)
class VectorFile:
    """`keys` are those of sealed frames in hexadecimal, by station: one for each station used."""

    name: str
    about: str
    toml: str
    cases: tuple[Case, ...]
    species: str = ""
    faults: tuple[Fault, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    keys: Mapping[int, str] = field(default_factory=dict)
    losses: tuple[Loss, ...] = ()


def bits(*codes: tuple[int, int]) -> str:
    """(code, width) pairs as a text of 0 and 1."""
    return "".join(format(code, f"0{width}b") if width else "" for code, width in codes)


def schema(name: str, *messages: str, frame: str = "", species_codes: int = 0) -> str:
    """A schema's TOML; `frame` replaces the usual header, of 24 bits."""
    frame = frame or "tag_bits = 8\nmessage_bits = 2\nstation_bits = 4\nsequence_bits = 10\n"
    table = f'[species]\nfile = "species.csv"\ncodes = {species_codes}\n\n' if species_codes else ""
    head = f'[schema]\nname = "{name}"\nversion = 1\nepoch = 2027-04-01T00:00:00Z\n\n'
    return f"{head}{table}[frame]\n{frame}\n" + "\n".join(messages)


def message(*fields: str, name: str = "m", code: int = 0) -> str:
    lines = "".join(f"  {{ {field} }},\n" for field in fields)
    return f"[message.{name}]\ncode = {code}\nfields = [\n{lines}]\n"
