"""Payload ⇄ frame: header, check, sequence arithmetic."""

from packcodec.frame.codec import Codec, resolve
from packcodec.frame.sequence import infer_counter, newer

__all__ = ["Codec", "infer_counter", "newer", "resolve"]
