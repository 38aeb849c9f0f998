"""What a vector file is made of: a schema, what to send, and what nobody may accept."""

from dataclasses import dataclass
from typing import Any

from packcodec.errors import Reason

LAST_COUNTER = (1 << 32) - 1


@dataclass(frozen=True)
class Case:
    """A record to send. `values` are what an encoder is given, which may be off the grid."""

    about: str
    values: dict[str, Any]
    message: str = "m"
    station: int = 3
    counter: int = 700
    received: str = ""


@dataclass(frozen=True)
class Fault:
    """Payload bits that are no record, in a frame that is right in all else."""

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
class VectorFile:
    name: str
    about: str
    toml: str
    cases: tuple[Case, ...]
    species: str = ""
    faults: tuple[Fault, ...] = ()
    refusals: tuple[Refusal, ...] = ()


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
