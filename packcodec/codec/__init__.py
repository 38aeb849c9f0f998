"""Record ⇄ payload. `reference` (bitstring) is for the desk and the tests; nothing imports it."""

from packcodec.codec.compiled import PayloadCodec
from packcodec.codec.record import AtLeast, AtMost, PartialTime, Record, Values, to_json

__all__ = ["AtLeast", "AtMost", "PartialTime", "PayloadCodec", "Record", "Values", "to_json"]
