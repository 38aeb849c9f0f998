"""What the test vectors hold: schemas, and for each what to send, and what nobody may accept.

`tools/vectors.py` turns this into spec/vectors/*.json with the reference codec.
"""

from dataclasses import dataclass
from typing import Any

from packcodec.codec import AtLeast, AtMost, PartialTime
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


INTEGERS = VectorFile(
    "integers",
    "Ranges of one value, of a few, at and past a power of two, and past 64 bits; both clamps.",
    schema(
        "integers",
        message(
            'name = "one", kind = "integer", low = 7, high = 7',
            'name = "five", kind = "integer", low = 0, high = 4',
            'name = "byte", kind = "integer", low = 0, high = 255',
            'name = "past", kind = "integer", low = 0, high = 256',
            'name = "signed", kind = "integer", low = -10, high = 10',
            'name = "whole", kind = "integer", low = -9223372036854775808, '
            "high = 18446744073709551615",
            'name = "warm", kind = "integer", low = -40, high = 60, unit = "°C", '
            'below = "clamp", above = "clamp"',
            'name = "many", kind = "integer", low = 1, high = 8, above = "clamp"',
        ),
    ),
    tuple(
        Case(
            about,
            dict(
                zip(
                    ("one", "five", "byte", "past", "signed", "whole", "warm", "many"),
                    values,
                    strict=True,
                )
            ),
        )
        for about, values in (
            ("in the middle", (7, 2, 165, 129, 0, 0, 11, 3)),
            ("the least of each", (7, 0, 0, 0, -10, -(1 << 63), -39, 1)),
            ("the greatest of each", (7, 4, 255, 256, 10, (1 << 64) - 1, 59, 7)),
            ("exactly a bound is sent as the bound", (7, 2, 1, 2, 3, 4, -40, 8)),
            ("the other bound", (7, 2, 1, 2, 3, 4, 60, 8)),
            ("past the bounds", (7, 2, 1, 2, 3, 4, -273, 1000)),
            ("far past the bounds", (7, 2, 1, 2, 3, 4, 10**30, 9)),
            ("said to be a bound", (7, 2, 1, 2, 3, 4, AtMost(-40), AtLeast(8))),
            ("said to be past a bound", (7, 2, 1, 2, 3, 4, AtLeast(61), AtLeast(20))),
        )
    ),
    faults=tuple(
        Fault(
            f"{field} = code {code}",
            bits(
                (code if field == "five" else 0, 3),
                (0, 8),
                (code if field == "past" else 0, 9),
                (code if field == "signed" else 0, 5),
                (code if field == "whole" else 0, 65),
                (code if field == "warm" else 0, 7),
                (0, 3),
            ),
        )
        for field, code in (
            ("five", 5),
            ("five", 7),
            ("past", 257),
            ("past", 511),
            ("signed", 21),
            ("signed", 31),
            ("whole", (1 << 64) + (1 << 63)),
            ("warm", 101),
        )
    ),
    refusals=tuple(
        Refusal(
            about, {**dict.fromkeys(("byte", "past", "signed", "whole", "warm"), 1), **wrong}, f
        )
        for about, f, wrong in (
            ("above the range", "five", {"one": 7, "five": 5, "many": 1}),
            ("below the range", "five", {"one": 7, "five": -1, "many": 1}),
            ("not the only value", "one", {"one": 8, "five": 1, "many": 1}),
            ("below a side that does not clamp", "many", {"one": 7, "five": 1, "many": 0}),
            ("a bound short of the end", "many", {"one": 7, "five": 1, "many": AtLeast(7)}),
            (
                "a bound on a side that does not clamp",
                "many",
                {"one": 7, "five": 1, "many": AtMost(1)},
            ),
            ("no value", "five", {"one": 7, "five": None, "many": 1}),
            ("a fraction", "five", {"one": 7, "five": 2.5, "many": 1}),
            ("a text", "five", {"one": 7, "five": "2", "many": 1}),
        )
    ),
)


