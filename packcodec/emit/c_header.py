"""The header of a schema's C: structs with units and ranges in comments, constants, functions."""

from collections.abc import Iterator

from packcodec.emit.c_types import NO_KEY, RESULTS, CNames, Struct, type_of, unit_comment
from packcodec.emit.text import WIDTH, broken, comment_text
from packcodec.emit.whole import whole
from packcodec.layout.compiler import LARGEST_FRAME_BYTES, PLAIN_BITS
from packcodec.layout.model import Layout, MessageLayout
from packcodec.schema.model import Boolean, Enumeration, Field, Flags, ListOf, Schema
from packcodec.schema.words import range_of

INDENT = "    "


def header(layout: Layout, names: CNames) -> Iterator[str]:
    """The lines of <schema>.h."""
    schema = layout.schema
    guard = f"{names.macro}_H"
    epoch = schema.epoch.strftime("%Y-%m-%dT%H:%M:%SZ")
    yield f"/* Schema {schema.name}, version {schema.version}: records to frames and back, in C99."
    yield " *"
    yield f" * Identity {layout.identity.hex()}"
    yield " * Written from the schema: change that, not this."
    yield " *"
    yield " * Every quantity is a whole number in the unit that its comment names; times are"
    yield f" * seconds since the epoch, {epoch}. A value between"
    yield " * two steps is sent as the nearest, up on a tie. No heap, no recursion, no state."
    yield " *"
    yield f" * A value that cannot be sent is refused. A build with {names.macro}_TRUST_VALUES"
    yield " * leaves out that test, for callers who have made sure: there, a value out of range"
    yield " * spoils others, reads past a table or keeps a function from ending."
    yield " */"
    yield f"#ifndef {guard}"
    yield f"#define {guard}"
    yield ""
    yield "#include <stdbool.h>"
    yield "#include <stddef.h>"
    yield "#include <stdint.h>"
    yield ""
    yield "#ifdef __cplusplus"
    yield 'extern "C" {'
    yield "#endif"
    yield ""
    yield from _results(names, sealed=layout.check.sealed)
    yield from _species(names)
    yield from _guards(layout, names)
    for each in layout.messages:
        yield ""
        yield from _message(each, layout, names)
    yield ""
    yield from _frame(layout, names)
    yield ""
    yield "#ifdef __cplusplus"
    yield "}"
    yield "#endif"
    yield ""
    yield f"#endif /* {guard} */"


_MEANINGS = {
    "OK": "done",
    "WRONG_LENGTH": "too few or too many octets",
    "UNKNOWN_TAG": "a frame of another schema",
    "FAILED_CHECK": "damaged, or of another schema or station",
    "OUT_OF_RANGE": "a value or code that stands for nothing",
    "NONZERO_PAD": "the bits after the last value are not zero",
    "UNKNOWN_MESSAGE": "a message code that is not in the schema",
    "NOT_CANONICAL": "not the one way to say this",
    "NO_ROOM": "the buffer is shorter than the longest frame",
    "NO_KEY": "the cipher has no key of that station",
}


def _results(names: CNames, *, sealed: bool) -> Iterator[str]:
    *results, last = [*RESULTS.items(), *[NO_KEY] * sealed]
    yield f"enum {names.prefix}_result {{"
    for result, number in results:
        yield f"{INDENT}{names.macro}_{result} = {number}, /* {_MEANINGS[result]} */"
    yield f"{INDENT}{names.macro}_{last[0]} = {last[1]} /* {_MEANINGS[last[0]]} */"
    yield "};"


def _species(names: CNames) -> Iterator[str]:
    if not names.species:
        return
    yield ""
    yield "/* Species codes; others may join the table later. */"
    yield f"enum {names.prefix}_species {{"
    for constant, row in names.species:
        comma = "," if row is not names.species[-1][1] else ""
        meaning = comment_text(row.scientific_name or row.label)
        retired = ", retired" if row.retired else ""
        yield f"{INDENT}{constant} = {row.code}{comma} /* {meaning}{retired} */"
    yield "};"


