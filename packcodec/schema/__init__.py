"""What may be said: a schema's TOML and its species table's CSV → a checked, immutable Schema."""

from typing import TYPE_CHECKING

from packcodec.lazy import fetcher
from packcodec.schema.model import (
    Beyond,
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    FrameWidths,
    Integer,
    ListOf,
    Message,
    Policy,
    Repair,
    Report,
    Scaled,
    Schema,
    Species,
    SpeciesCode,
    SpeciesKind,
    SpeciesTable,
    Time,
)

if TYPE_CHECKING:
    from packcodec.schema.reader import read_schema, species_file_named

__all__ = [
    "Beyond",
    "Boolean",
    "Duration",
    "Enumeration",
    "Field",
    "Flags",
    "FrameWidths",
    "Integer",
    "ListOf",
    "Message",
    "Policy",
    "Repair",
    "Report",
    "Scaled",
    "Schema",
    "Species",
    "SpeciesCode",
    "SpeciesKind",
    "SpeciesTable",
    "Time",
    "read_schema",
    "species_file_named",
]

_READER = "packcodec.schema.reader"
__getattr__ = fetcher(__name__, {"read_schema": _READER, "species_file_named": _READER})
