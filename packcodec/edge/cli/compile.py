"""`packcodec compile`: check a schema, show where each bit sits, and on a link what it costs."""

from dataclasses import dataclass
from typing import Any

import click

from packcodec.budget.edges import Edges, edges_within
from packcodec.budget.room import Room, room_of
from packcodec.edge.budget_data import edges_data
from packcodec.edge.budget_text import tell_edges
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table
from packcodec.edge.files import load
from packcodec.edge.own_radio import own_radio, own_rules
from packcodec.errors import RadioError
from packcodec.layout.checks import Check
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.layout.table import BitRow, bit_table
from packcodec.radio.link import Link
from packcodec.radio.links import find_link
from packcodec.radio.rules import known_rules


@dataclass(frozen=True, slots=True)
class _OnLink:
    """The block edges of every message on a link; None for one that has none there."""

    link: Link
    room: Room
    edges: dict[str, Edges | None]


@click.command()
@schema_argument
@click.option("--link", help="Say what is free before the next airtime step there, and what costs.")
@own_rules
@as_json
def command(schema: str, link: str | None, rules: str | None, as_json: bool) -> None:
    """Check SCHEMA and lay it out: every bit, the sizes, the identity."""
    layout = load(schema).layout
    on_link = _on_link(layout, link, rules)
    if as_json:
        document(_data(layout) | _link_data(on_link))
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
    if layout.schema.coding == "modelled":
        say("modelled  no field has bits of its own: what is shown is the fixed payload, the bound")
    for message in layout.messages:
        say()
        table(
            (">first bit", ">bits", "field", "kind", "values"),
            [_row(row) for row in bit_table(message.body)],
            title=_title(layout, message),
        )
        if on_link is not None:
            _tell_on_link(layout, message, on_link)


def _on_link(layout: Layout, name: str | None, rules: str | None) -> _OnLink | None:
    if name is None:
        if rules is not None:
            raise RadioError("means nothing here", place="--rules", remedy="it needs --link")
        return None
    own = own_radio(rules)
    link = find_link(name, own.links)
    room = room_of(link, known_rules(own.rules))
    return _OnLink(
        link,
        room,
        {
            message.name: edges_within(layout, message, link, room.frame_bytes)
            for message in layout.messages
        },
    )


def _tell_on_link(layout: Layout, message: MessageLayout, on_link: _OnLink) -> None:
    edges = on_link.edges[message.name]
    if edges is not None:
        cut = edges.frame_bytes < message.most_frame_bytes
        say(f"on {on_link.link.name}{', with the rows that fit' if cut else ''}:")
        tell_edges(edges)
    elif layout.schema.coding == "modelled":
        say(
            f"on {on_link.link.name}: modelled coding gives no field a width of its own; at worst "
            f"{message.most_frame_bytes} bytes, and {on_link.room.set_by} has room for "
            f"{on_link.room.frame_bytes or 0}"
        )
    else:
        room = on_link.room
        say(f"does not fit the {room.frame_bytes or 0} bytes that {room.set_by} has room for")


def _link_data(on_link: _OnLink | None) -> dict[str, Any]:
    if on_link is None:
        return {}
    edges = (each for each in on_link.edges.values() if each is not None)
    return {
        "link": on_link.link.name,
        "room_bytes": on_link.room.frame_bytes,
        "edges": [edges_data(each) for each in edges],
    }


def _promise(check: Check) -> str:
    if check.sealed:
        hidden = "encrypted and" if check.hides else "not encrypted,"
        return f"{hidden} authenticated with a key; a forgery passes 1 in 2^{check.bits} times"
    return (
        f"catches every error of up to {check.distance - 1} bits in frames of up to "
        f"{check.reach_bits // 8} bytes"
    )


def _title(layout: Layout, message: MessageLayout) -> str:
    body = message.body
    payload = _span(body.least_bits, body.most_bits, "bits of payload")
    if layout.schema.coding == "modelled":
        most_bits = _most_payload_bits(layout, message)
        payload = f"at most {most_bits} bits of payload ({body.most_bits} in fixed coding)"
    frame = _span(message.least_frame_bytes, message.most_frame_bytes, "bytes as a frame")
    return f"{message.name} (code {message.message.code}): {payload}, {frame}"


def _most_payload_bits(layout: Layout, message: MessageLayout) -> int:
    """The worst case: in modelled coding the plain payload, unless a frame cannot reach it."""
    if layout.schema.coding != "modelled":
        return message.body.most_bits
    frame_bits = 8 * (message.most_frame_bytes - layout.check.octets) - layout.header_bits
    return min(message.body.most_bits + PLAIN_BITS, frame_bits)


def _span(least: int, most: int, what: str) -> str:
    return f"{least} {what}" if least == most else f"{least} to {most} {what}"


def _row(row: BitRow) -> tuple[object, ...]:
    name = "  " * row.depth + row.name
    first = "" if row.first_bit is None else row.first_bit
    return first, row.width, name, row.kind, row.meaning


def _data(layout: Layout) -> dict[str, Any]:
    modelled = layout.schema.coding == "modelled"
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
                "least_payload_bits": 0 if modelled else message.body.least_bits,
                "most_payload_bits": _most_payload_bits(layout, message),
                "fixed_most_payload_bits": message.body.most_bits,
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
