"""Booleans, flags, enumerations and species."""

from vector_cases.case import Case, Fault, Refusal, VectorFile, bits, message, schema

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
