"""What the test vectors of modelled coding hold: schemas, tables, and what to send.

`tools/modelled_vectors.py` turns this into spec/vectors/modelled/*.json.
"""

from dataclasses import dataclass
from typing import Any

SPECIES = """code,label,scientific_name,kind,added
0,blank,,blank,
1,coot,Fulica atra,animal,
2,grey_heron,Ardea cinerea,animal,
3,otter,Lutra lutra,animal,
5,water_vole,Arvicola amphibius,animal,2027-06-01
"""

HEAD = """[schema]
name = "{name}"
version = 1
epoch = 2027-04-01T00:00:00Z
coding = "modelled"

[species]
file = "species.csv"
codes = 8

[frame]
{frame}
"""

FRAME = "tag_bits = 8\nmessage_bits = 0\nstation_bits = 3\nsequence_bits = 6"
WIDER = 'tag_bits = 8\nmessage_bits = 2\nstation_bits = 3\nsequence_bits = 8\ncheck = "crc32"'

SIGHTINGS = """
[message.sightings]
code = 0
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 172800 },
  { name = "seen", kind = "list", least = 1, most = 60, fields = [
    { name = "after", kind = "duration", step_s = 60, high_s = 61380, since = "previous" },
    { name = "species", kind = "species" },
    { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
  ] },
]
"""

HOURS = """
[message.hours]
code = 0
fields = [
  { name = "start", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject" },
  { name = "battery_mv", kind = "scaled", low = 2800, high = 4300, step = 20, optional = true },
  { name = "hours", kind = "list", least = 1, most = 24, fields = [
    { name = "after", kind = "duration", step_s = 3600, high_s = 82800, since = "previous" },
    { name = "rows", kind = "list", least = 0, most = 4, fields = [
      { name = "species", kind = "species" },
      { name = "visits", kind = "integer", low = 0, high = 15, above = "clamp" },
      { name = "first", kind = "duration", step_s = 60, high_s = 3540 },
      { name = "last", kind = "duration", step_s = 60, high_s = 3540 },
    ] },
  ] },
]
"""

MODELS = f"""species = [1, 2, 3]

[[table]]
path = "message.hours.battery_mv"
around = "centre"
centre = 55
rows = ["{"f0e0d0c0b0a09080" + "70" * 7}"]

[[table]]
path = "message.hours.hours[].rows there"
contexts = ["hour"]
rows = ["606060", "687060", "807868", "807068", "786868", "807068", "887868", "686060"]

[[table]]
path = "message.hours.hours[].rows[].last"
contexts = ["kin"]
around = "before"
kin = "000102"
rows = [
  "f0e8e0d8d0c8c0b8b0a8a0989088",
  "f0f0e8e8e0e0d8d8d0d0c8c8c0c0",
  "808080808080808080808080f080",
  "80808080808080808080808080f0",
]
"""


@dataclass(frozen=True, slots=True)
class Drawn:
    """A table with rows that nobody thought of, for a place whose sizes follow from the schema."""

    path: str
    contexts: tuple[str, ...] = ()
    around: str = "none"
    centre: int = 0


@dataclass(frozen=True, slots=True)
class VectorFile:
    """`models` is a models file, or `known` and `drawn` make one. `key` is that of a seal, in
    hexadecimal: invented and published here, so no station may ever have it."""

    name: str
    about: str
    message: str
    models: str
    cases: tuple[tuple[str, dict[str, Any]], ...]
    known: tuple[int, ...] = ()
    drawn: tuple[Drawn, ...] = ()
    frame: str = FRAME
    key: str = ""


def sighting(after_min: int, species: str, individuals: int = 1) -> dict[str, Any]:
    return {"after": 60 * after_min, "species": species, "individuals": individuals}


def row(species: str, visits: int, first_min: int, last_min: int) -> dict[str, Any]:
    return {
        "species": species,
        "visits": visits,
        "first": 60 * first_min,
        "last": 60 * last_min,
    }


