"""From a message to its payload in C: modelled, or plain where that takes fewer octets.

The size of a message with a tail is tried from the least that may do. Its elements up to near the
end are walked but once: a mark keeps all that is known there, and each try goes on from it.
"""

from collections.abc import Iterator

from packcodec.codec.modelled.coder import SURE_BITS
from packcodec.emit.c_header import INDENT, function
from packcodec.emit.c_say import Say
from packcodec.emit.c_told import Part, Told
from packcodec.layout.model import MessageLayout

# A mark is set where about so many octets are left to say, so that whatever is asked by the room
# lies behind it.
NEAR_OCTETS = -(-(SURE_BITS + 16) // 8)


def sending(told: Told, say: Say, each: MessageLayout) -> Iterator[str]:
    """The functions from a message to its payload."""
    say.part(told.message)
    if told.remembers:
        yield from forget(told)
    yield ""
    yield f"struct {told.name}_said {{"
    yield f"{INDENT}struct coder to;"
    if told.remembers:
        yield f"{INDENT}struct {told.name}_past past;"
    yield "};"
    yield from say.functions
    tag = told.struct.tag
    yield ""
    yield "/* Fixed coding, in the part of the first interval that is left free for it. */"
    yield f"static APART void plain_{told.name}(struct coder *to, const struct {tag} *message)"
    yield "{"
    yield f"{INDENT}to->low = FIRST_RANGE;"
    yield f"{INDENT}to->range = 0u - FIRST_RANGE;"
    yield f"{INDENT}to->shifts = 0;"
    plain = say.plain(each)
    yield from plain
    if "message->" not in "\n".join(plain):
        yield f"{INDENT}(void)message;"
    yield "}"
    if told.tail:
        yield from _head(told)
        yield from _tail(told, told.tail, say)
    yield from _pack(told)


def forget(told: Told) -> Iterator[str]:
    """The function that forgets all that was known of another message."""
    yield ""
    yield from function(
        "Nothing is known of the message yet.",
        f"void forget_{told.name}(struct {told.name}_past *past)",
        list(told.reset()),
    )


def _head(told: Told) -> Iterator[str]:
    name = told.name
    forget = [f"forget_{name}(&w->past);"] if told.remembers else []
    yield ""
    yield from function(
        "Send what stands before the tail.",
        f"void head_{name}(struct {name}_said *w, const struct {told.struct.tag} *message)",
        [
            "begin(&w->to);",
            *forget,
            f"say_{name}(w, message);",
        ],
    )


def _tail(told: Told, tail: Part, say: Say) -> Iterator[str]:
    assert tail.field is not None
    name, least, most = told.name, tail.field.least, tail.field.most
    count = f"message->{told.struct.counts[tail.field.name]}"
    message = f"const struct {told.struct.tag} *message"
    asked = " && ".join(
        ["room < ENDLESS_BITS"] + [f"i >= {least}u"] * (least > 0) + [f"i < {most}u"]
    )
    yield ""
    yield from function(
        "Send the tail up to near its end, as if there were none; the elements sent.",
        f"APART size_t far_{name}(struct {name}_said *w, {message})",
        [
            "size_t i = 0;",
            "",
            f"for (; (w->to.shifts + 1u) * ({count} - i) > {NEAR_OCTETS}u * i; i++) {{",
            f"    {say.called(tail, 'false')}",
            "}",
            "return i;",
        ],
    )
    yield ""
    yield "/* Send the tail from the i-th element on, for so much room; the bits of the string, or"
    yield " * ENDLESS_BITS where the list ends and nothing may say so. */"
    yield f"static size_t tail_{name}(struct {name}_said *w, {message},"
    yield f"{INDENT}size_t i, size_t room)"
    yield "{"
    lines = [
        "for (;; i++) {",
        f"    const bool left = i < {count};",
        "",
        f"    if ({asked}) {{",
        "        const size_t spare = spare_bits(w->to.range, w->to.shifts, room);",
        "",
        "        if (spare < SURE_BITS) {",
        f"            symbol(&w->to, {say.more_row(tail)} + left);",
        "        } else if (!left) {",
        "            return ENDLESS_BITS;",
        "        }",
        "    }",
        "    if (!left) {",
        "        return end_string(&w->to);",
        "    }",
        f"    {say.called(tail, 'false')}",
        "}",
    ]
    yield from (INDENT + line if line else "" for line in lines)
    yield "}"


def _pack(told: Told) -> Iterator[str]:
    """From a message to its payload, modelled or plain, whichever takes fewer octets."""
    name, macro = told.name, told.names.macro
    yield ""
    yield "/* The payload after a header of so many bits; both have room for `limit` octets. */"
    yield f"static enum {told.names.prefix}_result pack_{name}("
    yield f"{INDENT}const struct {told.struct.tag} *message, size_t header, size_t limit,"
    yield f"{INDENT}uint8_t *payload, size_t *bits)"
    yield "{"
    body = _pack_tail(told, macro) if told.tail else _pack_all(told, macro)
    yield from (INDENT + line if line else "" for line in body)
    yield "}"


def _pack_all(told: Told, macro: str) -> list[str]:
    name = told.name
    return [
        f"struct {name}_said w;",
        "size_t plain, most;",
        "",
        f"if (!size_{name}(message, &plain)) {{",
        f"    return {macro}_OUT_OF_RANGE;",
        "}",
        "most = (header + plain + 7u) / 8u;",
        "w.to.octets = payload;",
        "w.to.most = (most < limit ? most : limit) - header / 8u;",
        "begin(&w.to);",
        *([f"forget_{name}(&w.past);"] if told.remembers else []),
        f"say_{name}(&w, message);",
        "*bits = end_string(&w.to);",
        "if (header + *bits > 8u * most) {",
        f"    plain_{name}(&w.to, message);",
        "    *bits = plain;",
        "}",
        "if (header + *bits > 8u * limit) {",
        f"    return {macro}_WRONG_LENGTH;",
        "}",
        "flush(&w.to, (*bits + 7u) / 8u);",
        f"return {macro}_OK;",
    ]


def _pack_tail(told: Told, macro: str) -> list[str]:
    name, past = told.name, told.remembers
    return [
        f"struct {name}_said w;",
        "struct mark mark; /* near the end, from where each size is tried */",
        *([f"struct {name}_past past;"] if past else []),
        "size_t plain, most, string, octets, far;",
        "",
        f"if (!size_{name}(message, &plain)) {{",
        f"    return {macro}_OUT_OF_RANGE;",
        "}",
        "most = (header + plain + 7u) / 8u;",
        "w.to.octets = payload;",
        "w.to.most = (most < limit ? most : limit) - header / 8u;",
        f"head_{name}(&w, message);",
        f"far = far_{name}(&w, message);",
        "leave(&mark, &w.to);",
        *(["past = w.past;"] if past else []),
        f"string = tail_{name}(&w, message, far, ENDLESS_BITS);",
        "octets = (header + string + 7u) / 8u;",
        "if (spare_bits(mark.range, mark.shifts, 8u * octets - header) < SURE_BITS) {",
        "    far = 0; /* the room counts before the mark: from the beginning */",
        "}",
        "for (; octets <= most && octets <= limit; octets++) {",
        "    const size_t room = 8u * octets - header;",
        "",
        "    if (far == 0u) {",
        f"        head_{name}(&w, message);",
        "    } else {",
        "        take_back(&w.to, &mark);",
        *(["        w.past = past;"] if past else []),
        "    }",
        f"    string = tail_{name}(&w, message, far, room);",
        "    if (string <= room) {",
        "        /* The room belongs to what a tail means: its last octet is sent even if zero. */",
        "        *bits = string + 7u < room ? room - 7u : string;",
        "        flush(&w.to, (*bits + 7u) / 8u);",
        f"        return {macro}_OK;",
        "    }",
        "}",
        "if (most > limit) {",
        f"    return {macro}_WRONG_LENGTH;",
        "}",
        f"plain_{name}(&w.to, message);",
        "*bits = plain;",
        "flush(&w.to, (plain + 7u) / 8u);",
        f"return {macro}_OK;",
    ]
