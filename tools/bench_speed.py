"""The compiled codec against general-purpose packers, on one message of 12 fields and one list.

Every contender does the same work: Python numbers in, bytes out, and back. Ours checks every
range and every bit of padding. Contenders take turns within each round, so that a busy machine
slows all alike; the figure is the median of the rounds' ratios.
"""

from collections.abc import Callable
from datetime import UTC, datetime
from random import Random
from statistics import median
from timeit import Timer
from typing import Any

from packcodec.codec import PayloadCodec
from packcodec.layout import compile_layout
from packcodec.schema.model import FrameWidths, Integer, ListOf, Message, Schema, SpeciesTable

WIDTHS = (20, 10, 6, 3, 4, 11, 7, 13, 5, 16, 8, 13)
ROW_WIDTHS = (10, 6, 3, 6)
ROWS = 8
ROUNDS, CALLS = 41, 1000

# What must hold, ours against the peer: at most so many times its time.
TARGETS = {
    ("12 fields, encode", "bitstruct C"): 7.5,
    ("12 fields, decode", "bitstruct C"): 3.1,
    ("12 fields, encode", "bitstring"): 1 / 3.3,
    ("12 fields, decode", "bitstring"): 1 / 5,
    ("12 fields, encode", "asn1tools UPER"): 1 / 10,
    ("12 fields, decode", "asn1tools UPER"): 1 / 10,
    ("12 fields, encode", "construct"): 1 / 35,
    ("12 fields, decode", "construct"): 1 / 35,
    ("list of 8, encode", "bitstruct C"): 1.5,
    ("list of 8, decode", "bitstruct C"): 1.35,
}

# A function and its arguments: called directly, as a user would.
Call = tuple[Callable[..., object], tuple[Any, ...]]


def main(arguments: list[str]) -> int:
    """Print the table; 1 if a target is missed."""
    del arguments
    random = Random(12)
    values = tuple(random.randrange(1 << width) for width in WIDTHS)
    rows = [tuple(random.randrange(1 << width) for width in ROW_WIDTHS) for _ in range(ROWS)]
    missed = 0
    for work, contenders in (*twelve(values).items(), *lists(rows).items()):
        missed += report(work, measure(contenders))
    return 1 if missed else 0


def measure(contenders: dict[str, Call]) -> dict[str, list[float]]:
    """Nanoseconds a call, one figure a round, for each contender."""
    timers = {
        name: Timer("f(*a)" if len(a) > 1 else "f(b)", globals={"f": f, "a": a, "b": a[0]})
        for name, (f, a) in contenders.items()
    }
    times: dict[str, list[float]] = {name: [] for name in contenders}
    for _ in range(ROUNDS):
        for name, timer in timers.items():
            times[name].append(timer.timeit(CALLS) / CALLS * 1e9)
    return times


def report(work: str, times: dict[str, list[float]]) -> int:
    """Print one work's lines; how many targets it misses."""
    ours = times["packcodec"]
    print(f"\n{work}: packcodec {median(ours):.0f} ns")
    missed = 0
    for name, theirs in times.items():
        if name == "packcodec":
            continue
        ratio = median(one / other for one, other in zip(ours, theirs, strict=True))
        target = TARGETS.get((work, name))
        held = "" if target is None else f"  to hold: {target:.3f} {verdict(ratio, target)}"
        missed += target is not None and ratio > target
        print(f"  {ratio:7.3f} × {name:<16} {median(theirs):8.0f} ns{held}")
    return missed


def verdict(ratio: float, target: float) -> str:
    return "held" if ratio <= target else "MISSED"


def payload_codec(message: Message) -> PayloadCodec:
    schema = Schema(
        name="bench",
        version=1,
        epoch=datetime(2027, 4, 1, tzinfo=UTC),
        coding="fixed",
        frame=FrameWidths(8, 2, 4, 10, "crc24"),
        messages=(message,),
        species=SpeciesTable((), 0),
    )
    layout = compile_layout(schema)
    return PayloadCodec(layout, layout.messages[0])


def integers(prefix: str, widths: tuple[int, ...]) -> tuple[Integer, ...]:
    return tuple(Integer(f"{prefix}{at}", 0, (1 << w) - 1) for at, w in enumerate(widths))


def twelve(values: tuple[int, ...]) -> dict[str, dict[str, Call]]:
    """A message of 12 integers, 116 bits: who packs and unpacks it."""
    ours = payload_codec(Message("report", 0, integers("f", WIDTHS)))
    payload = ours.pack(*values)
    pack, unpack = ours.pack, ours.unpack
    encode: dict[str, Call] = {"packcodec": (pack, values)}
    decode: dict[str, Call] = {"packcodec": (unpack, (payload,))}
    named = {f"f{at}": value for at, value in enumerate(values)}
    for name, make in PEERS.items():
        try:
            coders = make(named, payload)
        except ImportError as missing:
            print(f"{name} is left out: {missing}")
            continue
        encode[name], decode[name] = coders
    return {"12 fields, encode": encode, "12 fields, decode": decode}


