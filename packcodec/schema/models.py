"""The tables of modelled coding, as plain integers, and the models file that holds them.

The file is TOML, written by `packcodec train`: the species codes that the tables know, and for
each place of a message that has a table of its own, which contexts choose the row and the rows as
hexadecimal, one byte a symbol. What a place, a context and a byte mean is the business of
`packcodec.codec.modelled` (spec/modelled-coding.md); here the file is read and written.
"""

from packcodec.frozen import frozen
from packcodec.schema.table import Document, Table

BEFORE = ("before", "before_2", "before_3")
CONTEXTS = ("hour", "previous", "last", "kin", *BEFORE, "rank", "room")
AROUND = ("none", "centre", "previous", "last", *BEFORE)
MOST_SPECIES = 128
MOST_CENTRE = (1 << 64) - 1


@frozen
class PlaceTable:
    """The table of one place: a row for each combination of `contexts`, a byte for each symbol.

    `around` says what a code is counted from; `centre` is that number, or what stands in for it.
    `kin` gives the class (0 to 3) of each known species, and is empty where no context asks.
    """

    path: str
    rows: tuple[bytes, ...]
    contexts: tuple[str, ...] = ()
    around: str = "none"
    centre: int = 0
    kin: bytes = b""


@frozen
class Models:
    """All tables; `species` are the codes they know, ascending, 128 at most."""

    species: tuple[int, ...]
    tables: tuple[PlaceTable, ...]

    @property
    def size_bytes(self) -> int:
        """Bytes of table a station must hold."""
        return sum(sum(map(len, table.rows)) + len(table.kin) for table in self.tables)


def read_models(toml: str, place: str = "models") -> Models:
    """Read a models file; raises SchemaError naming line and key."""
    root = Document(toml.removeprefix("\ufeff"), place).root()
    root.only(("species", "table"))
    species = _species(root)
    tables: dict[str, PlaceTable] = {}
    for entry in root.tables("table") if "table" in root.values else ():
        table = _place_table(entry, len(species))
        if table.path in tables:
            raise entry.error("path", f"{table.path} is there twice", "give each place one table")
        tables[table.path] = table
    return Models(species, tuple(tables[path] for path in sorted(tables)))


def models_text(models: Models) -> str:
    """The models file of `models`: what `read_models` reads."""
    lines = [f"species = [{', '.join(map(str, models.species))}]"]
    for table in models.tables:
        lines += ["", "[[table]]", f'path = "{table.path}"']
        if table.contexts:
            names = ", ".join(f'"{name}"' for name in table.contexts)
            lines.append(f"contexts = [{names}]")
        if table.around != "none":
            lines.append(f'around = "{table.around}"')
        if table.centre:
            lines.append(f"centre = {table.centre}")
        if table.kin:
            lines.append(f'kin = "{table.kin.hex()}"')
        lines += ["rows = [", *(f'  "{row.hex()}",' for row in table.rows), "]"]
    return "\n".join(lines) + "\n"


def _species(root: Table) -> tuple[int, ...]:
    codes = root.values.get("species", [])
    if (
        not isinstance(codes, list)
        or not all(type(code) is int for code in codes)
        or codes != sorted(set(codes))
        or len(codes) > MOST_SPECIES
    ):
        raise root.error(
            "species", "is not a list of codes", f"give at most {MOST_SPECIES}, ascending"
        )
    return tuple(codes)


def _place_table(entry: Table, species: int) -> PlaceTable:
    entry.only(("path", "contexts", "around", "centre", "kin", "rows"))
    contexts = _texts(entry, "contexts")
    for context in contexts:
        if context not in CONTEXTS:
            raise entry.error("contexts", f"{context!r} is none", f"use {', '.join(CONTEXTS)}")
    kin = _hex(entry, "kin", entry.text("kin", "")) if "kin" in entry.values else b""
    if len(kin) != (species if "kin" in contexts else 0) or any(each > 3 for each in kin):
        raise entry.error(
            "kin", "does not give each species its class", "a byte 00 to 03 for each, with 'kin'"
        )
    return PlaceTable(
        path=entry.text("path"),
        rows=tuple(_hex(entry, "rows", row) for row in _texts(entry, "rows")),
        contexts=contexts,
        around=entry.choice("around", AROUND, "none"),
        centre=entry.integer("centre", 0, MOST_CENTRE, 0),
        kin=kin,
    )


def _texts(entry: Table, key: str) -> tuple[str, ...]:
    value = entry.values.get(key, [])
    if not isinstance(value, list) or not all(isinstance(item, str) for item in value):
        raise entry.error(key, "is not a list of texts", f'write {key} = ["…"]')
    return tuple(value)


def _hex(entry: Table, key: str, text: str) -> bytes:
    try:
        return bytes.fromhex(text)
    except ValueError:
        raise entry.error(
            key, f"{text[:20]!r} is not hexadecimal", "write two digits for each byte"
        ) from None
