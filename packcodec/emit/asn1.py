"""Layout → an ASN.1 module (X.680) whose unaligned PER (X.691) is our fixed coding, bit for bit.

One SEQUENCE type a message. Kinds that ASN.1 does not know (scaled, duration, time, species) are
the INTEGER code that is sent, with a comment that says how to read it. ASN.1's reserved words are
in capitals, and names of a schema are lower-case words, so that no name can be one.
"""

from collections.abc import Iterator

from packcodec.errors import LayoutError
from packcodec.layout.compiler import codes_of
from packcodec.layout.model import Layout
from packcodec.schema.model import (
    Boolean,
    Duration,
    Enumeration,
    Field,
    Flags,
    Integer,
    ListOf,
    Message,
    Scaled,
    Schema,
    SpeciesCode,
    Time,
)
from packcodec.schema.remedy import decimal

INDENT = "    "


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>.asn1": the module}. Raises LayoutError where the coding is not fixed."""
    schema = layout.schema
    if schema.coding != "fixed":
        raise LayoutError(
            f"the payloads of {schema.name} are {schema.coding}, which ASN.1 cannot say",
            place="schema.coding",
            remedy='only coding = "fixed" has an ASN.1 module',
        )
    lines = [
        f"-- The payloads of schema {schema.name}, version {schema.version}, for unaligned PER.",
        f"-- Identity {layout.identity.hex()}",
        "-- Written from the schema: change that, not this.",
        f"{type_name(schema.name)} DEFINITIONS AUTOMATIC TAGS ::= BEGIN",
    ]
    for each in layout.messages:
        lines += ["", *_message(each.message, schema)]
    lines += ["", "END", ""]
    return {f"{schema.name}.asn1": "\n".join(lines)}


def identifier(name: str) -> str:
    """A name of the schema as ASN.1 writes one: words joined by hyphens."""
    return name.replace("_", "-")


def type_name(name: str) -> str:
    """The same as a type or module, which begin with a capital."""
    return identifier(name[0].upper() + name[1:])


def _message(message: Message, schema: Schema) -> Iterator[str]:
    yield from _comment(f"message code {message.code}", message.note, depth=0)
    yield f"{type_name(message.name)} ::= SEQUENCE {{"
    yield from _fields(message.fields, schema, 1)
    yield "}"


def _fields(fields: tuple[Field, ...], schema: Schema, depth: int) -> Iterator[str]:
    for field in fields:
        comma = "" if field is fields[-1] else ","
        optional = " OPTIONAL" if field.optional else ""
        yield from _comment(*_meaning(field, schema), field.note, depth=depth)
        start = f"{INDENT * depth}{identifier(field.name)} "
        if isinstance(field, ListOf):
            yield f"{start}SEQUENCE (SIZE ({field.least}..{field.most})) OF SEQUENCE {{"
            yield from _fields(field.fields, schema, depth + 1)
            yield f"{INDENT * depth}}}{optional}{comma}"
        else:
            yield f"{start}{_type(field, schema)}{optional}{comma}"


def _type(field: Field, schema: Schema) -> str:
    match field:
        case Integer():
            return f"INTEGER ({field.low}..{field.high})"
        case Boolean():
            return "BOOLEAN"
        case Flags(flags=names):
            return f"BIT STRING {{ {_numbered(names)} }} (SIZE ({len(names)}))"
        case Enumeration(values=names):
            return f"ENUMERATED {{ {_numbered(names)} }}"
        case _:
            return f"INTEGER (0..{codes_of(field, schema) - 1})"


def _numbered(names: tuple[str, ...]) -> str:
    return ", ".join(f"{identifier(name)}({number})" for number, name in enumerate(names))


def _meaning(field: Field, schema: Schema) -> Iterator[str]:
    match field:
        case Integer():
            yield field.unit
        case Scaled():
            yield f"{decimal(field.low)} + code x {decimal(field.step)} {field.unit}"
        case Duration():
            yield f"code x {decimal(field.step_s)} s"
        case Time():
            epoch = schema.epoch.isoformat().replace("+00:00", "Z")
            modulo = f", modulo {field.span_s} s" if field.beyond == "wrap" else ""
            yield f"{epoch} + code x {field.step_s} s{modulo}"
        case SpeciesCode():
            yield "code of the species code table"
    if isinstance(field, Integer | Scaled) and field.clamp_below:
        yield "the least: or less"
    if isinstance(field, Integer | Scaled | Duration) and field.clamp_above:
        yield "the greatest: or more"


def _comment(*parts: str, depth: int) -> Iterator[str]:
    """One comment line of the parts that say something; two hyphens in a row would end it."""
    text = "; ".join(part.strip() for part in parts if part.strip())
    while "--" in text:
        text = text.replace("--", "- -")
    if text:
        yield f"{INDENT * depth}-- {text}"