QUANTITY_NAMES = ("halves", "volts", "level", "mv", "watched", "short")
QUANTITIES = VectorFile(
    "quantities",
    "Scaled quantities and durations: the nearest step, ties up; both clamps; whole and decimal.",
    schema(
        "quantities",
        message(
            'name = "halves", kind = "scaled", low = 0, high = 10, step = 2.5',
            'name = "volts", kind = "scaled", low = 2.8, high = 4.3, step = 0.02, unit = "V", '
            'below = "clamp", above = "clamp"',
            'name = "level", kind = "scaled", low = -2, high = 3, step = 0.05, unit = "m"',
            'name = "mv", kind = "scaled", low = 2800, high = 4300, step = 20, unit = "mV"',
            'name = "watched", kind = "duration", step_s = 60, high_s = 3600',
            'name = "short", kind = "duration", step_s = 0.5, high_s = 10, above = "clamp"',
        ),
    ),
    tuple(
        Case(about, dict(zip(QUANTITY_NAMES, values, strict=True)))
        for about, values in (
            ("on the grid", (5, 3.7, 1.25, 3700, 600, 4.5)),
            ("the least of each", (0, 2.82, -2, 2800, 0, 0)),
            ("the greatest of each", (10, 4.28, 3, 4300, 3600, 9.5)),
            ("exactly a bound is sent as the bound", (0, 2.8, -2, 2800, 0, 10)),
            ("the other bound", (0, 4.3, -2, 2800, 0, 10)),
            ("past the bounds", (0, 0.0, -2, 2800, 0, 86400)),
            ("past the other bound", (0, 12.6, -2, 2800, 0, 10.25)),
            ("short of a bound by less than half a step", (0, 2.809, -2, 2800, 0, 9.76)),
            ("to the nearest step, down", (6.2, 3.709, 0.024, 3709, 629, 4.7)),
            ("to the nearest step, up", (6.3, 3.711, 0.026, 3711, 631, 4.8)),
            ("a tie goes up", (1.25, 3.7, 0, 2810, 30, 0.25)),
            ("a tie below zero goes up", (1.25, 3.7, -0.5, 2810, 90, 0.75)),
            ("up to half a step below the low end", (-1.25, 3.7, -2.025, 2790, -30, -0.25)),
            ("less than half a step past the high end", (11.2, 3.7, 3.02, 4309, 3629, 10.2)),
            ("a double is taken as the number that it is", (5, 3.7, -1.975, 2800, 0, 0)),
            ("said to be a bound", (5, AtLeast(4.3), 1.5, 3700, 600, AtLeast(10))),
            ("said to be the low bound or less", (5, AtMost(1), 1.5, 3700, 600, 1)),
        )
    ),
    faults=tuple(
        Fault(
            f"{name} = code {code}",
            bits(
                *(
                    (code if name == field else 0, width)
                    for field, width in zip(QUANTITY_NAMES, (3, 7, 7, 7, 6, 5), strict=True)
                )
            ),
        )
        for name, code in (
            ("halves", 5),
            ("volts", 76),
            ("level", 101),
            ("mv", 127),
            ("watched", 61),
            ("short", 21),
        )
    ),
    refusals=tuple(
        Refusal(
            about,
            {**dict(zip(QUANTITY_NAMES, (5, 3.7, 1.25, 3700, 600, 4.5), strict=True)), name: value},
            name,
        )
        for about, name, value in (
            ("half a step past the high end", "halves", 11.25),
            ("more than half a step below the low end", "halves", -1.26),
            ("far past the end", "watched", 7200),
            ("a negative duration", "short", -1),
            ("a text", "level", "1.25"),
            ("a bound on a side that does not clamp", "halves", AtLeast(10)),
            ("no value", "mv", None),
        )
    ),
)