def _message(each: MessageLayout, layout: Layout, names: CNames) -> Iterator[str]:
    message, name, schema = each.message, each.name, layout.schema
    struct = names.structs[name]
    size = names.payload_bytes[name]
    note = f": {comment_text(message.note)}" if message.note else ""
    yield f"/* ---- {name}{note} */"
    yield ""
    yield f"#define {names.message_codes[name]} {message.code}u"
    most_bits = each.body.most_bits + (PLAIN_BITS if schema.coding == "modelled" else 0)
    most = (most_bits + 7) // 8
    if schema.coding == "modelled":
        # Longer ones are refused: no frame carries them.
        most = min(most, each.most_frame_bytes - layout.check.octets - layout.header_bits // 8)
    yield f"#define {size} {max(1, most)}u /* the longest payload */"
    yield f"#define {names.frame_bytes[name]} {each.most_frame_bytes}u /* the longest frame */"
    yield from _constants(message.fields, struct)
    yield ""
    yield f"struct {struct.tag} {{"
    yield from _members(message.fields, struct, schema, f"message.{name}", 1)
    yield "};"
    yield ""
    call, tag = names.prefix, struct.tag
    yield f"/* The payload of a record, {size} octets at most, and its bits. */"
    yield f"enum {call}_result {call}_encode_{name}("
    yield f"{INDENT}const struct {tag} *message, uint8_t *payload, size_t *bits);"
    yield ""
    yield "/* The record in a payload of `length` octets. */"
    yield f"enum {call}_result {call}_decode_{name}("
    yield f"{INDENT}const uint8_t *payload, size_t length, struct {tag} *message);"
    yield ""
    yield "/* The frame of a record: header, payload and check. `sequence` is the whole counter. */"
    yield f"enum {call}_result {call}_frame_{name}("
    yield f"{INDENT}const struct {tag} *message, uint32_t station,"
    yield f"{INDENT}uint32_t sequence,{more_arguments(layout, names)} uint8_t *frame, size_t room,"
    yield f"{INDENT}size_t *length);"
    yield ""
    yield f"/* The record in a frame that {call}_open found to be a {name}. */"
    yield f"enum {call}_result {call}_unframe_{name}("
    header = f" const struct {call}_header *header," if layout.repair else ""
    yield f"{INDENT}const uint8_t *frame, size_t length,{header} struct {tag} *message);"


def _constants(fields: tuple[Field, ...], struct: Struct) -> Iterator[str]:
    for field in fields:
        match field:
            case Flags(flags=flags):
                last = len(flags) - 1
                suffix = "ull" if last >= 32 else "u"
                for at, constant in enumerate(struct.masks[field.name]):
                    yield f"#define {constant} 0x{1 << (last - at):x}{suffix}"
            case Enumeration():
                for code, constant in enumerate(struct.values[field.name]):
                    yield f"#define {constant} {code}u"
            case ListOf():
                yield from _constants(field.fields, struct.elements[field.name])
        number = whole(field)
        if number is None:
            continue
        if field.name in struct.at_most:
            constant = struct.at_most[field.name]
            yield f"#define {constant} {literal(number.low)} /* as decoded: this or less */"
        if field.name in struct.at_least:
            constant = struct.at_least[field.name]
            yield f"#define {constant} {literal(number.high)} /* as decoded: this or more */"


def literal(number: int) -> str:
    """A constant of its value in every expression, the least 64-bit integer too."""
    if number == -(1 << 63):
        return f"(-{(1 << 63) - 1}ll - 1)"
    if number < 0:
        return f"({number}{'ll' if number < -(1 << 31) else ''})"
    return f"{number}u{'ll' if number >= 1 << 32 else ''}"


def _members(
    fields: tuple[Field, ...], struct: Struct, schema: Schema, path: str, depth: int
) -> Iterator[str]:
    indent = INDENT * depth
    for field in fields:
        member, inner = struct.members[field.name], f"{path}.{field.name}"
        if field.optional:
            yield f"{indent}bool {struct.presence[field.name]};"
        if isinstance(field, ListOf):
            element = struct.elements[field.name]
            yield from _commented(f"{indent}uint8_t {struct.counts[field.name]};", field)
            yield f"{indent}struct {element.tag} {{"
            yield from _members(field.fields, element, schema, f"{inner}[]", depth + 1)
            yield f"{indent}}} {member}[{max(field.most, 1)}];"
            continue
        kind = "bool" if isinstance(field, Boolean) else type_of(field, schema, inner).name
        yield from _commented(f"{indent}{kind} {member};", field)


def _commented(line: str, field: Field) -> Iterator[str]:
    """A member with what it holds: beside it where there is room, else above it."""
    meaning = range_of(field)
    if isinstance(field, Flags | Enumeration):
        meaning = ""  # its constants say it
    parts = (unit_comment(field), meaning, field.note)
    text = comment_text("; ".join(part for part in parts if part))
    if not text:
        yield line
        return
    if len(line) + len(text) < WIDTH:
        yield f"{line} /* {text} */"
        return
    indent = line[: len(line) - len(line.lstrip())]
    yield from broken(f"{indent}/* ", text.split(" "), " ", " */")
    yield line


def _frame(layout: Layout, names: CNames) -> Iterator[str]:
    frame, call = layout.schema.frame, names.prefix
    carried = {
        "message": ("uint8_t", frame.message_bits, "its code, one of …_MESSAGE"),
        "station": ("uint32_t", frame.station_bits, ""),
        "sequence": ("uint32_t", frame.sequence_bits, "as many bits of the counter as are sent"),
    }
    if len(layout.messages) == 1:
        carried["message"] = ("uint8_t", 1, "its code")
    yield "/* ---- Frames */"
    yield ""
    yield f"#define {names.macro}_LARGEST_FRAME_BYTES {LARGEST_FRAME_BYTES}u"
    yield ""
    yield f"struct {call}_header {{"
    for name, (kind, bits, meaning) in carried.items():
        said = meaning if bits else "not in the frame: set it to what the carrier says"
        yield f"{INDENT}{kind} {name};{f' /* {said} */' if said else ''}"
    if layout.check.sealed:
        yield f"{INDENT}uint32_t counter; /* the whole of it, as open found it to be */"
    yield "};"
    yield ""
    yield "/* Length, tag, check and message code of a frame; fills the header. Nothing in a frame"
    if layout.check.sealed:
        yield " * may be believed before this says OK. It opens the seal in place; what was heard"
        yield " * before, by its counter, is the caller's to refuse. */"
    else:
        yield " * may be believed before this says OK. */"
    yield f"enum {call}_result {call}_open("
    yield f"{INDENT}{opened_arguments(layout, names)};"


def _guards(layout: Layout, names: CNames) -> Iterator[str]:
    """What a caller brings along for frames that are sealed or repair others."""
    call, repair = names.prefix, layout.repair
    if layout.check.sealed:
        yield from _CIPHER.format(call=call, tag=layout.check.octets).splitlines()
    if repair is not None:
        octets = repair.repair.span * repair.symbol_bytes
        yield from _RING.format(call=call, octets=octets).splitlines()


_CIPHER = """
/* ---- The seal: AES-CCM (NIST SP 800-38C, RFC 3610) under a station's key of 16 octets, the nonce
 * of 13 octets and the tag of {tag}. */

/* Encrypts or decrypts so many octets in place; the tag stands after them. False where there is no
 * key of that station, or where the tag is wrong. */
typedef bool {call}_crypt(
    void *context, uint32_t station, const uint8_t nonce[13], const uint8_t *associated,
    size_t associated_length, uint8_t *octets, size_t length);

struct {call}_cipher {{
    {call}_crypt *seal, *open;
    /* One more than the highest counter heard from a station, 0 before the first. */
    uint32_t (*expected)(void *context, uint32_t station);
    void *context; /* handed to all of them */
}};
"""

_RING = """
struct {call}_header;

/* ---- Repair: the last frames of a station, as its symbols take them. Each of its frames passes
 * one ring, in order; begin with zeros. To go on after a restart, keep the ring before each frame
 * goes. A frame made without one, NULL, covers nothing. */
struct {call}_ring {{
    uint8_t sources[{octets}];
    uint32_t at, held; /* where the next goes, and how many there are */
    uint32_t next; /* the counter that follows them */
}};
"""


def more_arguments(layout: Layout, names: CNames) -> str:
    """What `frame_…` takes beside what it takes in every schema."""
    cipher = f" const struct {names.prefix}_cipher *cipher," if layout.check.sealed else ""
    return cipher + (f" struct {names.prefix}_ring *ring," if layout.repair else "")


def opened_arguments(layout: Layout, names: CNames) -> str:
    """What `open` takes."""
    header = f"struct {names.prefix}_header *header)"
    if not layout.check.sealed:
        return f"const uint8_t *frame, size_t length, {header}"
    return (
        f"uint8_t *frame, size_t length, const struct {names.prefix}_cipher *cipher,\n"
        f"{INDENT}{header}"
    )


def function(comment: str, head: str, lines: list[str]) -> list[str]:
    """A static function under its comment."""
    body = [INDENT + line if line else "" for line in lines]
    return [f"/* {comment} */", f"static {head}", "{", *body, "}"]
