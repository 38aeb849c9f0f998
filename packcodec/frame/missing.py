"""The missing list: a base tells a station which of its frames never came. spec/missing-list.md.

    number (8 bits) | first (12) | more (4) | map, 0 or more bytes | tag (8 bytes)

`first` is the lowest counter that is missing, `more` says how many right after it are missing too,
and then comes a bit for each further counter, 1 where it is missing. The tag is that of the
station's key (`packcodec.frame.seal`); the list itself can be read by anyone, so that it may go
where no cipher is allowed. Only one list of a key may have a number, and a station takes none
whose number is not above that of the last one it took.
"""

from collections.abc import Sequence
from itertools import takewhile
from typing import TYPE_CHECKING

from packcodec.errors import CarrierError, DecodeError, EncodeError, Reason
from packcodec.frame.sequence import COUNTERS
from packcodec.frozen import frozen

if TYPE_CHECKING:
    from packcodec.frame.seal import Key

TAG_BYTES = 8
NUMBER_BITS, FIRST_BITS, MORE_BITS = 8, 12, 4
HEAD_BYTES = (NUMBER_BITS + FIRST_BITS + MORE_BITS) // 8
LEAST_BYTES, MOST_BYTES = HEAD_BYTES + TAG_BYTES, 255
# Numbers that a station tries: lists of eleven years may be lost where one goes each day.
TRIES = 16
# How many of its frames a station keeps to send them again: half the base's replay window.
KEPT_FRAMES = 512


@frozen
class MissingList:
    """A list that was verified: its whole number, and the counters asked for, in order."""

    number: int
    counters: tuple[int, ...]


def reach(sequence_bits: int) -> int:
    """How many of a station's last frames can be sent again.

    A frame further back than half the circle of its sequence would be taken for another; none of
    those whose sequence the carrier says, which would give it a new one.
    """
    return max(0, min(KEPT_FRAMES, (1 << sequence_bits >> 1) - 1))


def encode_list(
    key: "Key", station: int, number: int, missing: Sequence[int], most_bytes: int
) -> tuple[bytes, tuple[int, ...]]:
    """The frame that asks for `missing` (in order, one or more), and those it has room for.

    `most_bytes` is the longest frame that the radio takes to the station, 11 or more. Raises
    EncodeError for a list that cannot be.
    """
    if not 0 <= number < COUNTERS:
        raise EncodeError(f"is {number}", place="number", remedy="make a new key")
    covered = fitting(missing, most_bytes)
    first, more = covered[0], _more(covered)
    start = first + 1 + more
    mapped = covered[1 + more :]
    octets = (mapped[-1] - start) // 8 + 1 if mapped else 0
    bits = sum(1 << (8 * octets - 1 - (each - start)) for each in mapped)
    head = (number & ((1 << NUMBER_BITS) - 1)) << FIRST_BITS | first & ((1 << FIRST_BITS) - 1)
    head = head << MORE_BITS | more
    clear = head.to_bytes(HEAD_BYTES, "big") + bits.to_bytes(octets, "big")
    return clear + key.sign_list(TAG_BYTES, clear, station, number), covered


def fitting(missing: Sequence[int], most_bytes: int) -> tuple[int, ...]:
    """Those of `missing` that a list of `most_bytes` has room for, the lowest always.

    Raises EncodeError as `encode_list`.
    """
    if not LEAST_BYTES <= most_bytes <= MOST_BYTES:
        raise EncodeError(
            f"is {most_bytes} bytes",
            place="limit",
            remedy=f"a list takes {LEAST_BYTES} to {MOST_BYTES}",
        )
    if not missing or list(missing) != sorted(set(missing)) or not 0 <= missing[0] < COUNTERS:
        raise EncodeError(
            "are not counters in order", place="missing", remedy="give one or more, lowest first"
        )
    end = missing[0] + 1 + _more(missing) + 8 * (most_bytes - LEAST_BYTES)
    return tuple(each for each in missing if each < end)


def _more(missing: Sequence[int]) -> int:
    """How many right after the first are missing too, as far as the field goes."""
    there, first = set(missing), missing[0]
    run = range(first + 1, first + (1 << MORE_BITS))
    return sum(1 for _ in takewhile(there.__contains__, run))


def decode_list(
    key: "Key", station: int, frame: bytes, *, after: int | None, following: int
) -> MissingList:
    """The list in `frame`, for the station whose next counter is `following`.

    `after` is the number of the last list that it took, None for none. Raises DecodeError for
    bytes that are no list, not for this station, or one that it has had; CarrierError for no bytes.
    """
    if not isinstance(frame, bytes | bytearray | memoryview):
        raise CarrierError(f"a list is bytes, not {type(frame).__name__}", place="list")
    if not LEAST_BYTES <= len(frame) <= MOST_BYTES:
        raise DecodeError(
            Reason.WRONG_LENGTH,
            f"a list of {len(frame)} bytes",
            remedy=f"it has {LEAST_BYTES} to {MOST_BYTES}",
        )
    clear, tag = bytes(frame[:-TAG_BYTES]), bytes(frame[-TAG_BYTES:])
    least = 0 if after is None else after + 1
    circle = 1 << NUMBER_BITS
    nearest = least + (clear[0] - least) % circle
    for number in range(nearest, min(nearest + TRIES * circle, COUNTERS), circle):
        if key.verifies_list(clear, tag, station, number):
            return MissingList(number, _counters(clear, following))
    raise DecodeError(
        Reason.FAILED_CHECK,
        "not a list for this station, one that it has had, or damaged on the way",
        place="check",
    )


def _counters(clear: bytes, following: int) -> tuple[int, ...]:
    """The counters below `following` that are asked for; none for a first that never was."""
    head = int.from_bytes(clear[:HEAD_BYTES], "big")
    more = head & ((1 << MORE_BITS) - 1)
    sent = head >> MORE_BITS & ((1 << FIRST_BITS) - 1)
    first = following - 1 - (following - 1 - sent) % (1 << FIRST_BITS)
    if first < 0:
        return ()
    start = first + 1 + more
    octets = len(clear) - HEAD_BYTES
    bits = int.from_bytes(clear[HEAD_BYTES:], "big")
    mapped = (start + at for at in range(8 * octets) if bits >> (8 * octets - 1 - at) & 1)
    return tuple(each for each in (*range(first, start), *mapped) if each < following)
