"""From a payload in modelled coding to its message in C.

What is decoded is encoded again and compared, so that each record has one payload.
"""

from collections.abc import Iterator

from packcodec.emit.c_header import INDENT
from packcodec.emit.c_hear import Hear
from packcodec.emit.c_told import Part, Told


def receiving(told: Told, hear: Hear, *, packs: bool) -> Iterator[str]:
    """The functions from a payload to its message; `packs` where there is a function `pack_`."""
    hear.part(told.message)
    name, tag, macro = told.name, told.struct.tag, told.names.macro
    yield ""
    yield f"struct {name}_heard {{"
    yield f"{INDENT}struct source from;"
    if told.remembers:
        yield f"{INDENT}struct {name}_past past;"
    yield "};"
    yield from hear.functions
    if told.tail:
        yield from _tail(told, told.tail, hear)
    yield ""
    yield "/* The message in a payload that begins at that bit; its octets run to `length`. */"
    yield f"static enum {told.names.prefix}_result unpack_{name}("
    yield f"{INDENT}const uint8_t *octets, size_t length, size_t at, struct {tag} *message)"
    yield "{"
    walk = f"hear_{name}(&w, message);"
    if told.tail:
        walk = f"tail_heard_{name}(&w, message, left);"
    again = f"{told.names.prefix}_encode_{name}(message, again, &bits);"
    if packs:
        limit = f"(at + 7u) / 8u + {told.names.payload_bytes[name]}"
        again = f"pack_{name}(message, at, {limit}, again, &bits);"
    body = [
        f"uint8_t again[{told.names.payload_bytes[name]} + 1u];",
        f"struct {name}_heard w;",
        f"enum {told.names.prefix}_result result;",
        "const size_t left = 8u * length - at;",
        "size_t bits;",
        "",
        "begin_reading(&w.from, octets, length, at);",
        "if (left >= PLAIN_BITS && w.from.value >= FIRST_RANGE) {",
        f"{INDENT}struct reader from = {{octets, at + PLAIN_BITS, left - PLAIN_BITS}};",
        "",
        f"{INDENT}result = read_{name}(&from, message);",
        "} else {",
        f"{INDENT}memset(message, 0, sizeof *message);",
        *([f"{INDENT}forget_{name}(&w.past);"] if told.remembers else []),
        f"{INDENT}{walk}",
        f"{INDENT}result = w.from.fault;",
        "}",
        f"if (result == {macro}_OK) {{",
        f"{INDENT}result = {again}",
        f"{INDENT}if (result != {macro}_OK || !is_same(again, bits, octets, length, at)) {{",
        f"{INDENT * 2}result = {macro}_NOT_CANONICAL;",
        f"{INDENT}}}",
        "}",
        "return result;",
    ]
    yield from (INDENT + line if line else "" for line in body)
    yield "}"


def _tail(told: Told, tail: Part, hear: Hear) -> Iterator[str]:
    assert tail.field is not None
    name, least, most = told.name, tail.field.least, tail.field.most
    count = f"message->{told.struct.counts[tail.field.name]}"
    unless = f"i >= {least}u && " if least else ""
    lines = [
        f"hear_{name}(w, message);",
        f"for (size_t i = 0; i < {most}u && w->from.fault == {told.names.macro}_OK; i++) {{",
        "    const size_t spare = get_spare_bits(&w->from, room);",
        "",
        f"    if ({unless}spare < SURE_BITS",
        f"        && get_symbol(&w->from, {hear.more_row(tail)}, 2u) == 0u) {{",
        "        break;",
        "    }",
        f"    {count} = (uint8_t)(i + 1u);",
        f"    {hear.called(tail, 'false')}",
        "}",
    ]
    yield ""
    yield f"static void tail_heard_{name}("
    yield f"{INDENT}struct {name}_heard *w, struct {told.struct.tag} *message, size_t room)"
    yield "{"
    yield from (INDENT + line if line else "" for line in lines)
    yield "}"