NAMED = VectorFile(
    "named-values",
    "Booleans, flags (1, 3 and 64 of them) and enumerations (1, 2 and 5 values).",
    schema(
        "named_values",
        message(
            'name = "lid", kind = "boolean"',
            'name = "single", kind = "flags", flags = ["moved"]',
            'name = "state", kind = "flags", flags = ["clock_unset", "restarted", "moved"]',
            'name = "many", kind = "flags", flags = ['
            + ", ".join(f'"f{number}"' for number in range(64))
            + "]",
            'name = "only", kind = "enumeration", values = ["battery"]',
            'name = "two", kind = "enumeration", values = ["battery", "solar"]',
            'name = "five", kind = "enumeration", values = ["n", "e", "s", "w", "none"]',
        ),
    ),
    tuple(
        Case(
            about,
            dict(zip(("lid", "single", "state", "many", "only", "two", "five"), v, strict=True)),
        )
        for about, v in (
            ("the first of each", (False, [], [], [], "battery", "battery", "n")),
            (
                "the last of each",
                (True, ["moved"], ["moved"], ["f63"], "battery", "solar", "none"),
            ),
            (
                "the first flag is the most significant bit",
                (True, ["moved"], ["clock_unset"], ["f0"], "battery", "solar", "w"),
            ),
            (
                "flags come back in the schema's order, each once",
                (
                    True,
                    [],
                    ["moved", "clock_unset", "moved"],
                    ["f9", "f2"],
                    "battery",
                    "solar",
                    "s",
                ),
            ),
            (
                "all flags",
                (
                    True,
                    ["moved"],
                    ["clock_unset", "restarted", "moved"],
                    [f"f{number}" for number in range(64)],
                    "battery",
                    "battery",
                    "e",
                ),
            ),
        )
    ),
    faults=tuple(
        Fault(f"five = code {code}", bits((0, 1), (0, 1), (0, 3), (0, 64), (0, 1), (code, 3)))
        for code in (5, 6, 7)
    ),
    refusals=tuple(
        Refusal(
            about,
            {
                **{"lid": True, "single": [], "state": [], "many": []},
                **{"only": "battery", "two": "solar", "five": "n"},
                name: value,
            },
            name,
        )
        for about, name, value in (
            ("an unknown flag", "state", ["open"]),
            ("a text in place of a list", "state", "moved"),
            ("an unknown value", "five", "ne"),
            ("a number in place of a name", "two", 1),
            ("a text in place of a boolean", "lid", "true"),
        )
    ),
)


SPECIES = VectorFile(
    "species",
    "Species codes: a retired row and one that joined later, and codes without a row.",
    schema(
        "species",
        message('name = "species", kind = "species"'),
        species_codes=40,
    ),
    tuple(
        Case(about, {"species": label})
        for about, label in (
            ("the first row", "blank"),
            ("an animal", "otter"),
            ("a retired row", "heron"),
            ("a row that joined later, which is no part of the identity", "spoonbill"),
            ("the number of a code that has a row reads as its label", "#3"),
            ("a code without a row", "#31"),
            ("the last code there is room for", "#39"),
        )
    ),
    species=(
        "code,label,scientific_name,kind,status,added\n"
        "0,blank,,blank,active,\n"
        "1,human,Homo sapiens,human,active,\n"
        "2,heron,Ardea,animal,retired,\n"
        "3,otter,Lutra lutra,animal,active,\n"
        "5,spoonbill,Platalea leucorodia,animal,active,2027-04-12\n"
    ),
    faults=tuple(Fault(f"code {code} of 40", bits((code, 6))) for code in (40, 63)),
    refusals=tuple(
        Refusal(about, {"species": label}, "species")
        for about, label in (
            ("an unknown label", "badger"),
            ("a code past the table's room", "#40"),
            ("a number with a leading zero", "#03"),
            ("a number without its sign", "31"),
        )
    ),
)


