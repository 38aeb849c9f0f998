"""Layout → one MicroPython file, which CPython 3.8 and later take as well.

Values are the whole numbers of `whole`, as in C. Framing takes no heap: codes are put together in
words under 2^30, so that small ports need no big integer, and stored in the caller's bytearray.
Comments stand for docstrings, which small ports would have to hold while they compile.
"""

from collections.abc import Iterator

from packcodec.emit.bits import Item, words
from packcodec.emit.carry import crc_of_identity
from packcodec.emit.micropython_comments import INDENT, meaning
from packcodec.emit.micropython_counted import Counted
from packcodec.emit.micropython_decode import decoder, reader
from packcodec.emit.micropython_encode import TAKEN, Function, add_step, items_of, parts
from packcodec.emit.micropython_modelled import Walks
from packcodec.emit.names import Names
from packcodec.emit.templates import blocks_of
from packcodec.emit.text import broken
from packcodec.layout.model import Layout, MessageLayout, Run
from packcodec.schema.model import Message, Schema

_GIVEN = {"station", "sequence", "ring", "cipher", "first"}


def emit(layout: Layout) -> dict[str, str]:
    """{"<schema>_micro.py": …}."""
    return {f"{layout.schema.name}_micro.py": "\n".join(_file(layout)) + "\n"}


def _file(layout: Layout) -> Iterator[str]:
    schema, blocks = layout.schema, blocks_of("micropython.py.txt")
    epoch = schema.epoch.strftime("%Y-%m-%dT%H:%M:%SZ")
    walks = Walks(layout) if schema.coding == "modelled" else None
    counted = Counted(layout)
    encoders = [
        line for each in layout.messages for line in ("", "", *_frame(layout, each, walks, counted))
    ]
    readers = [line for each in layout.messages for line in reader(each.body, f"_read_{each.name}")]
    yield f"# Schema {schema.name}, version {schema.version}: records to frames and back."
    yield f"# Identity {layout.identity.hex()}"
    yield "# Written from the schema: change that, not this."
    yield "#"
    yield "# frame_…(out, station, sequence, values) writes a frame into a bytearray and gives its"
    yield "# length; decode(frame) gives (message code, station, sequence, values). Values stand in"
    yield "# field order, None for what is absent; quantities are whole numbers in the unit that"
    yield f"# their comment names, times seconds since {epoch}."
    yield from counted.comments()
    yield from _species(schema)
    yield ""
    yield blocks["head"]
    puts = counted.repair is not None or any("_put(" in line for line in encoders)
    if walks is None and puts:
        yield from ("", "", blocks["put"])
    if not counted.sealed:
        yield from ("", "", _check(layout, blocks))
    yield from counted.writing()
    if walks is not None:
        modelled = blocks_of("micropython_modelled.py.txt")
        yield from ("", "", *walks.writing(modelled))
    yield from encoders
    yield from ("", "", blocks["reader"], *readers)
    if walks is not None:
        yield from walks.reading(modelled)
    yield from counted.reading()
    yield from ("", "", *decoder(layout, walks, counted))


def _species(schema: Schema) -> Iterator[str]:
    rows = [f"{row.code} {row.label}" for row in schema.species.rows]
    if rows:
        yield "#"
        yield from (f"# {line.lstrip()}" for line in broken("species: ", rows, ", ", ""))


def _check(layout: Layout, blocks: dict[str, str]) -> str:
    """The function of the check, with its figures in place."""
    check, start = layout.check, crc_of_identity(layout)
    figures = {
        "start": start,
        "octets": check.octets,
        "octet_shift": check.bits - 8,
        "last_octet": check.octets - 1,
        "top": 1 << check.bits,
        "polynomial": 1 << check.bits | check.polynomial,
        "ones": (1 << check.bits) - 1,
        "start_high": start >> 16,
        "start_low": start & 0xFFFF,
        "polynomial_high": check.polynomial >> 16,
        "polynomial_low": check.polynomial & 0xFFFF,
    }
    text = blocks["check in halves" if check.bits == 32 else "check"]
    for name, figure in figures.items():
        text = text.replace(f"@{name}@", str(figure) if figure < 256 else f"0x{figure:X}")
    return text


# ---- Encoding


