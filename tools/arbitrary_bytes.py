"""Arbitrary bytes through decode: each gives a record or a DecodeError, and nothing else.

    python tools/arbitrary_bytes.py [--count 10000000] [--seed 1] [SCHEMA]

A random string passes the check once in millions, so every second one is given the right tag and
check: then the payload readers see arbitrary bytes too. A record must encode to the same frame
again. Prints how many strings gave what.
"""

import argparse
from collections import Counter
from pathlib import Path
from random import Random

import packcodec
from packcodec.errors import DecodeError
from packcodec.frame import Codec

DEMO = Path(packcodec.__file__).parent / "edge" / "demo_data" / "schema.toml"
STATION = 3


def decode_arbitrary(codec: Codec, count: int, seed: int) -> Counter[str]:
    """How many of `count` strings were a record, or were refused for which reason.

    Raises whatever decode raises that is not a DecodeError, and AssertionError for a record that
    encodes to another frame than it came from.
    """
    random, outcomes = Random(seed), Counter[str]()
    longest = max(message.most_frame_bytes for message in codec.layout.messages)
    message = codec.schema.messages[0].name
    for number in range(count):
        frame = random.randbytes(random.randrange(longest + 3))
        if number % 2:
            frame = mended(codec, frame)
        try:
            record = codec.decode(frame, station=STATION, message=message, sequence=0)
        except DecodeError as error:
            outcomes[error.reason.name] += 1
        else:
            assert codec.encode(record) == frame, frame.hex()
            outcomes["a record"] += 1
    return outcomes


def mended(codec: Codec, frame: bytes) -> bytes:
    """`frame` with the layout's tag and the right check, where it is long enough for them."""
    frame_widths, octets = codec.schema.frame, codec.layout.check.octets
    data = frame[:-octets]
    if 8 * len(data) < codec.layout.header_bits:
        return frame
    rest = 8 * len(data) - frame_widths.tag_bits
    number = codec.layout.tag << rest | int.from_bytes(data, "big") & ((1 << rest) - 1)
    data = number.to_bytes(len(data), "big")
    return data + codec.check(data, codec.schema.messages[0].code, STATION).to_bytes(octets, "big")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("schema", nargs="?", default=DEMO, type=Path)
    parser.add_argument("--count", type=int, default=10_000_000)
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    outcomes = decode_arbitrary(packcodec.load(arguments.schema), arguments.count, arguments.seed)
    for outcome, count in outcomes.most_common():
        print(f"{count:>12,}  {outcome}")


if __name__ == "__main__":
    main()
