"""Other encodings of the same records, for bench_size: what each makes of columns of integers.

A record is a list of columns: the time and what is said once, then one column a field. UPER is
written here from (value, width) pairs; the plain one is as long as the fixed coding of packcodec,
which is held to two outside encoders bit for bit in tests/outside/.
"""

import zlib
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from importlib import import_module
from typing import Any

Columns = list[list[int]]
Encoder = Callable[[Columns], bytes]

# No microcontroller of this kind holds such a dictionary: these rows flatter the compressors.
DICTIONARY_BYTES = 32 << 10


@dataclass(frozen=True, slots=True)
class Peer:
    name: str
    encode: Encoder


def general_peers() -> list[Peer]:
    """Varints, CBOR, MessagePack and protobuf's wire format, where installed."""
    peers = [
        Peer("varints", lambda columns: b"".join(map(varint, flat(columns)))),
        Peer("protobuf columns", protobuf_columns),
    ]
    for name, module, function in (
        ("CBOR flat", "cbor2", "dumps"),
        ("MessagePack flat", "msgpack", "packb"),
    ):
        try:
            dumps = getattr(import_module(module), function)
        except ImportError:
            print(f"not installed, left out: {name} ({module})")
            continue
        peers.append(Peer(name, lambda columns, dumps=dumps: dumps(flat(columns))))  # type: ignore[misc]
    return peers


def flat(columns: Columns) -> list[int]:
    """Row after row, the lengths of columns before those that may differ."""
    lengths = [len(column) for column in columns]
    rows = max(lengths, default=0)
    if all(length in (1, rows) for length in lengths):
        head = [column[0] for column in columns if len(column) == 1 != rows]
        body = [column for column in columns if len(column) == rows]
        return [*head, *(value for row in zip(*body, strict=True) for value in row)]
    return [value for column in columns for value in (len(column), *column)]


def protobuf_columns(columns: Columns) -> bytes:
    """Packed repeated fields, numbered from 1: tag, length, varints (protobuf encoding guide)."""
    out = b""
    for number, column in enumerate(columns, start=1):
        body = b"".join(map(varint, column))
        out += varint(number << 3 | 2) + varint(len(body)) + body
    return out


def zigzag(value: int) -> int:
    """Signed to unsigned, small to small."""
    return 2 * value if value >= 0 else -2 * value - 1


def packed(parts: Iterable[tuple[int, int]]) -> bytes:
    """Values of so many bits each, one after the other, then zeros to a whole byte."""
    x = bits = 0
    for value, width in parts:
        x, bits = x << width | value, bits + width
    return (x << (-bits & 7)).to_bytes(-(-bits // 8))


def varint(value: int) -> bytes:
    out = bytearray()
    while value > 0x7F:
        out.append(value & 0x7F | 0x80)
        value >>= 7
    return bytes([*out, value])


def compressed(peers: Sequence[Peer], samples: Sequence[Columns]) -> list[Peer]:
    """Each peer after deflate and zstd, with dictionaries made of `samples` as it encodes them."""
    found = []
    for peer in peers:
        encoded = [peer.encode(columns) for columns in samples]
        found.append(Peer(f"{peer.name} + deflate", _deflate(peer.encode, encoded)))
        zstd = _zstd(peer.encode, encoded)
        if zstd is not None:
            found.append(Peer(f"{peer.name} + zstd", zstd))
    return found


def _deflate(encode: Encoder, encoded: Sequence[bytes]) -> Encoder:
    dictionary = b"".join(encoded)[-DICTIONARY_BYTES:]

    def with_dictionary(columns: Columns) -> bytes:
        packer = zlib.compressobj(9, zlib.DEFLATED, -15, 9, zlib.Z_DEFAULT_STRATEGY, dictionary)
        return packer.compress(encode(columns)) + packer.flush()

    return with_dictionary


def _zstd(encode: Encoder, encoded: Sequence[bytes]) -> Encoder | None:
    try:
        zstandard: Any = import_module("zstandard")
    except ImportError:
        print("not installed, left out: zstd (zstandard)")
        return None
    try:
        dictionary = zstandard.train_dictionary(DICTIONARY_BYTES, list(encoded), level=19)
    except zstandard.ZstdError:  # too few samples to train on
        return None
    parameters = zstandard.ZstdCompressionParameters.from_level(
        19, format=zstandard.FORMAT_ZSTD1_MAGICLESS, write_dict_id=0, write_content_size=0
    )
    packer = zstandard.ZstdCompressor(dict_data=dictionary, compression_params=parameters)
    return lambda columns: bytes(packer.compress(encode(columns)))


def most_that_fit(size_of: Callable[[int], int], most: int, limit: int) -> int:
    """The largest count, 1 at least, whose size is within the limit: by doubling, then halving."""
    low, high = 1, 2
    while high <= most and size_of(high) <= limit:
        low, high = high, 2 * high
    high = min(high, most + 1)
    while high - low > 1:
        middle = (low + high) // 2
        if size_of(middle) <= limit:
            low = middle
        else:
            high = middle
    return low
