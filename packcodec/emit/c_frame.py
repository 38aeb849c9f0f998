"""Frames in C: the header before a payload, what repairs others, and the check or seal after it."""

from collections.abc import Iterator

from packcodec.emit.bits import Item
from packcodec.emit.c_encode import Scope, store
from packcodec.emit.c_header import INDENT, more_arguments, opened_arguments
from packcodec.emit.c_types import CNames
from packcodec.emit.carry import crc_of_identity
from packcodec.emit.text import broken
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.reader import CARRIED_SEQUENCE_BITS


def constants(layout: Layout) -> Iterator[str]:
    """What the functions below and the helpers take from the layout."""
    check = layout.check
    if check.sealed:
        yield f"/* {check.name}: AES-CCM with a nonce of 13 octets, in place of a check. */"
        yield f"#define CHECK_BYTES {check.octets}u"
        octets = [f"0x{octet:02x}" for octet in layout.identity]
        lines = broken(INDENT + "{", octets, ", ", "}")
        yield " \\\n".join(("#define IDENTITY", *lines))
        yield f"#define CIRCLE_BITS {layout.schema.frame.sequence_bits or CARRIED_SEQUENCE_BITS}u"
        yield "/* How many octets stay readable; the rest is hidden. */"
        yield f"#define CLEAR(octets) {'HEADER_BYTES' if check.hides else '(octets)'}"
    else:
        yield f"/* {check.name}: unreflected, initial value and final exclusive-or all ones. */"
        yield f"#define CHECK_BITS {check.bits}u"
        yield f"#define CHECK_BYTES {check.octets}u"
        yield f"#define CHECK_MASK 0x{(1 << check.bits) - 1:x}u"
        yield f"#define POLYNOMIAL 0x{check.polynomial:x}u"
        yield f"#define CRC_OF_IDENTITY 0x{crc_of_identity(layout):x}u"
    yield ""
    yield f"#define HEADER_BITS {layout.header_bits}u"
    yield f"#define HEADER_BYTES {(layout.header_bits + 7) // 8}u"
    yield "#define LEAST_BYTES (HEADER_BYTES + CHECK_BYTES) /* the shortest frame */"
    yield ""
    repair = layout.repair
    if repair is not None:
        lead_bits = 1 + max(each.message.code for each in layout.messages).bit_length()
        every, symbols = repair.repair.every, repair.repair.symbols
        yield "/* Repair: symbols over earlier frames, in some frames of some messages. */"
        yield f"#define SYMBOL_BYTES {repair.symbol_bytes}u"
        yield f"#define WINDOW {repair.repair.window}u"
        yield f"#define STRIDE {repair.repair.stride}u"
        yield f"#define SPAN {repair.repair.span}u"
        yield f"#define HELD_BITS {repair.held_bits}u"
        yield f"#define FIELD_BITS {repair.bits}u"
        yield f"#define SENT_MASK 0x{(1 << repair.sent_bits) - 1:x}u"
        yield f"#define LEAD_BITS {lead_bits}u"
        yield f"#define LEAD 0x{1 << (lead_bits - 1):x}u"
        yield f"#define RIDES(sequence) (((sequence) * {symbols}u & {every - 1}u) < {symbols}u)"
        yield ""