def _frame(
    layout: Layout, each: MessageLayout, walks: Walks | None, counted: Counted
) -> Iterator[str]:
    """The function that writes the frame of one message."""
    frame, message = layout.schema.frame, each.message
    function = Function(Names(TAKEN | _GIVEN))
    held = {f.name: function.variables.give(f.name) for f in message.fields}
    function.add(1, f"if len(out) < {each.most_frame_bytes}:")
    function.add(2, 'raise Refused(NO_ROOM, "out")')
    if frame.station_bits % 32:
        function.add(1, f"if not 0 <= station < {1 << frame.station_bits}:")
        function.add(2, 'raise Refused(OUT_OF_RANGE, "station")')
    if walks is not None:
        octets = _modelled(layout, each, walks, function)
    elif counted.repair is not None:
        octets = _repaired(layout, each, held, function, counted)
    else:
        octets = _fixed(layout, each, held, function)
    said = "0" if frame.message_bits else str(message.code)
    who = "0" if frame.station_bits else "station"
    check = layout.check.octets
    if counted.sealed:
        of = f"{said}, {who}, station, sequence, cipher"
        function.add(1, f"return _seal(out, {octets}, {of})")
    else:
        function.add(1, f"_check(out, {octets}, {said}, {who}, out, {octets})")
        function.add(1, f"return n + {check}" if octets == "n" else f"return {int(octets) + check}")
    yield from meaning(message.fields, held, 0)
    given = ", ".join(["out", "station", "sequence", "values", *counted.given])
    yield f"def frame_{message.name}({given}):"
    yield from function.lines


def _fixed(layout: Layout, each: MessageLayout, held: dict[str, str], function: Function) -> str:
    """Header and payload of fixed coding; how many octets they are, as an expression."""
    steps = list(each.body.steps)
    function.add(1, *broken("(", [f"{name}," for name in held.values()], " ", ") = values"))
    items = [*_header(layout, each.message)]
    if steps and isinstance(steps[0], Run):
        first = steps.pop(0)
        assert isinstance(first, Run)
        items += items_of(first, held, function, 1)
    if steps:
        function.add(1, f"for n in range({each.most_frame_bytes}):", f"{INDENT}out[n] = 0")
    bits = _put_words(items, function)
    if not steps:
        return str((bits + 7) // 8)
    function.add(1, f"n = {bits}")
    for step in steps:
        add_step(step, held, function, 1)
    function.add(1, "n = (n + 7) >> 3")
    return "n"


def _repaired(
    layout: Layout,
    each: MessageLayout,
    held: dict[str, str],
    function: Function,
    counted: Counted,
) -> str:
    """The same with the repair field between them, in the frames that carry it."""
    function.add(1, *broken("(", [f"{name}," for name in held.values()], " ", ") = values"))
    function.add(1, f"for n in range({each.most_frame_bytes}):", f"{INDENT}out[n] = 0")
    function.add(1, f"n = {_put_words([*_header(layout, each.message)], function)}")
    rides = counted.rides(each.message)
    if rides is not None:
        function.add(1, *[rides] * bool(rides))
        function.add(2 if rides else 1, "n = _put_symbol(out, n, ring, station, sequence)")
    function.add(1, "first = n")
    for step in each.body.steps:
        add_step(step, held, function, 1)
    function.add(1, f"_join(ring, sequence, {each.message.code}, out, first, n)")
    function.add(1, "n = (n + 7) >> 3")
    return "n"


def _modelled(layout: Layout, each: MessageLayout, walks: Walks, function: Function) -> str:
    """Header and modelled payload; how many octets they are, as an expression."""
    bits = _put_words([*_header(layout, each.message)], function)
    most = each.most_frame_bytes - layout.check.octets
    of = f"_plain_{each.name}, _walk_{each.name}, {walks.tail(each.name)}"
    function.add(1, f"n = _payload(out, {bits}, {most}, {of}, values)")
    function.add(1, "if n < 0:", f'{INDENT}raise Refused(NO_ROOM, "values")')
    return "n"


def _put_words(items: list[Item], function: Function) -> int:
    """The lines that store items from the first octet on; their bits."""
    for at, word in enumerate(words(items, 8)):
        function.add(1, *broken(f"out[{at}] = (", parts(word, 8, 8), " | ", ")"))
    return sum(item.width for item in items)


def _header(layout: Layout, message: Message) -> Iterator[Item]:
    """The header's items; the tag in halves, for it may have 32 bits."""
    frame, tag = layout.schema.frame, layout.tag
    low = frame.tag_bits // 2
    for part, width in ((tag >> low, frame.tag_bits - low), (tag & ((1 << low) - 1), low)):
        if width:
            yield Item(str(part), width)
    for text, width in (
        (str(message.code), frame.message_bits),
        ("station", frame.station_bits),
        ("sequence", frame.sequence_bits),
    ):
        if width:
            # The sequence has bits above those that are sent.
            yield Item(text, width, wide=text == "sequence")
