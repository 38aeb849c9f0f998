"""One frame, part by part: the bits, what they are called and what they mean.

Explains what can be explained: a damaged frame is shown as far as its bits reach, and says where
it goes wrong.
"""

from dataclasses import dataclass

from packcodec.codec.modelled.meter import Meter
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.record import Record, to_json
from packcodec.codec.reference import value_of
from packcodec.errors import DecodeError
from packcodec.frame.codec import Codec
from packcodec.layout.compiler import PLAIN_BITS
from packcodec.layout.model import Count, Group, MessageLayout, Place, Presence, Repeat, Run, When
from packcodec.schema.model import (
    Boolean,
    Duration,
    Field,
    Flags,
    Integer,
    Scaled,
    SpeciesCode,
    Time,
)
from packcodec.schema.remedy import counted
from packcodec.schema.words import duration, range_of


@dataclass(frozen=True, slots=True)
class Part:
    """`bits` as text of 0 and 1 (empty for a value of zero width), and what they say."""

    bits: str
    name: str
    meaning: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """The parts of a frame in the order they are sent; `fault` is empty for a sound frame."""

    parts: tuple[Part, ...]
    fault: str


def explain(
    codec: Codec,
    frame: bytes,
    *,
    station: int | None = None,
    message: str | None = None,
    sequence: int | None = None,
) -> Explanation:
    """Explain `frame`; `station`, `message` and `sequence` are what the carrier says.

    Raises CarrierError when the carrier's part is missing, never for a damaged frame.
    """
    octets = codec.layout.check.octets
    bits = _Bits("".join(f"{byte:08b}" for byte in frame[:-octets]))
    parts: list[Part] = []
    fault = ""
    record = None
    try:
        record = codec.decode(frame, station=station, message=message, sequence=sequence)
        message = record.message
    except DecodeError as error:
        fault = f"{error.reason.name.lower().replace('_', ' ')}: {error.problem}"
    try:
        laid_out = _header(codec, bits, parts, message, sequence)
        if codec.layout.check.hides:
            parts.append(Part(bits.rest(), "payload", "sealed"))
        elif laid_out is not None and codec.schema.coding == "modelled":
            _modelled(codec, laid_out, bits.rest(), record, parts)
        elif laid_out is not None:
            _group(codec, laid_out.body, bits, parts, "")
            parts.append(Part(bits.rest(), "pad", "zero to the end of the byte"))
    except _Short:
        parts.append(Part(bits.rest(), "cut short", "the bits end here"))
    check = "".join(f"{byte:08b}" for byte in frame[-octets:])
    parts.append(Part(check, "check", codec.layout.check.name))
    return Explanation(tuple(part for part in parts if part.bits or part.name != "pad"), fault)


class _Short(Exception):
    pass


class _Bits:
    def __init__(self, text: str) -> None:
        self.text = text
        self.at = 0

    def take(self, width: int) -> str:
        if self.at + width > len(self.text):
            raise _Short
        self.at += width
        return self.text[self.at - width : self.at]

    def rest(self) -> str:
        self.at, at = len(self.text), self.at
        return self.text[at:]


def _header(
    codec: Codec, bits: _Bits, parts: list[Part], message: str | None, carried: int | None
) -> MessageLayout | None:
    frame = codec.schema.frame
    laid_out = {each.message.code: each for each in codec.layout.messages}
    found = next((each for each in codec.layout.messages if each.name == message), None)
    number = carried or 0
    if frame.tag_bits:
        tag = bits.take(frame.tag_bits)
        ours = int(tag, 2) == codec.layout.tag
        parts.append(Part(tag, "tag", codec.schema.name if ours else "of another schema"))
    if frame.message_bits:
        code = bits.take(frame.message_bits)
        found = laid_out.get(int(code, 2))
        parts.append(Part(code, "message", found.name if found else "not in the schema"))
    if frame.station_bits:
        station = bits.take(frame.station_bits)
        names = {number: name for name, number in codec.schema.stations}
        its = int(station, 2)
        parts.append(Part(station, "station", f"{its} {names.get(its, '')}".strip()))
    if frame.sequence_bits:
        sequence = bits.take(frame.sequence_bits)
        number = int(sequence, 2)
        parts.append(Part(sequence, "sequence", str(number)))
    _repair(codec, bits, parts, found, number)
    return found