def close_frame(layout: Layout, names: CNames) -> Iterator[str]:
    """Put the header before a payload that lies at the next octet, and the check after it."""
    frame, check = layout.schema.frame, layout.check
    scope = Scope(names)
    items = [
        Item(f"0x{layout.tag:x}u", frame.tag_bits),
        Item("message", frame.message_bits),
        Item("station", frame.station_bits),
        Item("sent", frame.sequence_bits),
    ]
    if frame.sequence_bits:
        scope.add(1, f"const uint32_t sent = sequence & 0x{(1 << frame.sequence_bits) - 1:x}u;")
    front = "front" if layout.repair else "HEADER_BITS"
    scope.add(1, f"const size_t octets = ({front} + bits + 7u) / 8u;")
    if layout.header_bits:
        scope.add(1, "uint32_t word;")
    scope.add(1, "")
    if not (frame.sequence_bits or layout.repair or check.sealed):
        scope.add(1, "(void)sequence;")
    if frame.station_bits % 32:
        scope.add(1, f"if (station > {(1 << frame.station_bits) - 1}u) {{")
        scope.add(2, scope.out_of_range)
        scope.add(1, "}")
    store([item for item in items if item.width], "frame", scope, 1)
    if layout.repair:
        scope.add(1, "if (front > HEADER_BITS) {")
        scope.add(2, "put_symbol(frame, ring, station, sequence);")
        scope.add(1, "}")
        scope.add(1, "join(ring, sequence, message, frame + (front + 7u) / 8u, bits);")
        scope.add(1, "pull(frame, front, bits);")
    elif layout.header_bits % 8:
        used = layout.header_bits % 8
        scope.add(1, "/* The payload begins inside the header's last octet. */")
        scope.add(1, "for (size_t i = HEADER_BYTES; i < HEADER_BYTES + (bits + 7u) / 8u; i++) {")
        scope.add(2, f"frame[i - 1u] = (uint8_t)(frame[i - 1u] | frame[i] >> {used});")
        scope.add(2, f"frame[i] = (uint8_t)(frame[i] << {8 - used});")
        scope.add(1, "}")
    said = "0u" if frame.message_bits else "(uint8_t)message"
    who = "0u" if frame.station_bits else "station"
    if check.sealed:
        scope.add(1, f"if (!crypt(cipher->seal, cipher->context, {said}, {who}, station, sequence,")
        scope.add(3, "frame, octets)) {")
        scope.add(2, f"return {names.macro}_NO_KEY;")
        scope.add(1, "}")
    else:
        word = "word" if layout.header_bits else "const uint32_t word"
        scope.add(1, f"{word} = check({said}, {who}, frame, octets);")
        for at in range(check.octets):
            down = check.bits - 8 * (at + 1)
            shifted = f"word >> {down}" if down else "word"
            scope.add(1, f"frame[octets + {at}u] = (uint8_t)({shifted});")
    scope.add(1, "*length = octets + CHECK_BYTES;")
    scope.add(1, f"return {names.macro}_OK;")
    yield f"static enum {names.prefix}_result close_frame("
    yield f"{INDENT}uint32_t message, uint32_t station, uint32_t sequence,"
    if more_arguments(layout, names):
        yield f"{INDENT * 1}{more_arguments(layout, names).strip()}"
    yield f"{INDENT}{'size_t front, ' if layout.repair else ''}uint8_t *frame, size_t bits,"
    yield f"{INDENT}size_t *length)"
    yield "{"
    yield from scope.lines
    yield "}"


def open_frame(layout: Layout, names: CNames) -> Iterator[str]:
    """Lines that test a frame's length and check, open its seal and read its header."""
    frame, call, macro = layout.schema.frame, names.prefix, names.macro
    sealed = layout.check.sealed
    scope = Scope(names)
    if layout.header_bits:
        scope.add(1, "struct reader from = {frame, 0u, 0u};")
    if not sealed:
        scope.add(1, "uint32_t sent = 0;")
    scope.add(1, "", f"if (length < LEAST_BYTES || length > {macro}_LARGEST_FRAME_BYTES) {{")
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
    said = "0u" if frame.message_bits else "header->message"
    who = "0u" if frame.station_bits else "header->station"
    if sealed:
        scope.add(1, "header->counter = whole_counter(")
        scope.add(2, "header->sequence, cipher->expected(cipher->context, header->station));")
        scope.add(1, f"if (!crypt(cipher->open, cipher->context, {said}, {who}, header->station,")
        scope.add(3, "header->counter, frame, length - CHECK_BYTES)) {")
    else:
        scope.add(1, "for (size_t i = length - CHECK_BYTES; i < length; i++) {")
        scope.add(2, "sent = sent << 8 | frame[i];")
        scope.add(1, "}")
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
    yield f"{INDENT}{opened_arguments(layout, names)}"
    yield "{"
    yield from scope.lines
    yield "}"


def frame_of(layout: Layout, each: MessageLayout, names: CNames, *, packs: bool) -> Iterator[str]:
    """The function from a message to its frame; `packs` where there is a function `pack_`."""
    call, macro, name = names.prefix, names.macro, each.name
    repair = layout.repair
    payload = "frame + HEADER_BYTES"
    if repair is not None:
        payload = "frame + (front + 7u) / 8u"
    encoded = f"{call}_encode_{name}(message, {payload}, &bits)"
    if packs:
        limit = f"{names.frame_bytes[name]} - CHECK_BYTES"
        encoded = f"pack_{name}(message, HEADER_BITS, {limit}, {payload}, &bits)"
    yield f"enum {call}_result {call}_frame_{name}("
    yield f"{INDENT}const struct {names.structs[name].tag} *message, uint32_t station,"
    yield f"{INDENT}uint32_t sequence,{more_arguments(layout, names)} uint8_t *frame, size_t room,"
    yield f"{INDENT}size_t *length)"
    yield "{"
    if repair is not None:
        rides = " + (RIDES(sequence) ? FIELD_BITS : 0u)" if name in repair.repair.messages else ""
        yield f"{INDENT}const size_t front = HEADER_BITS{rides};"
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
    more = ("cipher, " if layout.check.sealed else "") + ("ring, front, " if repair else "")
    code = names.message_codes[name]
    yield f"{INDENT}return close_frame("
    yield f"{INDENT * 2}{code}, station, sequence, {more}frame, bits, length);"
    yield "}"
