"""The species table's CSV: what is read, and that each wrong cell is refused at its place."""

import pytest

from packcodec.errors import SchemaError
from packcodec.schema.model import Species, SpeciesTable
from packcodec.schema.species import COLUMNS, REPORTS, read_species

CSV = """\
kind,code,label,scientific_name,status,common_name
animal,2,otter,Lutra lutra,,Eurasian otter
animal,0,grey heron,Ardea cinerea,active,
human,1,person,,,
animal,3,coypu,Myocastor coypus,retired,"Coypu, or nutria"
"""


def read(csv: str = CSV, capacity: int = 64) -> SpeciesTable:
    return read_species(csv, capacity, "species.csv")


def test_rows_are_read_in_code_order_with_defaults_by_kind() -> None:
    assert read() == SpeciesTable(
        (
            Species(0, "grey heron", "Ardea cinerea", "animal", "summary"),
            Species(1, "person", "", "human", "never"),
            Species(2, "otter", "Lutra lutra", "animal", "summary", common_name="Eurasian otter"),
            Species(
                *(3, "coypu", "Myocastor coypus", "animal", "summary"),
                common_name="Coypu, or nutria",
                retired=True,
            ),
        ),
        64,
    )


def test_every_column_is_read() -> None:
    cells = (
        "5,otter,Lutra lutra,L.,species,Eurasian otter,x:1,animal,0.01,active,priority,2027-06-01"
    )
    assert read(f"{','.join(COLUMNS)}\n{cells}\n").rows == (
        Species(
            *(5, "otter", "Lutra lutra", "animal", "priority"),
            *("L.", "species", "Eurasian otter", "x:1", "0.01"),
            added="2027-06-01",
        ),
    )


@pytest.mark.parametrize(
    "same",
    [
        "\ufeff" + CSV,
        CSV.replace("\n", "\r\n"),
        CSV.replace("\n", "\n\n"),
        CSV.replace(",", " , "),
        CSV.rstrip("\n"),
    ],
    ids=["byte order mark", "windows line ends", "blank lines", "spaces", "no last line end"],
)
def test_harmless_differences_change_nothing(same: str) -> None:
    rows = [(row.code, row.label, row.kind, row.retired) for row in read(same).rows]
    assert rows == [(row.code, row.label, row.kind, row.retired) for row in read().rows]


def test_a_full_table_fits_its_width_and_one_code_less_does_not() -> None:
    assert read(capacity=4).capacity == 4
    with pytest.raises(SchemaError, match=r"species.csv:5 code: .* set codes = 4 or more"):
        read(capacity=3)


@pytest.mark.parametrize("kind", sorted(REPORTS))
@pytest.mark.parametrize("report", ["priority", "summary", "count", "never"])
def test_only_animals_are_reported_beyond_a_count(kind: str, report: str) -> None:
    csv = f"code,label,scientific_name,kind,report\n0,x,Genus,{kind},{report}\n"
    permitted = kind == "animal" or report == "never" or (report == "count" and kind != "blank")
    if permitted:
        assert read(csv).rows[0].report == report
    else:
        with pytest.raises(SchemaError, match=r"^species.csv:2 report: .* is never reported as"):
            read(csv)


HEADER = "kind,code,label,scientific_name,status,common_name\n"

