"""Schemas from files."""

from pathlib import Path
from typing import TYPE_CHECKING

from packcodec.errors import LayoutError, SchemaError
from packcodec.frame.codec import Codec
from packcodec.layout.compiler import compile_layout
from packcodec.schema.model import Schema
from packcodec.schema.reader import models_file_named, read_schema, species_file_named

if TYPE_CHECKING:
    from packcodec.frame.seal import Keys

# What would be right where a file is not there, and where it cannot be read.
CHECK_NAME = "check the name and the folder"
NAME_READABLE = "name a file that you may read"


def read_schema_file(path: str | Path, *, models: bool = True) -> Schema:
    """The schema in a TOML file, with the species table and models it names, which lie beside it.

    Without `models` that file is not read, and need not be there yet. Raises SchemaError naming
    the file when one cannot be read or is wrong.
    """
    path = Path(path)
    toml = _text(path, "the schema")
    named = species_file_named(toml, str(path))
    species = path.parent / named
    table = _text(species, f"the species table that {path} names") if named else ""
    named = models_file_named(toml, str(path))
    beside = path.parent / named
    called = f"the models file that {path} names"
    tables = _text(beside, called, "packcodec train makes it") if named and models else ""
    return read_schema(
        toml,
        table,
        place=str(path),
        species_place=str(species),
        models_toml=tables,
        models_place=str(beside),
    )


def load(path: str | Path, keys: "Keys | None" = None) -> Codec:
    """The codec of the schema in a TOML file; see `read_schema_file`. `keys` open a seal.

    Raises SchemaError or LayoutError, naming the file, MissingPartError for a seal without its
    package.
    """
    schema = read_schema_file(path)
    try:
        return Codec(compile_layout(schema), keys)
    except LayoutError as error:
        place = f"{path} {error.place}".rstrip()
        raise LayoutError(error.problem, place=place, remedy=error.remedy) from None


def _text(path: Path, what: str, absent: str = CHECK_NAME) -> str:
    try:
        return path.read_text(encoding="utf-8")
    except FileNotFoundError:
        raise SchemaError(f"{what} is not there", place=str(path), remedy=absent) from None
    except OSError as error:
        problem = f"{what} cannot be read: {error.strerror}"
        raise SchemaError(problem, place=str(path), remedy=NAME_READABLE) from None
    except UnicodeDecodeError as error:
        raise SchemaError(
            f"{what} is not UTF-8 text (byte {error.start})",
            place=str(path),
            remedy="save it as UTF-8",
        ) from None
