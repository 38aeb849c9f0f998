"""A stream of frames of one invented station, with repair, for the tests of frame/ and base/."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from typing import Any

from packcodec.frame.codec import Codec
from packcodec.frame.repair import Ring
from packcodec.layout import compile_layout
from packcodec.schema import read_schema

EPOCH = datetime(2027, 4, 1, tzinfo=UTC)
LABELS = ("otter", "heron", "bittern")

TOML = """
[schema]
name = "sedgemere_air"
version = 1
epoch = 2027-04-01T00:00:00Z

[species]
file = "species.csv"
codes = 16

[frame]
tag_bits = 8
message_bits = 2
station_bits = 4
sequence_bits = 10
check = "crc24"

[stations]
north_hide = 1
reed_bed = 2
sluice = 3

[repair]
messages = ["summary"]
symbol_bytes = 20

[message.sighting]
code = 0
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 86400, optional = true },
  { name = "species", kind = "species" },
  { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
]

[message.summary]
code = 1
fields = [
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject" },
  { name = "watched", kind = "duration", step_s = 60, high_s = 3600 },
  { name = "state", kind = "flags", flags = ["clock_unset", "restarted"] },
  { name = "rows", kind = "list", least = 0, most = 12, fields = [
    { name = "species", kind = "species" },
    { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
    { name = "most", kind = "integer", low = 1, high = 16, above = "clamp" },
  ] },
]
"""
CSV = "code,label,scientific_name,kind\n0,otter,Lutra lutra,animal\n1,heron,Ardea cinerea,animal\n"
CSV += "2,bittern,Botaurus stellaris,animal\n"

CODEC = Codec(compile_layout(read_schema(TOML, CSV)))


def summary(hour: int, rows: int, *, restarted: bool = False) -> dict[str, Any]:
    return {
        "message": "summary",
        "values": {
            "start": EPOCH + timedelta(hours=hour),
            "watched": 60 * (hour % 61),
            "state": ["restarted"] if restarted else [],
            "rows": [
                {"species": LABELS[(hour + at) % 3], "visits": at, "most": 1 + hour % 15}
                for at in range(rows)
            ],
        },
    }


def frames_of(
    count: int,
    *,
    station: int = 3,
    first: int = 0,
    rows: Callable[[int], int] = lambda at: at % 5,
    codec: Codec = CODEC,
) -> list[bytes]:
    """One summary an hour, counter `first` on, with a ring that was never emptied."""
    assert codec.layout.repair is not None
    ring = Ring(codec.layout.repair, station)
    ring.next = first
    return [
        codec.encode(summary(at, rows(at)), station=station, sequence=first + at, ring=ring)
        for at in range(count)
    ]
