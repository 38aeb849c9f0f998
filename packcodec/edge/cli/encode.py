"""`packcodec encode`: records → frames."""

import sys
from typing import TextIO

import click

from packcodec.edge.cli.screen import as_json_lines, schema_argument, warn, write_line
from packcodec.edge.files import load
from packcodec.edge.lines import name_of, read_records
from packcodec.errors import EncodeError, LogError, PackcodecError
from packcodec.schema.remedy import counted


@click.command()
@schema_argument
@click.argument("records", type=click.File("r", encoding="utf-8", errors="replace"), default="-")
@as_json_lines
def command(schema: str, records: TextIO, as_json: bool) -> None:
    """Records (JSON Lines, RECORDS or standard input) → frames, one line of hex each.

    A record that cannot be sent is reported on standard error, and the exit is 2. A schema with a
    seal is refused: only a station, which counts its frames, may seal them (packcodec seen).
    """
    codec = load(schema)
    if codec.layout.check.sealed:
        raise EncodeError(
            "only a station seals frames, for no counter may come twice under its key",
            place=schema,
            remedy="use packcodec seen, or packcodec.edge.station",
        )
    refused = 0
    for item in read_records(records, name_of(records)):
        try:
            if isinstance(item, LogError):
                raise item
            place, record = item
            frame = codec.encode(record)
        except EncodeError as error:
            warn(f"packcodec: {place}: {error}")
            refused += 1
        except PackcodecError as error:
            warn(f"packcodec: {error}")
            refused += 1
        else:
            write_line({"frame": frame.hex()} if as_json else frame.hex())
    if refused:
        were = "was" if refused == 1 else "were"
        warn(f"packcodec: {counted(refused, 'record')} {were} not encoded")
        sys.exit(2)