AT = "2027-04-02T05:31:00Z"
BURST = [sighting(0, "coot", 2), *([sighting(1, "coot", 2)] * 9), sighting(3, "otter")]
START = "2027-05-03T06:00:00Z"
LATER = [
    {"after": 0, "rows": [row("coot", 2, 4, 51), row("otter", 1, 12, 12)]},
    {"after": 3600, "rows": [row("coot", 1, 0, 59)]},
    {"after": 3600, "rows": []},
    {"after": 7200, "rows": [row("coot", 1, 30, 33), row("grey_heron", 1, 2, 40)]},
]
HOUR_CASES = (
    ("several hours", {"start": START, "battery_mv": 3900, "hours": LATER}),
    ("an empty hour", {"start": START, "battery_mv": None, "hours": [{"after": 0, "rows": []}]}),
    (
        "rows that do not ascend go by count",
        {
            "start": START,
            "battery_mv": 2800,
            "hours": [{"after": 0, "rows": [row("otter", 15, 59, 0), row("coot", 0, 0, 0)]}],
        },
    ),
    (
        "a species that the tables do not know",
        {
            "start": START,
            "battery_mv": 4300,
            "hours": [{"after": 82800, "rows": [row("water_vole", 1, 1, 2), row("#6", 3, 4, 5)]}],
        },
    ),
)
KINDS = """
[message.kinds]
code = 1
fields = [
  { name = "at", kind = "time", step_s = 60, span_s = 43200 },
  { name = "late", kind = "time", step_s = 1, span_s = 86400, optional = true },
  { name = "few", kind = "integer", low = -2, high = 3, below = "clamp", optional = true },
  { name = "many", kind = "integer", low = 0, high = 60000 },
  { name = "wide", kind = "integer", low = 0, high = 1099511627776 },
  { name = "level", kind = "scaled", low = 0.5, high = 10, step = 0.25, above = "clamp" },
  { name = "watched", kind = "duration", step_s = 10, high_s = 3600 },
  { name = "lid", kind = "boolean" },
  { name = "state", kind = "flags", flags = ["a", "b", "c"] },
  { name = "marks", kind = "flags", flags = ["d", "e", "f", "g", "h"], optional = true },
  { name = "power", kind = "enumeration", values = ["battery", "solar", "mains"] },
  { name = "species", kind = "species" },
  { name = "others", kind = "list", least = 0, most = 3, optional = true, fields = [
    { name = "one", kind = "species" },
    { name = "two", kind = "species" },
    { name = "level", kind = "scaled", low = 0, high = 1, step = 0.05, optional = true },
  ] },
  { name = "notes", kind = "list", least = 1, most = 9, fields = [
    { name = "k", kind = "integer", low = 0, high = 500 },
    { name = "on", kind = "boolean", optional = true },
    { name = "inner", kind = "list", least = 0, most = 2, fields = [
      { name = "j", kind = "integer", low = 0, high = 24 },
    ] },
  ] },
]
[message.nothing]
code = 3
fields = [{ name = "same", kind = "integer", low = 7, high = 7 }]
"""

CONTEXTS = """
[message.seen]
code = 0
fields = [
  { name = "at", kind = "time", step_s = 600, span_s = 172800 },
  { name = "battery", kind = "integer", low = 0, high = 99 },
  { name = "cold", kind = "boolean", optional = true },
  { name = "rows", kind = "list", least = 0, most = 30, fields = [
    { name = "after", kind = "duration", step_s = 600, high_s = 60000, since = "previous" },
    { name = "species", kind = "species" },
    { name = "individuals", kind = "integer", low = 1, high = 8, above = "clamp" },
    { name = "sure", kind = "integer", low = 0, high = 30 },
    { name = "near", kind = "integer", low = 0, high = 30, optional = true },
    { name = "marks", kind = "list", least = 0, most = 3, fields = [
      { name = "k", kind = "integer", low = 0, high = 5 },
    ] },
  ] },
]
"""
ROWS = "message.seen.rows"
DRAWN = (
    Drawn("message.seen.at hour"),
    Drawn("message.seen.battery", ("hour",), "centre", 70),
    Drawn("message.seen.cold?", ("before", "before_2")),
    Drawn("message.seen.cold", ("before",), "before"),
    Drawn(f"{ROWS} more", ("room",)),
    Drawn(f"{ROWS}[].after", ("previous",), "previous", 9),
    Drawn(f"{ROWS}[].species recent", ("rank", "before")),
    Drawn(f"{ROWS}[].species new", ("hour",)),
    Drawn(f"{ROWS}[].individuals", ("last", "rank"), "last", 2),
    Drawn(f"{ROWS}[].sure", ("kin", "before"), "before_3", 15),
    Drawn(f"{ROWS}[].near?", ("last", "previous")),
    Drawn(f"{ROWS}[].near", ("before_3",), "before_2", 3),
    Drawn(f"{ROWS}[].marks count", ("last",), "last"),
    Drawn(f"{ROWS}[].marks[].k", ("previous", "hour"), "previous"),
)


