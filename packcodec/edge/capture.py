"""What a receiver hands over, read: lines of hex or base64, and any network server's JSON.

In JSON the places of the bytes, the time, the signal and the device are given as JSON Pointers
(RFC 6901), so that no server is known by name here.
"""

import base64
import binascii
import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal

from packcodec.edge.heard import Heard
from packcodec.edge.lines import BYTE_ORDER_MARK
from packcodec.edge.parts import part
from packcodec.errors import LogError, SourceError

Form = Literal["hex", "base64", "json"]
ABSENT = object()


@dataclass(frozen=True, slots=True)
class Pointers:
    """Where a JSON document says what; all but `frame` may be missing from it.

    `coding` is how the bytes are written; `base` names the receiver, `device` the station, by the
    name that the schema's [stations] gives it or by its number.
    """

    frame: str = "/frame"
    received: str = "/received"
    rssi: str = "/rssi_dbm"
    snr: str = "/snr_db"
    device: str = "/station"
    sequence: str = "/sequence"
    message: str = "/message"
    base: str = "/base"
    coding: Literal["hex", "base64"] = "hex"


class Reader:
    """Texts → frames heard. Raises SourceError for a pointer that is none.

    `base` names the receiver where the text does not; `devices` are stations by name.
    """

    def __init__(
        self,
        base: str,
        form: Form = "hex",
        pointers: Pointers | None = None,
        devices: Mapping[str, int] | None = None,
    ) -> None:
        self.base = base
        self.form = form
        self._devices = devices or {}
        self._pointers = pointers or Pointers()
        self._paths: dict[str, Any] = {}
        if form == "json":
            module = part("jsonpointer", "base")
            for name in Pointers.__slots__:
                pointer = getattr(self._pointers, name)
                if name == "coding":
                    continue
                try:
                    self._paths[name] = module.JsonPointer(pointer)
                except module.JsonPointerException as error:
                    raise SourceError(
                        f"{pointer!r} is no JSON Pointer: {error}",
                        place=name,
                        remedy="write it as /data/payload (RFC 6901)",
                    ) from None

    def read(self, text: str, place: str, now: datetime | None) -> Heard:
        """The frame in one line or document, received `now` where it does not say when.

        Raises LogError, also where nothing says when it was received.
        """
        text = text.removeprefix(BYTE_ORDER_MARK)
        if self.form == "json":
            return self._json(text, place, now)
        words = text.split()
        if len(words) not in (1, 2):
            raise LogError(
                f"{_shown(text)} is not a frame",
                place=place,
                remedy="give the frame, then its time",
            )
        frame = _bytes(words[0], self.form, place)
        received = _time(words[1], place) if len(words) == 2 else now
        return Heard(frame, _known(received, place), self.base)

    def _json(self, text: str, place: str, now: datetime | None) -> Heard:
        try:
            document = json.loads(text)
        except json.JSONDecodeError as error:
            problem = f"not JSON: {error.msg} in line {error.lineno}, column {error.colno}"
            raise LogError(problem, place=place, remedy="give one object a frame") from None
        except (ValueError, RecursionError):
            problem = "not JSON to be read: a number or its brackets go on without an end"
            remedy = "leave out what is neither the frame nor its time"
            raise LogError(problem, place=place, remedy=remedy) from None
        said = {name: path.resolve(document, ABSENT) for name, path in self._paths.items()}
        frame = said["frame"]
        if not isinstance(frame, str):
            raise LogError(
                f"has no text at {self._pointers.frame}",
                place=place,
                remedy="name the place of the frame's bytes as a JSON Pointer",
            )
        received = now if said["received"] is ABSENT else _time(said["received"], place)
        return Heard(
            frame=_bytes(frame, self._pointers.coding, place),
            received=_known(received, place),
            source=said["base"] if isinstance(said["base"], str) else self.base,
            rssi_dbm=_number(said["rssi"]),
            snr_db=_number(said["snr"]),
            station=self._station(said["device"]),
            message=said["message"] if isinstance(said["message"], str) else None,
            sequence=_whole(said["sequence"]),
        )

    def _station(self, device: object) -> int | None:
        if isinstance(device, str):
            known = self._devices.get(device)
            return int(device) if known is None and device.isdecimal() else known
        return _whole(device)


def read_lines(
    lines: Iterable[str], reader: Reader, place: str, first: datetime | None
) -> Iterator[Heard | LogError]:
    """Each line that is not empty as a frame, or as the error that it is.

    Lines that do not say when are a microsecond apart from `first` on, so that the same file read
    again says the same; None refuses them.
    """
    for number, line in enumerate(lines, 1):
        if not line.strip():
            continue
        now = None if first is None else first + timedelta(microseconds=number)
        try:
            yield reader.read(line, f"{place}:{number}", now)
        except LogError as error:
            yield error


def _bytes(text: str, form: str, place: str) -> bytes:
    try:
        if form == "hex":
            return bytes.fromhex(text)
        return base64.b64decode(text, validate=True)
    except (ValueError, binascii.Error):
        raise LogError(
            f"{_shown(text)} is not {form}", place=place, remedy="or name the form it has"
        ) from None


def _time(text: object, place: str) -> datetime:
    try:
        when = datetime.fromisoformat(text) if isinstance(text, str) else None
    except ValueError:
        when = None
    if when is None or when.utcoffset() is None:
        raise LogError(
            f"{_shown(str(text))} is not a reception time",
            place=place,
            remedy="write it as 2027-04-01T06:30:00Z",
        )
    return when


def _known(received: datetime | None, place: str) -> datetime:
    if received is None:
        raise LogError(
            "nothing says when this was received",
            place=place,
            remedy="put the time after the frame, or give --received",
        )
    return received


def _number(value: object) -> float | None:
    return float(value) if isinstance(value, int | float) and value is not True else None


def _whole(value: object) -> int | None:
    return value if type(value) is int else None


def _shown(text: str) -> str:
    return repr(text.strip() if len(text) <= 40 else f"{text[:39]}…")
