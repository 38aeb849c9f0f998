"""A small schema for the tests of the monitor's side, parts replaced where a test wants it."""

from datetime import UTC, datetime, timedelta

from packcodec.frame import Codec
from packcodec.layout import compile_layout
from packcodec.monitor import Detection, Stretch
from packcodec.schema import Schema, read_schema

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)

TOML = """
[schema]
name = "small"
version = 1
epoch = 2027-04-01T00:00:00Z
[species]
file = "species.csv"
codes = 16
[frame]
tag_bits = 8
message_bits = 2
station_bits = 4
sequence_bits = 16
[policy]
interval_min = 60
independence_min = 30
confidence_least = 0.5
[stations]
north_hide = 1
reed_bed = 2
[message.sighting]
code = 0
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 15811200, beyond = "reject", optional = true },
  { name = "species", kind = "species" },
  { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
  { name = "confidence", kind = "scaled", low = 0, high = 1, step = 0.01 },
  { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
]
[message.summary]
code = 1
fields = [
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject", optional = true },
  { name = "watched", kind = "duration", step_s = 60, high_s = 3600, optional = true },
  { name = "left_out", kind = "integer", low = 0, high = 15, above = "clamp" },
  { name = "people", kind = "integer", low = 0, high = 15, above = "clamp", optional = true },
  { name = "dropped", kind = "integer", low = 0, high = 255, above = "clamp" },
  { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
  { name = "rows", kind = "list", least = 0, most = 4, fields = [
    { name = "species", kind = "species" },
    { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
    { name = "most", kind = "integer", low = 1, high = 16, above = "clamp" },
    { name = "first", kind = "duration", step_s = 60, high_s = 3540, optional = true },
    { name = "last", kind = "duration", step_s = 60, high_s = 3540, optional = true },
    { name = "confidence", kind = "scaled", low = 0, high = 1, step = 0.01 },
    { name = "detections", kind = "integer", low = 1, high = 255, above = "clamp" },
  ] },
]
[message.health]
code = 2
fields = [
  { name = "at", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject", optional = true },
  { name = "battery_mv", kind = "integer", low = 2800, high = 4300 },
  { name = "restarts", kind = "integer", low = 0, high = 15, above = "clamp", optional = true },
  { name = "sealed", kind = "boolean", optional = true },
  { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
]
"""  # noqa: E501

SPECIES = """code,label,scientific_name,kind,report,status
0,human,Homo sapiens,human,never,active
1,walker,Homo sapiens,human,count,active
2,otter,Lutra lutra,animal,priority,active
3,coot,Fulica atra,animal,summary,active
4,teal,Anas crecca,animal,summary,active
5,heron,Ardea,animal,summary,retired
6,snipe,Gallinago gallinago,animal,summary,active
7,lapwing,Vanellus vanellus,animal,summary,active
8,bittern,Botaurus stellaris,animal,priority,active
9,rail,Rallus aquaticus,animal,summary,active
"""


def schema_of(*changes: tuple[str, str]) -> Schema:
    """The schema with every (old, new) of its TOML or species text replaced; each must be there."""
    toml, species = TOML, SPECIES
    for old, new in changes:
        assert old in toml or old in species, old
        toml, species = toml.replace(old, new), species.replace(old, new)
    return read_schema(toml, species)


def codec_of(*changes: tuple[str, str]) -> Codec:
    return Codec(compile_layout(schema_of(*changes)))


def at(clock: str, day: int = 0) -> datetime:
    """An instant on a day after the epoch, the clock as HH:MM or HH:MM:SS."""
    hours, minutes, *seconds = (int(part) for part in clock.split(":"))
    return EPOCH + timedelta(days=day, hours=hours, minutes=minutes, seconds=sum(seconds))


def saw(clock: str, label: str, individuals: int = 1, *, day: int = 0, **rest: object) -> Detection:
    values = {"station": 1, "confidence": 0.9, "individuals": individuals, **rest}
    return Detection(at=at(clock, day), label=label, **values)  # type: ignore[arg-type]


def watched(start: str, end: str, *, day: int = 0, station: int = 1) -> Stretch:
    return Stretch(station, at(start, day), at(end, day))