# (text in CSV, what replaces it, place of the refusal, words of the problem and the remedy)
WRONG = {
    "empty": (CSV, "", "species.csv", "is empty", "code,label,scientific_name"),
    "no rows": (CSV, HEADER, "species.csv", "has no rows"),
    "semicolons": (CSV, CSV.replace(",", ";"), ":1 header", "separated by ';'", "use commas"),
    "column": ("common_name", "comon_name", ":1 header", "'comon_name'", "mean 'common_name'?"),
    "column in capitals": ("label", "Label", ":1 header", "'Label'", "mean 'label'?"),
    "column twice": ("common_name", "kind", ":1 header", "'kind' is there twice"),
    "no column": ("kind", "rank", ":1 header", "'kind' is missing", "label, scientific_name, kind"),
    "ragged": ("human,1,person,,,", "human,1,person,,", ":4", "5 cells where the header has 6"),
    "loose comma": ('"Coypu, or nutria"', "Coypu, or nutria", ":5", "7 cells", "with a comma"),
    "open quote": ('nutria"', "nutria", ":5", "not CSV"),
    "loose quote": ('"Coypu, or', '"Coypu"x, or', ":5", "not CSV"),
    "code": ("human,1,", "human,one,", ":4 code", "'one' is not an integer", "0, 1, 2"),
    "code decimal": ("human,1,", "human,1.0,", ":4 code", "'1.0' is not an integer"),
    "code in other digits": ("human,1,", "human,١,", ":4 code", "is not an integer"),
    "code endless": ("human,1,", f"human,{'1' * 50},", ":4 code", "is not an integer"),
    "no code": ("human,1,", "human,,", ":4 code", "is empty", "counted from 0"),
    "negative code": ("human,1,", "human,-1,", ":4 code", "-1 is negative", "start at 0"),
    "code twice": ("human,1,", "human,2,", ":4 code", "2 is taken (lines 2 and 4)", "one is 4"),
    "code retired": (
        *("human,1,", "human,3,", ":5 code", "3 belongs to the retired 'coypu'"),
        *("append-only", "next free one is 4"),
    ),
    "code past width": ("human,1,", "human,99,", ":4 code", "table of 64 codes", "codes = 100"),
    "label": ("person", "", ":4 label", "is empty", "what the model prints"),
    "label twice": ("person", "otter", ":4 label", "'otter' is already on line 2"),
    "label control": ("person", "per\x07son", ":4 label", "printable"),
    "long label": ("person", "p" * 201, ":4 label", "at most 200"),
    "long field": ("person", "p" * 200_000, ":4", "longer than 65536", "a quote left open"),
    "label like a number": ("person", "#9", ":4 label", "'#9' begins with '#'", "another letter"),
    "animal without name": ("Lutra lutra", "", ":2 scientific_name", "an animal needs one"),
    "kind": ("human", "humn", ":4 kind", "'humn' is not animal", "mean 'human'?"),
    "no kind": ("human", "", ":4 kind", "vehicle"),
    "status": ("retired", "gone", ":5 status", "'gone' is not active or retired"),
    "all retired": (
        *(CSV, HEADER + "animal,2,otter,Lutra lutra,retired,\n", "species.csv"),
        "every row of the species table is retired",
    ),
}


@pytest.mark.parametrize(
    ("old", "new", "place", "words"), [(a, b, c, d) for a, b, c, *d in WRONG.values()], ids=WRONG
)
def test_what_is_wrong_is_refused_at_its_place(
    old: str, new: str, place: str, words: list[str]
) -> None:
    assert old in CSV
    with pytest.raises(SchemaError) as refused:
        read(CSV.replace(old, new, 1))
    assert place in refused.value.place
    assert refused.value.place.startswith("species.csv")
    assert refused.value.remedy
    for word in words:
        assert word in str(refused.value)


@pytest.mark.parametrize(
    ("column", "cell", "words"),
    [
        ("sensitivity", "10", "is not nothing, withheld, 1, 0.1, 0.01 or 0.001"),
        ("sensitivity", "0.10", "did you mean '0.1"),
        ("report", "summry", "did you mean 'summary'?"),
        ("added", "1 June 2027", "write it as 2027-06-01"),
        ("added", "2027-02-30", "is not a date"),
        ("added", "20270601", "is not a date"),
    ],
)
def test_a_wrong_cell_of_an_optional_column_is_refused(column: str, cell: str, words: str) -> None:
    csv = f"code,label,scientific_name,kind,{column}\n0,otter,Lutra lutra,animal,{cell}\n"
    with pytest.raises(SchemaError) as refused:
        read(csv)
    assert refused.value.place == f"species.csv:2 {column}"
    assert words in str(refused.value)


def test_a_row_after_a_cell_of_two_lines_keeps_its_line() -> None:
    csv = CSV.replace("Eurasian otter", '"Eurasian\notter"').replace("human,1,", "human,x,")
    with pytest.raises(SchemaError, match=r"^species.csv:2 common_name: .*printable"):
        read(csv)
    with pytest.raises(SchemaError, match=r"^species.csv:5 code: 'x'"):
        read("\n" + CSV.replace("human,1,", "human,x,"))
