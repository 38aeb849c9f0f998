"""Layout → C99: one header and one source a schema, with no heap, recursion or state.

`c_header` writes the structs, `c_encode` and `c_decode` one function each a message, and this
module the frame around them. templates/c_helpers.c holds the few functions they call.
"""

import re
from collections.abc import Iterator

from packcodec.emit.bits import Item
from packcodec.emit.c_decode import decode, read
from packcodec.emit.c_encode import Scope, encode, store
from packcodec.emit.c_header import INDENT, header
from packcodec.emit.c_modelled import Models
from packcodec.emit.c_types import CNames
from packcodec.emit.carry import crc_of_identity, must_be_open
from packcodec.emit.templates import template
from packcodec.layout.model import Layout, MessageLayout

_BLOCK = re.compile(r"/\*@ (?P<key>.*?) \*/\n(?P<text>.*?)\n(?=/\*@|\Z)", re.DOTALL)


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.h": …, "<schema>.c": …}.

    Raises LayoutError for a layout whose coding, or a field whose range, C here cannot carry.
    """
    must_be_open(layout, "C")
    names = CNames(layout)
    name = layout.schema.name
    return {
        f"{name}.h": "\n".join(header(layout, names)) + "\n",
        f"{name}.c": "\n".join(_source(layout, names)) + "\n",
    }


def _source(layout: Layout, names: CNames) -> Iterator[str]:
    schema, check = layout.schema, layout.check
    mask = (1 << check.bits) - 1
    body = [*_frames(layout, names)]
    models = Models(layout, names) if schema.coding == "modelled" else None
    for each in layout.messages:
        body += ["", *_message(layout, each, names, models)]
    tables = list(models.constants("\n".join(body))) if models else []
    yield f"/* Schema {schema.name}, version {schema.version}. Written from the schema: change"
    yield " * that, not this. */"
    yield f'#include "{schema.name}.h"'
    yield ""
    yield "#include <string.h>"
    yield ""
    yield f"/* {check.name}: unreflected, initial value and final exclusive-or all ones. */"
    yield f"#define CHECK_BITS {check.bits}u"
    yield f"#define CHECK_BYTES {check.octets}u"
    yield f"#define CHECK_MASK 0x{mask:x}u"
    yield f"#define POLYNOMIAL 0x{check.polynomial:x}u"
    yield f"#define CRC_OF_IDENTITY 0x{crc_of_identity(layout):x}u"
    yield ""
    yield f"#define HEADER_BITS {layout.header_bits}u"
    yield f"#define HEADER_BYTES {(layout.header_bits + 7) // 8}u"
    yield "#define LEAST_BYTES (HEADER_BYTES + CHECK_BYTES) /* the shortest frame */"
    yield ""
    text = "\n".join(body)
    yield from _helpers(template("c_helpers.c"), text, names)
    if models:
        yield from _helpers(models.filled(template("c_coder.c")), text, names)
    yield from tables
    yield from body


def _helpers(functions: str, body: str, names: CNames) -> list[str]:
    """Those functions that `body`, or another of them that it needs, calls."""
    text = ""
    blocks = [(found["key"], found["text"]) for found in _BLOCK.finditer(functions)]
    for key, block in reversed(blocks):
        if re.search(rf"(?<!\w){re.escape(key)}", body + text):
            text = f"{block}\n{text}"
    return text.replace("@call@", names.prefix).replace("@macro@", names.macro).split("\n")


def _message(
    layout: Layout, each: MessageLayout, names: CNames, models: Models | None
) -> Iterator[str]:
    """All functions of one message."""
    call, name = names.prefix, each.name
    if models is None:
        yield from encode(each, names, f"enum {call}_result {call}_encode_{name}")
        yield from ("", *read(each, names))
    else:
        yield from read(each, names)
        yield from ("", *models.message(each), "")
        yield f"enum {call}_result {call}_encode_{name}("
        tag, size = names.structs[name].tag, names.payload_bytes[name]
        yield f"{INDENT}const struct {tag} *message, uint8_t *payload, size_t *bits)"
        yield "{"
        yield f"{INDENT}return pack_{name}(message, 0u, {size}, payload, bits);"
        yield "}"
    yield from ("", *decode(layout, each, names))
    yield from ("", *_frame_of(name, names, modelled=models is not None))


def _frames(layout: Layout, names: CNames) -> Iterator[str]:
    yield from _close(layout, names)
    yield ""
    yield from _open(layout, names)


def _close(layout: Layout, names: CNames) -> Iterator[str]:
    """Put the header before a payload that lies at HEADER_BYTES, and the check after it."""
    frame, check = layout.schema.frame, layout.check
    used = layout.header_bits % 8
    scope = Scope(names)
    items = [
        Item(f"0x{layout.tag:x}u", frame.tag_bits),
        Item("message", frame.message_bits),
        Item("station", frame.station_bits),
        Item("sent", frame.sequence_bits),
    ]
    sequence_mask = (1 << frame.sequence_bits) - 1
    if frame.sequence_bits:
        scope.add(1, f"const uint32_t sent = sequence & 0x{sequence_mask:x}u;")
    scope.add(1, "const size_t octets = (HEADER_BITS + bits + 7u) / 8u;")
    if layout.header_bits:
        scope.add(1, "uint32_t word;")
    scope.add(1, "")
    if not frame.sequence_bits:
        scope.add(1, "(void)sequence;")
    if frame.station_bits % 32:
        scope.add(1, f"if (station > {(1 << frame.station_bits) - 1}u) {{")
        scope.add(2, scope.out_of_range)
        scope.add(1, "}")
    store([item for item in items if item.width], "frame", scope, 1)
    if used:
        scope.add(1, "/* The payload begins inside the header's last octet. */")
        scope.add(1, "for (size_t i = HEADER_BYTES; i < HEADER_BYTES + (bits + 7u) / 8u; i++) {")
        scope.add(2, f"frame[i - 1u] = (uint8_t)(frame[i - 1u] | frame[i] >> {used});")
        scope.add(2, f"frame[i] = (uint8_t)(frame[i] << {8 - used});")
        scope.add(1, "}")
    said = "0u" if frame.message_bits else "(uint8_t)message"
    who = "0u" if frame.station_bits else "station"
    word = "word" if layout.header_bits else "const uint32_t word"
    scope.add(1, f"{word} = check({said}, {who}, frame, octets);")
    for at in range(check.octets):
        down = check.bits - 8 * (at + 1)
        shifted = f"word >> {down}" if down else "word"
        scope.add(1, f"frame[octets + {at}u] = (uint8_t)({shifted});")
    scope.add(1, "*length = octets + CHECK_BYTES;")
    scope.add(1, f"return {names.macro}_OK;")
    yield f"static enum {names.prefix}_result close_frame("
    yield f"{INDENT}uint32_t message, uint32_t station, uint32_t sequence, uint8_t *frame,"
    yield f"{INDENT}size_t bits, size_t *length)"
    yield "{"
    yield from scope.lines
    yield "}"


def _open(layout: Layout, names: CNames) -> Iterator[str]:
    frame, call, macro = layout.schema.frame, names.prefix, names.macro
    scope = Scope(names)
    if layout.header_bits:
        scope.add(1, "struct reader from = {frame, 0u, 0u};")
    scope.add(1, "uint32_t sent = 0;", "")
    scope.add(1, f"if (length < LEAST_BYTES || length > {macro}_LARGEST_FRAME_BYTES) {{")
    scope.add(2, f"return {macro}_WRONG_LENGTH;")
    scope.add(1, "}")
    if frame.tag_bits:
        scope.add(1, f"if (take(&from, {frame.tag_bits}u) != 0x{layout.tag:x}u) {{")
        scope.add(2, f"return {macro}_UNKNOWN_TAG;")
        scope.add(1, "}")
    if frame.message_bits:
        scope.add(1, f"header->message = (uint8_t)take(&from, {frame.message_bits}u);")
    elif len(layout.messages) == 1:
        scope.add(1, f"header->message = {names.message_codes[layout.messages[0].name]};")
    if frame.station_bits:
        scope.add(1, f"header->station = take(&from, {frame.station_bits}u);")
    if frame.sequence_bits:
        scope.add(1, f"header->sequence = take(&from, {frame.sequence_bits}u);")
    scope.add(1, "for (size_t i = length - CHECK_BYTES; i < length; i++) {")
    scope.add(2, "sent = sent << 8 | frame[i];")
    scope.add(1, "}")
    said = "0u" if frame.message_bits else "header->message"
    who = "0u" if frame.station_bits else "header->station"
    scope.add(1, f"if (check({said}, {who}, frame, length - CHECK_BYTES) != sent) {{")
    scope.add(2, f"return {macro}_FAILED_CHECK;")
    scope.add(1, "}")
    scope.add(1, "switch (header->message) {")
    for each in layout.messages:
        scope.add(1, f"case {names.message_codes[each.name]}:")
    scope.add(2, f"return {macro}_OK;")
    scope.add(1, "default:")
    scope.add(2, f"return {macro}_UNKNOWN_MESSAGE;")
    scope.add(1, "}")
    yield f"enum {call}_result {call}_open("
    yield f"{INDENT}const uint8_t *frame, size_t length, struct {call}_header *header)"
    yield "{"
    yield from scope.lines
    yield "}"


def _frame_of(name: str, names: CNames, *, modelled: bool) -> Iterator[str]:
    call, macro = names.prefix, names.macro
    encoded = f"{call}_encode_{name}(message, frame + HEADER_BYTES, &bits)"
    if modelled:
        limit = f"{names.frame_bytes[name]} - CHECK_BYTES"
        encoded = f"pack_{name}(message, HEADER_BITS, {limit}, frame + HEADER_BYTES, &bits)"
    yield f"enum {call}_result {call}_frame_{name}("
    yield f"{INDENT}const struct {names.structs[name].tag} *message, uint32_t station,"
    yield f"{INDENT}uint32_t sequence, uint8_t *frame, size_t room, size_t *length)"
    yield "{"
    yield f"{INDENT}enum {call}_result result;"
    yield f"{INDENT}size_t bits;"
    yield ""
    yield f"{INDENT}if (room < {names.frame_bytes[name]}) {{"
    yield f"{INDENT * 2}return {macro}_NO_ROOM;"
    yield f"{INDENT}}}"
    yield f"{INDENT}result = {encoded};"
    yield f"{INDENT}if (result != {macro}_OK) {{"
    yield f"{INDENT * 2}return result;"
    yield f"{INDENT}}}"
    code = names.message_codes[name]
    yield f"{INDENT}return close_frame({code}, station, sequence, frame, bits, length);"
    yield "}"
