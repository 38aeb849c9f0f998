"""Schema → layout: exact widths, order and sizes.

A value of n codes takes ceil(log2 n) bits: 5 codes take 3 bits, 1 code takes none (X.691 11.5.7
for a constrained whole number; the other kinds are brought to one, spec/wire-format.md).
"""

from packcodec.errors import LayoutError
from packcodec.layout.checks import AUTO, CHECKS, PREFERRED, SEALS, Check
from packcodec.layout.identity import identity_of, tag_of
from packcodec.layout.model import (
    Count,
    Group,
    Layout,
    MessageLayout,
    Place,
    Presence,
    RepairLayout,
    Repeat,
    Run,
    Step,
    Value,
    When,
)
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
from packcodec.schema.reader import CARRIED_SEQUENCE_BITS

# The largest burst of any radio link in packcodec/radio; a test holds the two together.
LARGEST_FRAME_BYTES = 340

# A modelled payload is at worst the fixed one after these bits (spec/modelled-coding.md).
PLAIN_BITS = 6


def compile_layout(schema: Schema) -> Layout:
    """Lay out every message of `schema`.

    Raises LayoutError when a message can grow past every link or past the reach of its check.
    """
    frame = schema.frame
    header_bits = frame.tag_bits + frame.message_bits + frame.station_bits + frame.sequence_bits
    bodies = {
        message.name: _group(message.fields, schema, f"message.{message.name}")
        for message in schema.messages
    }
    repair = _repair(schema, bodies)
    extra_bits = dict.fromkeys(bodies, 0)
    if repair is not None:
        extra_bits |= dict.fromkeys(repair.repair.messages, repair.bits)
    if schema.coding == "modelled":
        extra_bits = dict.fromkeys(bodies, PLAIN_BITS)
    most_bits = {
        message.name: _bounded_bits(
            header_bits + extra_bits[message.name] + bodies[message.name].most_bits, message, schema
        )
        for message in schema.messages
    }
    check = _choose_check(schema, most_bits)
    identity = identity_of(schema)
    return Layout(
        schema=schema,
        identity=identity,
        tag=tag_of(identity, frame.tag_bits),
        check=check,
        messages=tuple(
            _message(
                message,
                bodies[message.name],
                header_bits,
                most_bits[message.name],
                check,
                schema.coding == "modelled",
            )
            for message in sorted(schema.messages, key=lambda message: message.code)
        ),
        repair=repair,
    )


def codes_of(field: Field, schema: Schema) -> int:
    """How many different values `field` can have on the air; for a list, how many lengths."""
    match field:
        case Integer():
            return field.high - field.low + 1
        case Scaled():
            return int((field.high - field.low) / field.step) + 1
        case Boolean():
            return 2
        case Flags():
            return 1 << len(field.flags)
        case Enumeration():
            return len(field.values)
        case SpeciesCode():
            return schema.species.capacity
        case Time():
            return field.span_s // field.step_s
        case Duration():
            return int(field.high_s / field.step_s) + 1
        case ListOf():
            return field.most - field.least + 1