DAY_S = 86400
TIMES = VectorFile(
    "times",
    "Times: steps are rounded down; modulo a span, with and without the time of reception; whole.",
    schema(
        "times",
        message(
            'name = "at", kind = "time", step_s = 60, span_s = 86400, beyond = "wrap"',
            'name = "five", kind = "time", step_s = 7, span_s = 35, beyond = "wrap"',
            'name = "season", kind = "time", step_s = 3600, span_s = 15811200, beyond = "reject"',
        ),
    ),
    tuple(
        Case(about, {"at": at, "five": five, "season": season}, received=received)
        for about, at, five, season, received in (
            (
                "the epoch",
                "2027-04-01T00:00:00Z",
                "2027-04-01T00:00:00Z",
                "2027-04-01T00:00:00Z",
                "",
            ),
            (
                "rounded down to a step",
                "2027-04-01T06:30:59Z",
                "2027-04-01T00:00:13.999Z",
                "2027-06-09T05:59:59Z",
                "",
            ),
            (
                "the last step of each span",
                "2027-04-01T23:59:59Z",
                "2027-04-01T00:00:34Z",
                "2027-09-30T23:00:00Z",
                "",
            ),
            (
                "offsets from UTC",
                "2027-06-09T02:30:00+02:00",
                "2027-04-01T00:00:14-00:00",
                "2027-06-08T21:00:00-08:00",
                "",
            ),
            (
                "before the epoch, where it wraps",
                "2027-03-31T23:59:00Z",
                "2027-03-31T23:59:59Z",
                "2027-04-01T00:00:00Z",
                "",
            ),
            (
                "said as an offset into the span",
                PartialTime(23400, DAY_S),
                PartialTime(14, 35),
                "2027-04-01T01:00:00Z",
                "",
            ),
            (
                "received 45 minutes and 3 seconds later",
                "2027-06-09T06:30:00Z",
                "2027-06-09T07:15:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T07:15:03Z",
            ),
            (
                "received after midnight",
                "2027-06-09T23:59:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-09T23:00:00Z",
                "2027-06-10T00:00:05Z",
            ),
            (
                "received, by a clock that is behind, before it was sent",
                "2027-06-10T00:01:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-10T00:00:00Z",
                "2027-06-09T23:59:50Z",
            ),
            (
                "exactly half a span later: the earlier instant",
                "2027-06-09T06:30:00Z",
                "2027-06-09T18:30:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T18:30:00Z",
            ),
            (
                "more than half a span later is taken for the next",
                "2027-06-09T06:30:00Z",
                "2027-06-09T18:30:00Z",
                "2027-06-09T06:00:00Z",
                "2027-06-09T18:31:00Z",
            ),
        )
    ),
    faults=(
        Fault("five = code 5", bits((0, 11), (5, 3), (0, 13))),
        Fault("at = code 1440", bits((1440, 11), (0, 3), (0, 13))),
        Fault("season = code 4392", bits((0, 11), (0, 3), (4392, 13))),
    ),
    refusals=tuple(
        Refusal(
            about,
            {
                "at": "2027-04-01T00:00:00Z",
                "five": "2027-04-01T00:00:00Z",
                "season": "2027-04-01T00:00:00Z",
                name: value,
            },
            name,
        )
        for about, name, value in (
            ("before the epoch", "season", "2027-03-31T23:59:59Z"),
            ("at the end of the span", "season", "2027-10-01T00:00:00Z"),
            ("without an offset from UTC", "at", "2027-04-01T00:00:00"),
            ("an offset into a span where times are whole", "season", PartialTime(0, 15811200)),
            ("an offset into another span", "at", PartialTime(0, 35)),
            ("no time", "at", "noon"),
        )
    ),
)


OPTIONAL_VALUES: dict[str, Any] = {
    "n": 3,
    "level": 0.5,
    "lid": True,
    "state": ["b"],
    "power": "solar",
    "species": "otter",
    "at": "2027-04-01T06:30:00Z",
    "watched": 600,
    "rows": [{"k": 5}],
}
OPTIONAL = VectorFile(
    "optional",
    "Every kind of field as an optional one: all presence bits stand before the first value.",
    schema(
        "optional",
        message(
            'name = "first", kind = "integer", low = 0, high = 1',
            'name = "n", kind = "integer", low = 0, high = 7, optional = true',
            'name = "level", kind = "scaled", low = 0, high = 1, step = 0.25, optional = true',
            'name = "lid", kind = "boolean", optional = true',
            'name = "state", kind = "flags", flags = ["a", "b"], optional = true',
            'name = "power", kind = "enumeration", values = ["battery", "solar"], optional = true',
            'name = "species", kind = "species", optional = true',
            'name = "at", kind = "time", step_s = 60, span_s = 86400, optional = true',
            'name = "watched", kind = "duration", step_s = 60, high_s = 3600, optional = true',
            'name = "rows", kind = "list", least = 0, most = 2, optional = true, fields = '
            '[{ name = "k", kind = "integer", low = 0, high = 7 }]',
        ),
        species_codes=8,
    ),
    (
        Case("all absent", {"first": 1, **dict.fromkeys(OPTIONAL_VALUES)}),
        Case("absent is as good as not named", {"first": 1}),
        Case("all present", {"first": 1, **OPTIONAL_VALUES}),
        Case("an empty list is not an absent one", {"first": 0, "rows": []}),
        *(
            Case(f"only {name}", {"first": 0, name: value})
            for name, value in OPTIONAL_VALUES.items()
        ),
    ),
    species="code,label,scientific_name,kind\n0,otter,Lutra lutra,animal\n",
    faults=(
        Fault("level = code 5", "010000000" + "0" + bits((5, 3))),
        Fault("rows = 3 elements of at most 2", "000000001" + "0" + bits((3, 2), (0, 9))),
    ),
    refusals=(
        Refusal("absent, but not optional", {"first": None, "n": 3}, "first"),
        Refusal("out of range", {"first": 0, "n": 8}, "n"),
    ),
)


