"""`packcodec explain`: one frame, bit by bit."""

import sys

import click

from packcodec.edge.cli.carrier import (
    asked_by_option,
    check_carried,
    message_option,
    station_option,
)
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.errors import LogError
from packcodec.frame.explain import explain
from packcodec.schema.remedy import counted


@click.command()
@schema_argument
@click.argument("frame")
@station_option
@message_option
@as_json
def command(
    schema: str, frame: str, station: int | None, message: str | None, as_json: bool
) -> None:
    """Show one FRAME (hex) bit by bit, with names and meanings. Exit 1 if it does not verify."""
    codec = load(schema)
    check_carried([codec], station, message)
    try:
        data = bytes.fromhex(frame)
    except ValueError:
        raise LogError(
            f"{frame!r} is not hexadecimal",
            place="FRAME",
            remedy="give an even number of digits 0-9 and a-f, spaces between bytes or none",
        ) from None
    with asked_by_option():
        explanation = explain(codec, data, station=station, message=message)
    if as_json:
        document(
            {
                "fault": explanation.fault or None,
                "parts": [
                    {"bits": part.bits, "name": part.name, "meaning": part.meaning}
                    for part in explanation.parts
                ],
            }
        )
    else:
        table(
            ("bits", "name", "meaning"),
            [(_grouped(part.bits), part.name, part.meaning) for part in explanation.parts],
            title=counted(len(data), "byte"),
        )
        say(f"DOES NOT VERIFY: {explanation.fault}" if explanation.fault else "verified")
    sys.exit(1 if explanation.fault else 0)


def _grouped(bits: str) -> str:
    """Bits in fours from the right, as one reads a long number."""
    first = len(bits) % 4
    fours = [bits[at : at + 4] for at in range(first, len(bits), 4)]
    return " ".join(filter(None, [bits[:first], *fours]))
