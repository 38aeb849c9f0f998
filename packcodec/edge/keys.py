"""Key files: one a station, for its owner's eyes only, and a folder of them for the base.

    # packcodec key of station 2: keep it secret, and make a new one for a new deployment.
    2 <32 hexadecimal digits>

What is in a key file never appears in an error, a log or a repr.
"""

import os
import secrets
import stat
from collections.abc import Iterable
from pathlib import Path

from packcodec.errors import KeysError
from packcodec.frame.seal import KEY_BYTES, Key, Keys

SUFFIX = ".key"


def new_key(path: Path, station: int) -> None:
    """Make a key of 16 random bytes for a station, in a file that only its owner can read.

    Raises KeysError where the file is there already, or cannot be made.
    """
    text = (
        f"# packcodec key of station {station}: keep it secret, and make a new one for a new "
        f"deployment.\n{station} {secrets.token_hex(KEY_BYTES)}\n"
    )
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
        with os.fdopen(descriptor, "w", encoding="ascii") as file:
            file.write(text)
            file.flush()
            os.fsync(descriptor)
    except FileExistsError:
        raise KeysError(
            "is there already",
            place=str(path),
            remedy="frames sealed with it open with nothing else: name another file",
        ) from None
    except OSError as error:
        raise KeysError(
            f"cannot be made: {error.strerror}",
            place=str(path),
            remedy="name a folder where you may write",
        ) from None


def read_keys(path: str | Path) -> Keys:
    """The keys in a file, or in every `.key` file of a folder, by station.

    Raises KeysError for what cannot be read, is no key, or that others may read.
    """
    path = Path(path)
    keys: dict[int, Key] = {}
    for file in sorted(path.glob(f"*{SUFFIX}")) if path.is_dir() else [path]:
        for station, key in _read(file):
            if station in keys:
                raise KeysError(
                    f"station {station} has a key already",
                    place=str(file),
                    remedy="keep the one that the station has, and put the other elsewhere",
                )
            keys[station] = key
    if not keys:
        raise KeysError("holds no key", place=str(path), remedy="packcodec keys new makes some")
    return keys


def _read(path: Path) -> Iterable[tuple[int, Key]]:
    try:
        with path.open(encoding="ascii") as file:
            mode = stat.S_IMODE(os.fstat(file.fileno()).st_mode)
            lines = file.read().splitlines()
    except UnicodeDecodeError:
        raise KeysError(
            "is no key file", place=str(path), remedy="name one that packcodec keys new made"
        ) from None
    except OSError as error:
        raise KeysError(
            f"cannot be read: {error.strerror}",
            place=str(path),
            remedy="name a key file, or a folder of them, that packcodec keys new made",
        ) from None
    if mode & 0o077:
        raise KeysError(
            f"others may read it (mode {mode:o})", place=str(path), remedy=f"chmod 600 {path}"
        )
    for number, line in enumerate(lines, 1):
        if not line.strip() or line.startswith("#"):
            continue
        station, _, secret = line.partition(" ")
        key = _key(secret)
        if key is None or not station.isdecimal():
            raise KeysError(
                "is no key",
                place=f"{path}:{number}",
                remedy=f"a line is a station's number and {2 * KEY_BYTES} hexadecimal digits",
            )
        yield int(station), key


def _key(text: str) -> Key | None:
    try:
        secret = bytes.fromhex(text)
    except ValueError:
        return None
    return Key(secret) if len(secret) == KEY_BYTES else None