LISTS = VectorFile(
    "lists",
    "Lists: none to most, of a fixed length, in one another, of elements with optional fields.",
    schema(
        "lists",
        message(
            'name = "rows", kind = "list", least = 0, most = 4, fields = ['
            '{ name = "species", kind = "integer", low = 0, high = 63 }, '
            '{ name = "visits", kind = "integer", low = 1, high = 16, above = "clamp" }]',
            'name = "pair", kind = "list", least = 2, most = 2, fields = '
            '[{ name = "v", kind = "integer", low = 0, high = 4 }]',
            'name = "tree", kind = "list", least = 1, most = 3, fields = ['
            '{ name = "lid", kind = "boolean", optional = true }, '
            '{ name = "leaves", kind = "list", least = 0, most = 2, optional = true, fields = '
            '[{ name = "at", kind = "time", step_s = 60, span_s = 3600 }] }, '
            '{ name = "end", kind = "integer", low = 0, high = 2 }]',
            'name = "nothing", kind = "list", least = 0, most = 3, fields = '
            '[{ name = "same", kind = "integer", low = 5, high = 5 }]',
        ),
    ),
    (
        Case(
            "the fewest elements",
            {"rows": [], "pair": [{"v": 0}, {"v": 4}], "tree": [{"end": 2}], "nothing": []},
        ),
        Case(
            "the most elements",
            {
                "rows": [{"species": n * 21, "visits": n * 7 + 1} for n in range(4)],
                "pair": [{"v": 3}, {"v": 1}],
                "tree": [
                    {
                        "lid": True,
                        "leaves": [{"at": "2027-04-01T00:59:00Z"}, {"at": "2027-04-01T00:01:00Z"}],
                        "end": end,
                    }
                    for end in range(3)
                ],
                "nothing": [{"same": 5}] * 3,
            },
        ),
        Case(
            "elements differ in what is present",
            {
                "rows": [{"species": 1, "visits": 1}],
                "pair": [{"v": 2}, {"v": 2}],
                "tree": [
                    {"lid": False, "leaves": None, "end": 0},
                    {"lid": None, "leaves": [], "end": 1},
                    {"lid": None, "leaves": [{"at": "2027-04-01T00:30:00Z"}], "end": 2},
                ],
                "nothing": [{"same": 5}],
            },
        ),
        Case(
            "times in lists are resolved too",
            {
                "rows": [],
                "pair": [{"v": 0}, {"v": 0}],
                "tree": [{"leaves": [{"at": "2027-06-09T05:50:00Z"}], "end": 0}],
                "nothing": [],
            },
            received="2027-06-09T06:10:00Z",
        ),
    ),
    faults=(
        Fault("rows = 5 elements of at most 4", bits((5, 3)) + "0" * 61),
        Fault("pair[1].v = code 5", bits((0, 3), (0, 3), (5, 3), (0, 2), (0, 2), (0, 2), (0, 2))),
        Fault("tree = code 3 for its length", bits((0, 3), (0, 6), (3, 2)) + "0" * 20),
        Fault("tree[0].end = code 3", bits((0, 3), (0, 6), (0, 2), (0, 2), (3, 2), (0, 2))),
        Fault(
            "tree[0].leaves = code 3 for its length",
            bits((0, 3), (0, 6), (0, 2), (1, 2), (3, 2)) + "0" * 22,
        ),
        Fault(
            "tree[0].leaves[0].at = code 60",
            bits((0, 3), (0, 6), (0, 2), (1, 2), (1, 2), (60, 6), (0, 2), (0, 2)),
        ),
    ),
    refusals=tuple(
        Refusal(
            about,
            {"rows": [], "pair": [{"v": 0}] * 2, "tree": [{"end": 0}], "nothing": [], name: value},
            name,
        )
        for about, name, value in (
            ("too many elements", "rows", [{"species": 0, "visits": 1}] * 5),
            ("too few elements", "tree", []),
            ("not the fixed length", "pair", [{"v": 0}]),
            ("an element out of range", "rows", [{"species": 64, "visits": 1}]),
            ("an element without a value", "rows", [{"species": 6}]),
            ("no list", "rows", {"species": 0, "visits": 1}),
            ("elements that are no objects", "pair", [0, 0]),
        )
    ),
)


