"""Bytes that outlast a power cut, and lines of text that say whether they are whole.

A line is its own CRC-32 in hexadecimal, a space, and a JSON object, so that a file of them can be
read with any pager and judged line by line.
"""

import json
import os
import zlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Protocol


class DurableFile(Protocol):
    """Where the bytes live. Every write returns only when the bytes outlast a power cut."""

    def read(self) -> bytes | None:
        """All bytes, or None where there is no file. Raises OSError."""

    def append(self, data: bytes) -> None:
        """Add to the end of a file that is there. A cut may leave any prefix. Raises OSError."""

    def replace(self, data: bytes) -> None:
        """Put `data` in place of everything. A cut leaves the old or the new. Raises OSError."""

    def overwrite(self, offset: int, data: bytes) -> None:
        """Write within the file. A cut may leave a mixture of old and new there. Raises OSError."""


class DiskFile:
    """A :class:`DurableFile` on a POSIX file system."""

    def __init__(self, path: Path) -> None:
        self._path = path

    def __str__(self) -> str:
        return str(self._path)

    def read(self) -> bytes | None:
        try:
            return self._path.read_bytes()
        except FileNotFoundError:
            return None

    def append(self, data: bytes) -> None:
        with _opened(self._path, os.O_WRONLY | os.O_APPEND) as descriptor:
            _write_synced(descriptor, data)

    def replace(self, data: bytes) -> None:
        fresh = self._path.with_name(self._path.name + ".new")
        with _opened(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC) as descriptor:
            _write_synced(descriptor, data)
        os.replace(fresh, self._path)
        # The rename itself lives in the folder, which has a sync of its own.
        with _opened(self._path.parent, os.O_RDONLY) as folder:
            os.fsync(folder)

    def overwrite(self, offset: int, data: bytes) -> None:
        with _opened(self._path, os.O_WRONLY) as descriptor:
            os.lseek(descriptor, offset, os.SEEK_SET)
            _write_synced(descriptor, data)


@contextmanager
def _opened(path: Path, flags: int) -> Iterator[int]:
    descriptor = os.open(path, flags, 0o644)
    try:
        yield descriptor
    finally:
        os.close(descriptor)


def line_of(fields: Mapping[str, Any]) -> bytes:
    """A JSON object as a line with its check."""
    text = json.dumps(fields, separators=(",", ":"), sort_keys=True).encode()
    return b"%08x %s\n" % (zlib.crc32(text), text)


def fields_of(line: bytes) -> dict[str, Any] | None:
    """The object in a line, without its line end; None where the line does not verify."""
    check, _, text = line.partition(b" ")
    if check != b"%08x" % zlib.crc32(text):
        return None
    try:
        fields = json.loads(text)
    except ValueError:
        return None
    return fields if isinstance(fields, dict) else None


def _write_synced(descriptor: int, data: bytes) -> None:
    view = memoryview(data)
    while view:
        view = view[os.write(descriptor, view) :]
    os.fsync(descriptor)
