"""What a power cut leaves of each write, by every order in which the card may have done its part.

The system calls are recorded. What was written and not synced may be there, in part or not at all,
each on its own; a rename that was not synced may have happened or not.
"""

import os
from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path
from types import SimpleNamespace

import pytest

from packcodec.edge import disk
from packcodec.edge.disk import DiskFile, fields_of, line_of

OLD, NEW = b"old bytes", b"new"


class Calls:
    """`os`, recorded. Whole calls go through, so that the code under test sees what it expects."""

    def __init__(self) -> None:
        self.made: list[tuple[object, ...]] = []
        self._names: dict[int, str] = {}

    def open(self, path: Path, flags: int, mode: int) -> int:
        descriptor = os.open(path, flags, mode)
        self._names[descriptor] = Path(path).name
        self.made.append(("open", Path(path).name, bool(flags & os.O_TRUNC)))
        return descriptor

    def write(self, descriptor: int, data: memoryview) -> int:
        at = os.lseek(descriptor, 0, os.SEEK_CUR)
        if self._appends(descriptor):
            at = os.fstat(descriptor).st_size
        written = os.write(descriptor, data[:2])  # a short write, as the system may make it
        self.made.append(("write", self._names[descriptor], at, bytes(data[:written])))
        return written

    def _appends(self, descriptor: int) -> bool:
        import fcntl

        return bool(fcntl.fcntl(descriptor, fcntl.F_GETFL) & os.O_APPEND)

    def fsync(self, descriptor: int) -> None:
        self.made.append(("fsync", self._names[descriptor]))

    def replace(self, source: Path, target: Path) -> None:
        os.replace(source, target)
        self.made.append(("rename", source.name, target.name))

    def namespace(self) -> SimpleNamespace:
        own = {name: getattr(self, name) for name in ("open", "write", "fsync", "replace")}
        return SimpleNamespace(**{**vars(os), **own})


def survivors(calls: list[tuple[object, ...]], folder: str) -> Iterator[bytes | None]:
    """Every content of the file `kept` that may stand after a cut at the end of `calls`."""
    loose: list[int] = []
    for number, call in enumerate(calls):
        if call[0] in ("write", "rename"):
            loose.append(number)
        elif call[0] == "fsync":
            kind, name = ("rename", None) if call[1] == folder else ("write", call[1])
            loose = [
                each
                for each in loose
                if calls[each][0] != kind or (name is not None and calls[each][1] != name)
            ]
    for choice in product((0, 1, 2), repeat=len(loose)):
        done = dict(zip(loose, choice, strict=True))
        files: dict[str, bytes] = {"kept": OLD}
        for number, call in enumerate(calls):
            how = done.get(number, 2)
            if call[0] == "open" and call[2]:
                files[str(call[1])] = b""
            elif call[0] == "write" and how:
                _, name, at, data = call
                part = data[: len(data) // 2] if how == 1 else data  # type: ignore[index]
                old = files.get(str(name), b"").ljust(int(at), b"?")  # type: ignore[call-overload]
                files[str(name)] = old[:at] + part + old[int(at) + len(part) :]  # type: ignore
            elif call[0] == "rename" and how == 2:
                files[str(call[2])] = files.pop(str(call[1]))
        yield files.get("kept")


def made(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, act: Callable[[DiskFile], None]) -> Calls:
    calls = Calls()
    (tmp_path / "kept").write_bytes(OLD)
    monkeypatch.setattr(disk, "os", calls.namespace())
    act(DiskFile(tmp_path / "kept"))
    return calls


def states(calls: Calls, folder: str) -> tuple[set[bytes | None], set[bytes | None]]:
    """What may stand after a cut at any moment before the last call, and after the last."""
    before = {
        state for end in range(len(calls.made)) for state in survivors(calls.made[:end], folder)
    }
    return before, set(survivors(calls.made, folder))


def test_replace_leaves_the_old_or_the_new_and_the_new_once_it_returned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = made(tmp_path, monkeypatch, lambda file: file.replace(NEW))
    before, returned = states(calls, tmp_path.name)
    assert before == {OLD, NEW}
    assert returned == {NEW}


def test_append_leaves_the_old_whole_and_the_new_once_it_returned(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = made(tmp_path, monkeypatch, lambda file: file.append(NEW))
    before, returned = states(calls, tmp_path.name)
    assert all(state is not None and state.startswith(OLD) for state in before)
    assert OLD in before
    assert returned == {OLD + NEW}


def test_overwrite_touches_nothing_outside_its_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = made(tmp_path, monkeypatch, lambda file: file.overwrite(3, NEW))
    before, returned = states(calls, tmp_path.name)
    assert {(state or b"")[:3] + (state or b"")[6:] for state in before} == {OLD[:3] + OLD[6:]}
    assert returned == {OLD[:3] + NEW + OLD[6:]}


def test_a_rename_that_was_not_synced_would_be_found(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calls = made(tmp_path, monkeypatch, lambda file: file.replace(NEW))
    unsynced = [call for call in calls.made if call != ("fsync", tmp_path.name)]
    assert set(survivors(unsynced, tmp_path.name)) == {OLD, NEW}


def test_a_line_with_any_bit_flipped_does_not_verify() -> None:
    line = line_of({"below": 64, "words": ["ä", None]}).rstrip(b"\n")
    assert fields_of(line) == {"below": 64, "words": ["ä", None]}
    for place in range(8 * len(line)):
        flipped = bytearray(line)
        flipped[place // 8] ^= 1 << place % 8
        assert fields_of(bytes(flipped)) is None
    assert fields_of(line_of([1]).rstrip(b"\n")) is None  # type: ignore[arg-type]
