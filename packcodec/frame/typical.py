"""How long the frames are that trained tables hold likely: what random bits decode to.

A payload spends on each value about -log2 of how likely it is, so payloads of random bits say each
value as often as the tables hold it likely.
"""

from hashlib import shake_128
from statistics import median_high

from packcodec.codec.modelled.coder import Decoder
from packcodec.codec.modelled.payload import ModelledPayload
from packcodec.codec.modelled.tree import bits_of
from packcodec.codec.record import Record
from packcodec.errors import PackcodecError
from packcodec.frame.codec import Codec
from packcodec.frame.fill import frame_bytes

DRAWS = 200
# Beyond the longest frame, so that what is drawn is not cut to what fits.
SPARE_BYTES = 64


def typical_bytes(codec: Codec, message: str) -> int | None:
    """The median frame of a message, header and check included, the same every time.

    None where nobody knows: in fixed coding, by default tables, which are judgement, and for a
    message that is filled to the room there is. How much longer the longest are the tables do not
    say: they take values for independent that a busy hour has together.
    """
    payload = codec.payloads[message]
    models = codec.schema.models
    if not isinstance(payload, ModelledPayload) or models is None or payload.walk.has_tail:
        return None
    if not any(table.path.startswith(f"message.{message}.") for table in models.tables):
        return None
    drawn = (_drawn(codec, message, payload, f"{message} {draw}") for draw in range(DRAWS))
    sizes = [size for size in drawn if size is not None]
    return median_high(sizes) if sizes else None


def _drawn(codec: Codec, message: str, payload: ModelledPayload, seed: str) -> int | None:
    """The size of the frame that says what these bits do; None where they say nothing."""
    octets = payload.message.most_frame_bytes + SPARE_BYTES
    drawn = int.from_bytes(shake_128(seed.encode()).digest(octets))
    try:
        tree = payload.walk.code(Decoder(drawn, 8 * octets), None)
        values = payload.fixed.unpack_bits(*bits_of(payload.message.body, tree))
        return frame_bytes(codec, Record(message, payload.named(values)))
    except PackcodecError:
        return None