def _modelled(
    codec: Codec, laid_out: MessageLayout, rest: str, record: Record | None, parts: list[Part]
) -> None:
    """The payload has no bits of its own for a value: what it says, then what each field cost."""
    payload = codec.payloads[laid_out.name]
    if record is None or not isinstance(payload, ModelledPayload):
        parts.append(Part(rest, "payload", "modelled, and cannot be read"))
        return
    x, fixed_bits = payload.fixed.pack_bits(*payload.ordered(record.values))
    said: list[Part] = []
    text = format(x, f"0{fixed_bits}b") if fixed_bits else ""
    _group(codec, laid_out.body, _Bits(text), said, "")
    if rest.startswith("1" * PLAIN_BITS):
        parts.append(Part(rest, "payload", f"plain, for modelled is longer: {fixed_bits} bits"))
        parts.extend(said)
        return
    meter = Meter(payload.walk)
    information = meter.measure(payload.tree(record.values), len(rest))
    parts.append(
        Part(rest, "payload", f"{information:.2f} bits of information, {fixed_bits} if fixed")
    )
    parts.extend(Part("", part.name, part.meaning) for part in said)
    prefix = f"message.{laid_out.name}."
    for path, bits in meter.spent.items():
        if path:
            parts.append(Part("", f"cost of {path.removeprefix(prefix)}", _cost(bits, path, codec)))


def _cost(bits: float, path: str, codec: Codec) -> str:
    models = codec.schema.models
    table = next((each for each in models.tables if each.path == path), None) if models else None
    why = "a general table"
    if models is not None and any(each.path.startswith(f"{path} ") for each in models.tables):
        why = "by what was seen lately"
    if table is not None:
        why = f"by {', '.join(table.contexts)}" if table.contexts else "by a table of its own"
        why = "all alike" if not table.rows else why
    return f"{bits:.2f} bits, {why}"


def _repair(
    codec: Codec, bits: _Bits, parts: list[Part], found: MessageLayout | None, sequence: int
) -> None:
    repair = codec.layout.repair
    if repair is None or codec.layout.check.hides:
        return
    if found is None or not repair.rides(found.name, sequence):
        return
    held = bits.take(repair.held_bits)
    covered = f"covers {counted(int(held, 2), 'earlier frame')}, {repair.repair.stride} apart"
    parts.append(Part(held, "repair held", covered))
    symbol = bits.take(8 * repair.symbol_bytes)
    parts.append(Part(symbol, "repair symbol", f"their sum over GF(256): {int(symbol, 2):x}"))


def _group(codec: Codec, group: Group, bits: _Bits, parts: list[Part], prefix: str) -> None:
    present: dict[str, int] = {}
    for step in group.steps:
        match step:
            case Run():
                for place in step.places:
                    _place(codec, place, bits, parts, prefix, present)
            case When():
                if present[step.field.name]:
                    for inner in step.steps:
                        if isinstance(inner, Run):
                            for place in inner.places:
                                _place(codec, place, bits, parts, prefix, present)
                        else:
                            _repeat(codec, inner, bits, parts, prefix, present)
            case Repeat():
                _repeat(codec, step, bits, parts, prefix, present)


def _repeat(
    codec: Codec,
    step: Repeat,
    bits: _Bits,
    parts: list[Part],
    prefix: str,
    present: dict[str, int],
) -> None:
    for number in range(present[f"{step.field.name}[]"]):
        inner = f"{prefix}{step.field.name}[{number}]."
        _group(codec, step.element, bits, parts, inner)


def _place(
    codec: Codec,
    place: Place,
    bits: _Bits,
    parts: list[Part],
    prefix: str,
    present: dict[str, int],
) -> None:
    text = bits.take(place.width)
    code = int(text or "0", 2)
    name = prefix + place.field.name
    if isinstance(place, Presence):
        present[place.field.name] = code
        parts.append(Part(text, f"{name}?", "given" if code else "absent"))
        return
    if code >= place.codes:
        parts.append(Part(text, name, f"code {code}, but codes run to {place.codes - 1}"))
        raise _Short
    if isinstance(place, Count):
        count = place.field.least + code
        present[f"{place.field.name}[]"] = count
        parts.append(Part(text, name, f"{count} of {range_of(place.field)}"))
        return
    parts.append(Part(text, name, _meaning(codec, place.field, code)))


def _meaning(codec: Codec, field: Field, code: int) -> str:
    value = to_json(value_of(codec.schema, field, code))
    match field:
        case SpeciesCode():
            row = next((row for row in codec.schema.species.rows if row.code == code), None)
            if row is None:
                return f"{value}, a code that this table has no row for"
            return f"{value} ({row.scientific_name})" if row.scientific_name else str(value)
        case Time(beyond="wrap"):
            return f"{value['offset_s']} s into a span of {duration(value['span_s'])}"
        case Boolean():
            return "true" if value else "false"
        case Flags():
            return ", ".join(value) or "none"
        case Integer() | Scaled() | Duration():
            unit = "s" if isinstance(field, Duration) else field.unit
            bound, number = ("", value)
            if isinstance(value, dict):
                [(key, number)] = value.items()
                bound = f"{key.replace('_', ' ')} "
            return f"{bound}{number}{f' {unit}' if unit not in ('', '1') else ''}"
        case _:
            return str(value)
