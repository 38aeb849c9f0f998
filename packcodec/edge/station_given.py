"""What the caller of a station gives it: looked up, and refused where it could never be sent."""

from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from packcodec.errors import EncodeError, KeysError
from packcodec.frame.codec import Codec
from packcodec.frame.header import UNSENT_STATION_BITS
from packcodec.monitor.vocabulary import HEALTH
from packcodec.schema.remedy import nearest

if TYPE_CHECKING:
    from packcodec.frame.seal import Keys


def keys_of(keys: "str | Path | Keys | None") -> "Keys | None":
    """Keys by station, from a key file where it is one. Raises KeysError."""
    if not isinstance(keys, str | Path):
        return keys
    from packcodec.edge.keys import read_keys

    return read_keys(keys)


def check_key(codec: Codec, station: int) -> None:
    """Raises KeysError where the station's frames are sealed and there is no key for it."""
    if codec.layout.check.sealed and not codec.has_key(station):
        raise KeysError(
            f"there is none for station {station}",
            place="keys",
            remedy="packcodec keys new makes one; give the base the same",
        )


def number_of(codec: Codec, station: str | int | None) -> int:
    """A station's number, by name or number; None where the schema names one only.

    Raises EncodeError.
    """
    names = dict(codec.schema.stations)
    if station is None and len(names) == 1:
        return next(iter(names.values()))
    if isinstance(station, str) and station in names:
        return names[station]
    last = (1 << (codec.schema.frame.station_bits or UNSENT_STATION_BITS)) - 1
    if type(station) is int and 0 <= station <= last:
        return station
    remedy = f"give a number 0 to {last}"
    if names:
        remedy += f", or a name: {nearest(str(station), list(names))}"
    raise EncodeError(f"there is no station {station!r}", place="station", remedy=remedy)


def check_detection(label: str, when: object, confidence: float, individuals: object) -> None:
    """Raises EncodeError for what no model should say."""
    aware = when is None or (isinstance(when, datetime) and when.utcoffset() is not None)
    number = isinstance(confidence, int | float) and not isinstance(confidence, bool)
    checks = (
        ("label", label, isinstance(label, str) and label != "", "a label of the species table"),
        ("when", when, aware, "a datetime with an offset from UTC"),
        ("confidence", confidence, number and 0 <= confidence <= 1, "a number 0 to 1"),
        ("individuals", individuals, type(individuals) is int and individuals >= 1, "1 or more"),
    )
    for name, value, holds, right in checks:
        if not holds:
            raise EncodeError(f"is {value!r}", place=f"seen.{name}", remedy=f"give {right}")


def check_health(codec: Codec, names: Iterable[str]) -> None:
    """Raises EncodeError for a name that is none of the schema's health fields."""
    known = [f.name for m in codec.schema.messages if m.name == HEALTH for f in m.fields]
    for name in names:
        if name not in known:
            raise EncodeError(
                f"has no field {name!r}",
                place="message.health",
                remedy=nearest(name, known) if known else "the schema has no such message",
            )
