"""Optional fields and lists."""

from typing import Any

from vector_cases.case import Case, Fault, Refusal, VectorFile, bits, message, schema

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
