"""Integers, scaled quantities and durations."""

from packcodec.codec import AtLeast, AtMost
from vector_cases.case import Case, Fault, Refusal, VectorFile, bits, message, schema

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