def lists(rows: list[tuple[int, ...]]) -> dict[str, dict[str, Call]]:
    """A count and 8 records of 4 integers, 204 bits; records in and out as tuples."""
    ours = payload_codec(Message("report", 0, (ListOf("rows", integers("g", ROW_WIDTHS), 0, 15),)))
    payload = ours.pack(rows)
    pack, unpack = ours.pack, ours.unpack
    encode: dict[str, Call] = {"packcodec": (pack, (rows,))}
    decode: dict[str, Call] = {"packcodec": (unpack, (payload,))}
    try:
        import bitstruct.c as bitstruct
    except ImportError as missing:
        print(f"bitstruct C is left out: {missing}")
    else:
        one = "".join(f"u{width}" for width in ROW_WIDTHS)
        packer = bitstruct.compile("u4" + one * ROWS)
        size = len(ROW_WIDTHS)
        ends = range(1, 1 + size * ROWS, size)

        def peer_pack(rows: list[tuple[int, ...]]) -> bytes:
            packed: bytes = packer.pack(len(rows), *[value for row in rows for value in row])
            return packed

        def peer_unpack(payload: bytes) -> list[tuple[int, ...]]:
            flat = packer.unpack(payload)
            return [tuple(flat[at : at + size]) for at in ends]

        assert peer_pack(rows) == payload
        assert peer_unpack(payload) == rows
        encode["bitstruct C"] = (peer_pack, (rows,))
        decode["bitstruct C"] = (peer_unpack, (payload,))
    return {"list of 8, encode": encode, "list of 8, decode": decode}


def bitstruct_c(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    import bitstruct.c as bitstruct

    packer = bitstruct.compile("".join(f"u{width}" for width in WIDTHS))
    values = tuple(named.values())
    assert packer.pack(*values) == payload
    return (packer.pack, values), (packer.unpack, (payload,))


def bitstring(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    """Positional values and one format kept, its fastest road."""
    import bitstring

    form = ", ".join(f"uint:{width}" for width in WIDTHS)

    def pack(*values: int) -> bytes:
        packed: bytes = bitstring.pack(form, *values).tobytes()
        return packed

    def unpack(payload: bytes) -> list[Any]:
        return list(bitstring.Bits(payload).unpack(form))

    values = tuple(named.values())
    assert pack(*values) == payload
    return (pack, values), (unpack, (payload,))


def asn1tools_uper(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    import asn1tools

    fields = ", ".join(f"f{at} INTEGER (0..{(1 << w) - 1})" for at, w in enumerate(WIDTHS))
    module = f"M DEFINITIONS AUTOMATIC TAGS ::= BEGIN R ::= SEQUENCE {{ {fields} }} END"
    compiled = asn1tools.compile_string(module, "uper")
    assert compiled.encode("R", named) == payload
    return (compiled.encode, ("R", named)), (compiled.decode, ("R", payload))


def construct_bits(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    import construct

    pad = -sum(WIDTHS) % 8
    fields = [f"f{at}" / construct.BitsInteger(width) for at, width in enumerate(WIDTHS)]
    whole = construct.BitStruct(*fields, construct.Padding(pad))
    assert whole.build(named) == payload
    return (whole.build, (named,)), (whole.parse, (payload,))


def msgspec_msgpack(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    """Bytes, not bits: its message is longer. A ready Struct goes in."""
    del payload
    import msgspec

    kind = msgspec.defstruct("R", [(name, int) for name in named], array_like=True)
    record = kind(**named)
    encoder, decoder = msgspec.msgpack.Encoder(), msgspec.msgpack.Decoder(kind)
    data = encoder.encode(record)
    return (encoder.encode, (record,)), (decoder.decode, (data,))


def protobuf(named: dict[str, int], payload: bytes) -> tuple[Call, Call]:
    """Bytes, not bits. All fields are read after parsing, which is lazy."""
    del payload
    kind = protobuf_message(named)

    def write(named: dict[str, int]) -> bytes:
        data: bytes = kind(**named).SerializeToString()
        return data

    def read(data: bytes) -> list[int]:
        record = kind.FromString(data)
        return [getattr(record, name) for name in named]

    return (write, (named,)), (read, (write(named),))


def protobuf_message(named: dict[str, int]) -> Any:
    from google.protobuf import descriptor_pb2, descriptor_pool, message_factory

    file = descriptor_pb2.FileDescriptorProto(name="bench.proto", syntax="proto3")
    message = file.message_type.add(name="R")
    for number, name in enumerate(named, 1):
        message.field.add(
            name=name,
            number=number,
            type=descriptor_pb2.FieldDescriptorProto.TYPE_UINT32,
            label=descriptor_pb2.FieldDescriptorProto.LABEL_OPTIONAL,
        )
    pool = descriptor_pool.DescriptorPool()
    pool.Add(file)
    return message_factory.GetMessageClass(pool.FindMessageTypeByName("R"))


PEERS: dict[str, Callable[[dict[str, int], bytes], tuple[Call, Call]]] = {
    "bitstruct C": bitstruct_c,
    "bitstring": bitstring,
    "asn1tools UPER": asn1tools_uper,
    "construct": construct_bits,
    "msgspec msgpack": msgspec_msgpack,
    "protobuf": protobuf,
}


if __name__ == "__main__":
    raise SystemExit(main([]))
