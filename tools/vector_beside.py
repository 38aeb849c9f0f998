"""What stands beside a frame of the test vectors: by the carrier, and at its receiver."""

from dataclasses import dataclass
from typing import Any

from packcodec.frame import reference as frames
from packcodec.frame.seal import Key
from packcodec.layout import Layout

# Stands in every file with keys.
WARNING = (
    "The keys are invented and published: for tests alone. No station may ever have one of them."
)


@dataclass(frozen=True)
class Beside:
    """`key`, in hexadecimal and empty where there is none, and `expected` are those of the station
    that the frame names; the rest counts where the header does not say it.
    """

    message: str
    station: int
    sequence: int
    key: str = ""
    expected: int = 0
    received: str = ""

    def read(self, layout: Layout, frame: bytes) -> frames.Read:
        """What the reference reads; raises DecodeError."""
        return frames.read(
            layout,
            frame,
            station=self.station,
            message=self.message,
            sequence=self.sequence if counted(layout) else None,
            key=key(self.key),
            expected=self.expected,
        )

    def to_json(self, layout: Layout) -> dict[str, Any]:
        """The members that say it, as far as they matter."""
        widths = layout.schema.frame
        carried: dict[str, str | int] = {}
        if not widths.message_bits:
            carried["message"] = self.message
        if not widths.station_bits:
            carried["station"] = self.station
        if not widths.sequence_bits and counted(layout):
            carried["sequence"] = self.sequence
        said: dict[str, Any] = {"carried": carried} if carried else {}
        if self.received:
            said["received"] = self.received
        if layout.check.sealed and self.key:
            said["key"] = self.key
        if layout.check.sealed and self.expected:
            said["expected"] = self.expected
        return said


def counted(layout: Layout) -> bool:
    """Whether a decoder needs the sequence."""
    return layout.check.sealed or layout.repair is not None


def key(secret: str) -> Key | None:
    """The cipher under a key in hexadecimal."""
    return Key(bytes.fromhex(secret)) if secret else None
