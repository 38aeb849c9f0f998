"""Frames that went, kept so that they can go again where the base says that they never came.

The same bytes go under the same sequence, so the base knows them for what they are, and a seal's
nonce is used for nothing new. What is asked for and no longer kept is passed over.
"""

from collections.abc import Iterable, Mapping
from typing import Any, Self


class Again:
    """`number` is that of the last list taken, None for none; `frames` are by sequence, the oldest
    first; `asked` are the sequences that wait to go again, in order."""

    def __init__(
        self,
        number: int | None = None,
        frames: Mapping[int, bytes] | None = None,
        asked: Iterable[int] = (),
    ) -> None:
        self.number = number
        self.frames = dict(frames or {})
        self.asked = list(asked)

    def __bool__(self) -> bool:
        return bool(self.frames) or self.number is not None

    def keep(self, sequence: int, frame: bytes) -> None:
        """A frame that went."""
        self.frames[sequence] = frame

    def forget(self, before: int) -> None:
        """Frames of lower sequences can go no more."""
        while self.frames and (oldest := next(iter(self.frames))) < before:
            del self.frames[oldest]
        self.asked = [each for each in self.asked if each in self.frames]

    def take(self, number: int, counters: Iterable[int]) -> None:
        """A list that was verified, in place of the one before."""
        self.number = number
        self.asked = [each for each in counters if each in self.frames]

    def went(self, sequence: int) -> None:
        """It went again."""
        if sequence in self.asked:
            self.asked.remove(sequence)

    def to_json(self) -> dict[str, Any]:
        """As JSON data, frames in hexadecimal; `of_json` takes it back."""
        return {
            "number": self.number,
            "frames": [[sequence, frame.hex()] for sequence, frame in self.frames.items()],
            "asked": self.asked,
        }

    @classmethod
    def of_json(cls, said: Mapping[str, Any]) -> Self:
        """What `to_json` gave."""
        frames = {sequence: bytes.fromhex(frame) for sequence, frame in said["frames"]}
        return cls(said["number"], frames, said["asked"])
