"""`packcodec keys`: the keys of sealed schemas."""

from pathlib import Path

import click

from packcodec.edge.cli.screen import say, schema_argument
from packcodec.edge.files import read_schema_file
from packcodec.edge.keys import SUFFIX, new_key
from packcodec.edge.logs import station_number
from packcodec.errors import KeysError


@click.group()
def command() -> None:
    """Make the keys that stations seal their frames with."""


@command.command()
@schema_argument
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.option("--station", "stations", multiple=True, help="Only this one; may be repeated.")
def new(schema: str, folder: Path, stations: tuple[str, ...]) -> None:
    """A new key file in FOLDER for each station that SCHEMA names.

    Give each station its own file and the base the folder, on a way nobody listens to. Files that
    are there are left alone, and a key is never shown. A new deployment takes new keys.
    """
    known = read_schema_file(schema)
    named = dict(known.stations)
    if stations:
        names = {number: name for name, number in known.stations}
        chosen = [station_number(each, known, "--station") for each in stations]
        named = {names.get(number, str(number)): number for number in chosen}
    if not named:
        raise KeysError("the schema names no stations", place=schema, remedy="use --station NUMBER")
    _make(folder)
    for name, number in named.items():
        path = folder / f"{_plain(name)}{SUFFIX}"
        new_key(path, number)
        say(f"{path}: station {number}")


def _make(folder: Path) -> None:
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise KeysError(
            f"cannot be made: {error.strerror}",
            place=str(folder),
            remedy="name a folder where you may write",
        ) from None


def _plain(name: str) -> str:
    """A station's name, which may be any text, as a file name."""
    return "".join(letter if letter.isalnum() or letter in "-_" else "_" for letter in name)
