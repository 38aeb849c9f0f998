"""One family of errors, with numbered reasons.

Every error says *where* (file, key, row or bit), *what* is wrong and *what would be right*.
Decoding errors carry a :class:`Reason`, whose numbers are the same in every emitted language
(spec/wire-format.md, "Errors").
"""

from enum import IntEnum


class Reason(IntEnum):
    """Why bytes off the air are not a record."""

    WRONG_LENGTH = 1
    UNKNOWN_TAG = 2
    FAILED_CHECK = 3
    OUT_OF_RANGE = 4
    NONZERO_PAD = 5
    UNKNOWN_MESSAGE = 6
    NOT_CANONICAL = 7


class PackcodecError(Exception):
    """Whatever packcodec refuses: where (may be empty), what is wrong, a remedy (may be empty)."""

    def __init__(self, problem: str, *, place: str = "", remedy: str = "") -> None:
        self.problem = problem
        self.place = place
        self.remedy = remedy
        super().__init__(problem, place, remedy)

    def __str__(self) -> str:
        text = f"{self.place}: {self.problem}" if self.place else self.problem
        return f"{text}; {self.remedy}" if self.remedy else text


class SchemaError(PackcodecError):
    """A schema or species table that does not say what may be said."""


class LayoutError(PackcodecError):
    """A schema that is well formed but cannot be laid out: too large, or past its check's reach."""


class EncodeError(PackcodecError):
    """A record that its message cannot carry; `place` is the dotted path of the field."""


class DecodeError(PackcodecError):
    """Bytes that are not a frame of this layout; `reason` says why."""

    def __init__(self, reason: Reason, problem: str, *, place: str = "", remedy: str = "") -> None:
        super().__init__(problem, place=place, remedy=remedy)
        self.reason = reason


class CarrierError(PackcodecError):
    """What the carrier says (station, message, sequence, reception time) is missing or wrong."""


class LogError(PackcodecError):
    """A detection log or a record file that cannot be read; `place` names file and line."""


class RadioError(PackcodecError):
    """A link, rule or transmission that does not exist, does not fit, or is not legal together."""


class StoreError(PackcodecError):
    """A store that cannot be opened, or is none of ours."""


class SourceError(PackcodecError):
    """A source of frames (file, serial line, port, broker) that cannot be used as it was named."""


class KeysError(PackcodecError):
    """A key that is missing, unsafe or wrong; never says what it is."""


class MissingPartError(PackcodecError):
    """An optional part is not installed; the message is the line that installs it."""