def _repair(schema: Schema, bodies: dict[str, Group]) -> RepairLayout | None:
    repair = schema.repair
    if repair is None:
        return None
    longest = max(body.most_bits for body in bodies.values())
    lead_bits = 1 + max(message.code for message in schema.messages).bit_length()
    longest_bytes = -(-(lead_bits + longest) // 8)
    symbol_bytes = repair.symbol_bytes or longest_bytes
    return RepairLayout(
        repair=repair,
        held_bits=repair.window.bit_length(),
        symbol_bytes=symbol_bytes,
        sent_bits=schema.frame.sequence_bits or CARRIED_SEQUENCE_BITS,
        holds_all=symbol_bytes >= longest_bytes,
    )


def _bounded_bits(most_bits: int, message: Message, schema: Schema) -> int:
    """The longest header and payload that a frame may have.

    A modelled list says as many elements as fit, so a message with one is not refused for what it
    could reach, but bounded: by the largest frame, and by the reach of its check.
    """
    shrinks = any(
        isinstance(field, ListOf) and (field.optional or field.least < field.most)
        for field in message.fields
    )
    if schema.coding != "modelled" or not shrinks:
        return most_bits
    check = (
        SEALS.get(schema.frame.seal)
        or CHECKS[PREFERRED[-1] if schema.frame.check == AUTO else schema.frame.check]
    )
    return min(most_bits, check.reach_bits // 8 * 8, 8 * (LARGEST_FRAME_BYTES - check.octets))


def _message(
    message: Message, body: Group, header_bits: int, most_bits: int, check: Check, modelled: bool
) -> MessageLayout:
    least_bits = 0 if modelled else body.least_bits
    least = -(-(header_bits + least_bits) // 8) + check.octets
    most = -(-most_bits // 8) + check.octets
    if most > LARGEST_FRAME_BYTES:
        raise LayoutError(
            f"a frame can reach {most} bytes, and no radio carries more than {LARGEST_FRAME_BYTES}",
            place=f"message.{message.name}",
            remedy="shorten its lists (most = …) or split it into two messages",
        )
    return MessageLayout(message, body, least, most)


def _choose_check(schema: Schema, most_bits: dict[str, int]) -> Check:
    longest = max(most_bits, key=lambda name: most_bits[name])
    data_bits = -(-most_bits[longest] // 8) * 8
    if schema.frame.seal in SEALS:
        return _seal(schema, SEALS[schema.frame.seal])
    wanted = schema.frame.check
    for name in PREFERRED if wanted == AUTO else (wanted,):
        if data_bits <= CHECKS[name].reach_bits:
            return CHECKS[name]
    check = CHECKS[PREFERRED[-1] if wanted == AUTO else wanted]
    longer = [name for name, other in CHECKS.items() if data_bits <= other.reach_bits]
    raise LayoutError(
        f"message {longest} can reach {data_bits} bits, past the {check.reach_bits} bits over "
        f"which {check.name} catches every error of fewer than {check.distance} bits",
        place="frame.check",
        remedy=f"use check = {longer[0]!r} or a shorter message"
        if longer
        else "shorten the message",
    )


def _seal(schema: Schema, seal: Check) -> Check:
    """A cipher works on whole bytes, and the header before it stays readable."""
    frame = schema.frame
    left = -(frame.tag_bits + frame.message_bits + frame.station_bits + frame.sequence_bits) % 8
    if seal.hides and left:
        raise LayoutError(
            f"the header ends {left} bits short of a byte, and what follows it is to be sealed",
            place="frame.sequence_bits",
            remedy=f"use sequence_bits = {frame.sequence_bits + left}",
        )
    return seal


def _group(fields: tuple[Field, ...], schema: Schema, path: str) -> Group:
    places: list[Place] = [
        Presence(field, f"{path}.{field.name}") for field in fields if field.optional
    ]
    steps: list[Step] = []
    for field in fields:
        inner = _field_steps(field, schema, f"{path}.{field.name}")
        if field.optional:
            _flush(places, steps)
            steps.append(When(field, inner))
            continue
        for step in inner:
            if isinstance(step, Run):
                places.extend(step.places)
            else:
                _flush(places, steps)
                steps.append(step)
    _flush(places, steps)
    return Group(fields, tuple(steps), _least(steps), _most(steps))


def _field_steps(field: Field, schema: Schema, path: str) -> tuple[Run | Repeat, ...]:
    codes = codes_of(field, schema)
    width = (codes - 1).bit_length()
    if isinstance(field, ListOf):
        element = _group(field.fields, schema, f"{path}[]")
        return Run((Count(field, path, codes, width),), width), Repeat(field, path, element)
    return (Run((Value(field, path, codes, width),), width),)


def _flush(places: list[Place], steps: list[Step]) -> None:
    if places:
        steps.append(Run(tuple(places), sum(place.width for place in places)))
        places.clear()


def _least(steps: "list[Step] | tuple[Step, ...]") -> int:
    bits = 0
    for step in steps:
        if isinstance(step, Run):
            bits += step.width
        elif isinstance(step, Repeat):
            bits += step.field.least * step.element.least_bits
    return bits


def _most(steps: "list[Step] | tuple[Step, ...] | tuple[Run | Repeat, ...]") -> int:
    bits = 0
    for step in steps:
        match step:
            case Run():
                bits += step.width
            case When():
                bits += _most(step.steps)
            case Repeat():
                bits += step.field.most * step.element.most_bits
    return bits