def kind(**other: Any) -> dict[str, Any]:
    plain: dict[str, Any] = {
        "at": AT,
        "late": None,
        "few": None,
        "many": 59999,
        "wide": 1 << 40,
        "level": 3.25,
        "watched": 600,
        "lid": True,
        "state": [],
        "marks": None,
        "power": "battery",
        "species": "coot",
        "others": None,
        "notes": [{"k": 0, "on": None, "inner": []}],
    }
    return {**plain, **other}


def marked(after_min: int, species: str, *near: int | None, marks: int = 0) -> dict[str, Any]:
    return {
        **sighting(after_min, species, 1 + after_min % 3),
        "sure": (7 * after_min + len(species)) % 31,
        "near": near[0] if near else None,
        "marks": [{"k": (after_min + mark) % 6} for mark in range(marks)],
    }


NOTES = [
    {"k": 40 * n, "on": (None, True, False)[n % 3], "inner": [{"j": 24 - n}] * (n % 3)}
    for n in range(9)
]
PAIRS = [
    {"one": "coot", "two": "coot", "level": 0.35},
    {"one": "#7", "two": "otter", "level": None},
    {"one": "blank", "two": "#6", "level": 1},
]
SPECIES_SEEN = ("coot", "otter", "coot", "#6", "grey_heron", "water_vole", "#7", "blank", "#4")
KIND_CASES = (
    ("the absent absent", kind()),
    ("all there", kind(late=AT, few=3, marks=["d", "h"], others=PAIRS, notes=NOTES)),
    ("the least", kind(few={"at_most": -2}, many=0, wide=0, level=0.5, lid=False, watched=0)),
    ("past both ends", kind(level=11, state=["a", "b", "c"], marks=[], others=[], power="mains")),
    ("past the other", kind(few=-4, species="#7", many=60000, notes=NOTES[3:5])),
)
CONTEXT_CASES = (
    ("none", {"at": AT, "battery": 3, "cold": None, "rows": []}),
    (
        "two species in turn, and one that the tables do not know",
        {
            "at": AT,
            "battery": 71,
            "cold": True,
            "rows": [
                *(marked(10 * (n % 2), SPECIES_SEEN[n % 2], 4, marks=2) for n in range(7)),
                marked(60, "grey_heron"),
                marked(20, "otter", 4),
                marked(20, "grey_heron", 3),
            ],
        },
    ),
    (
        "nine species, and each again",
        {
            "at": AT,
            "battery": 99,
            "cold": True,
            "rows": [
                marked(10 * (n % 5), SPECIES_SEEN[n % 9], *[n] * (n % 2), marks=n % 4)
                for n in range(18)
            ],
        },
    ),
    (
        "as many as there may be",
        {
            "at": AT,
            "battery": 70,
            "cold": False,
            "rows": [marked(10, SPECIES_SEEN[n % 2], 30 - n, marks=1) for n in range(30)],
        },
    ),
)
FILES = (
    VectorFile(
        "sightings",
        "A list that ends with the frame: gaps, species seen lately and new, general tables.",
        SIGHTINGS,
        "",
        (
            ("one", {"at": AT, "seen": [sighting(0, "coot")]}),
            ("a burst", {"at": AT, "seen": BURST}),
            (
                "all unlikely, so the payload is plain",
                {"at": AT, "seen": [sighting(1023, "#7", 8), sighting(1021, "blank", 7)] * 8},
            ),
            (
                "as many as there may be",
                {"at": AT, "seen": [sighting(n % 3, "otter", 1) for n in range(60)]},
            ),
        ),
    ),
    VectorFile("hours", "Sets of rows in a list of hours, general tables.", HOURS, "", HOUR_CASES),
    VectorFile("models", "The same with tables of their own.", HOURS, MODELS, HOUR_CASES),
    VectorFile(
        "kinds",
        "Every kind of field, two messages and CRC-32; a time that does not say the hour.",
        KINDS,
        "",
        (*KIND_CASES, ("a message of no bits", {"same": 7})),
        frame=WIDER,
    ),
    VectorFile(
        "contexts",
        "Tables with every context and centre.",
        CONTEXTS,
        "",
        CONTEXT_CASES,
        known=(0, 1, 3, 6),
        drawn=DRAWN,
    ),
    VectorFile(
        "sealed",
        "A list that ends with the frame, under a seal.",
        SIGHTINGS,
        "",
        (
            ("one", {"at": AT, "seen": [sighting(0, "coot")]}),
            ("a burst", {"at": AT, "seen": BURST}),
        ),
        frame='tag_bits = 8\nmessage_bits = 0\nstation_bits = 3\nsequence_bits = 13\nseal = "ccm4"',
        key="000102030405060708090a0b0c0d0e0f",
    ),
)
