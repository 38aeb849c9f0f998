"""Payload ⇄ frame: header, check, sequence arithmetic."""

from packcodec.frame.codec import Codec
from packcodec.frame.sequence import infer_counter, newer
from packcodec.frame.times import resolve

__all__ = ["Codec", "infer_counter", "newer", "resolve"]
