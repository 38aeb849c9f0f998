"""`packcodec compile`: check a schema and show where each bit sits."""

from typing import Any

import click

from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.layout.checks import Check
from packcodec.layout.model import Layout, MessageLayout
from packcodec.layout.table import BitRow, bit_table


@click.command()
@schema_argument
@as_json
def command(schema: str, as_json: bool) -> None:
    """Check SCHEMA and lay it out: every bit, the sizes, the identity."""
    layout = load(schema).layout
    if as_json:
        document(_data(layout))
        return
    frame = layout.schema.frame
    check = layout.check
    say(f"{layout.schema.name} version {layout.schema.version}, {layout.schema.coding} coding")
    say(f"identity  {layout.identity.hex()}")
    say(
        f"header    {layout.header_bits} bits: tag {frame.tag_bits} (this one is {layout.tag}), "
        f"message {frame.message_bits}, station {frame.station_bits}, "
        f"sequence {frame.sequence_bits}"
    )
    say(f"check     {check.name}, {check.octets} bytes: {_promise(check)}")
    for message in layout.messages:
        say()
        table(
            (">first bit", ">bits", "field", "kind", "values"),
            [_row(row) for row in bit_table(message.body)],
            title=_title(message),
        )


def _promise(check: Check) -> str:
    if check.sealed:
        hidden = "encrypted and" if check.hides else "not encrypted,"
        return f"{hidden} authenticated with a key; a forgery passes 1 in 2^{check.bits} times"
    return (
        f"catches every error of up to {check.distance - 1} bits in frames of up to "
        f"{check.reach_bits // 8} bytes"
    )


def _title(message: MessageLayout) -> str:
    body = message.body
    payload = _span(body.least_bits, body.most_bits, "bits of payload")
    frame = _span(message.least_frame_bytes, message.most_frame_bytes, "bytes as a frame")
    return f"{message.name} (code {message.message.code}): {payload}, {frame}"


def _span(least: int, most: int, what: str) -> str:
    return f"{least} {what}" if least == most else f"{least} to {most} {what}"


def _row(row: BitRow) -> tuple[object, ...]:
    name = "  " * row.depth + row.name
    first = "" if row.first_bit is None else row.first_bit
    return first, row.width, name, row.kind, row.meaning


def _data(layout: Layout) -> dict[str, Any]:
    return {
        "name": layout.schema.name,
        "version": layout.schema.version,
        "coding": layout.schema.coding,
        "identity": layout.identity.hex(),
        "tag": layout.tag,
        "header_bits": layout.header_bits,
        "check": {
            "name": layout.check.name,
            "bytes": layout.check.octets,
            "polynomial": layout.check.polynomial,
            "distance": layout.check.distance,
            "reach_bits": layout.check.reach_bits,
        },
        "messages": [
            {
                "name": message.name,
                "code": message.message.code,
                "least_payload_bits": message.body.least_bits,
                "most_payload_bits": message.body.most_bits,
                "least_frame_bytes": message.least_frame_bytes,
                "most_frame_bytes": message.most_frame_bytes,
                "fields": [
                    {
                        "field": row.path,
                        "first_bit": row.first_bit,
                        "bits": row.width,
                        "kind": row.kind,
                        "values": row.meaning,
                    }
                    for row in bit_table(message.body)
                ],
            }
            for message in layout.messages
        ],
    }