TWO_MESSAGES = (
    message('name = "n", kind = "integer", low = 0, high = 7', name="few"),
    message('name = "n", kind = "integer", low = 0, high = 255', name="many", code=255),
)
CARRIER = VectorFile(
    "carrier-says-all",
    "No header at all: the carrier says message and station, and both are under the check.",
    schema(
        "carrier_says_all",
        *TWO_MESSAGES,
        frame="tag_bits = 0\nmessage_bits = 0\nstation_bits = 0\nsequence_bits = 0\n",
    ),
    (
        Case("a message", {"n": 5}, "few", 0),
        Case("another message of the same length", {"n": 160}, "many", 0),
        Case("a station of 32 bits", {"n": 5}, "few", LAST_COUNTER),
    ),
)

EMPTY = VectorFile(
    "nothing-but-a-check",
    "A message of no bits, without a header: the frame is its check.",
    schema(
        "nothing_but_a_check",
        message('name = "n", kind = "integer", low = 1, high = 1'),
        frame="tag_bits = 0\nmessage_bits = 0\nstation_bits = 0\nsequence_bits = 0\n",
    ),
    (Case("alive", {"n": 1}, station=7),),
)

WIDEST = VectorFile(
    "widest-header",
    "32 bits each for tag, station and sequence, 8 for the message.",
    schema(
        "widest_header",
        *TWO_MESSAGES,
        frame="tag_bits = 32\nmessage_bits = 8\nstation_bits = 32\nsequence_bits = 32\n",
    ),
    (
        Case("all small", {"n": 0}, "few", 0, 0),
        Case("all great", {"n": 255}, "many", LAST_COUNTER, LAST_COUNTER),
    ),
)

ODD = VectorFile(
    "odd-header",
    "A header that ends within a byte, and a counter of which 7 bits are sent.",
    schema(
        "odd_header",
        message('name = "a", kind = "integer", low = 0, high = 1000', name="first", code=3),
        message(
            'name = "b", kind = "boolean"',
            'name = "c", kind = "integer", low = 0, high = 2, optional = true',
            name="second",
            code=5,
        ),
        frame="tag_bits = 3\nmessage_bits = 3\nstation_bits = 5\nsequence_bits = 7\n",
    ),
    (
        Case("a message", {"a": 1000}, "first", 31, 127),
        Case("the other, its counter just wrapped", {"b": True}, "second", 0, 128),
        Case("the other, its counter about to wrap", {"b": False, "c": 2}, "second", 1, 255),
        Case("the last counter there is", {"a": 0}, "first", 2, LAST_COUNTER),
    ),
)

BY_CHECK = tuple(
    VectorFile(
        f"check-{check}",
        f"The check {check}.",
        schema(
            f"check_{check.replace('-', '_')}",
            message(
                'name = "rows", kind = "list", least = 0, most = 12, fields = '
                '[{ name = "n", kind = "integer", low = 0, high = 255 }]'
            ),
            frame="tag_bits = 8\nmessage_bits = 2\nstation_bits = 4\nsequence_bits = 10\n"
            f'check = "{check}"\n',
        ),
        (
            Case("short", {"rows": []}),
            Case("all zeros", {"rows": [{"n": 0}] * 3}, station=0, counter=0),
            Case("all ones", {"rows": [{"n": 255}] * 12}, station=15, counter=1023),
        ),
    )
    for check in ("crc16-short", "crc16", "crc24", "crc32")
)

FILES = (
    *(INTEGERS, QUANTITIES, NAMED, SPECIES, TIMES, OPTIONAL, LISTS),
    *(CARRIER, EMPTY, ODD, WIDEST, *BY_CHECK),
)
