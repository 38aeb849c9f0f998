"""A card in memory that remembers every operation, and gives what a cut could have left of them."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

Operation = tuple[str, str, int, bytes]  # kind, file, offset, data


@dataclass
class Disk:
    """`log` holds the operations in order. `refuse` is asked before each, and may raise OSError."""

    files: dict[str, bytes] = field(default_factory=dict)
    log: list[Operation] = field(default_factory=list)
    refuse: Callable[[Operation], None] = lambda _: None

    def __call__(self, name: str) -> "Kept":
        return Kept(self, name)

    def do(self, operation: Operation) -> None:
        self.refuse(operation)
        self.log.append(operation)
        apply(self.files, operation)


@dataclass(frozen=True)
class Kept:
    """One file: a `DurableFile`."""

    disk: Disk
    name: str

    def __str__(self) -> str:
        return self.name

    def read(self) -> bytes | None:
        return self.disk.files.get(self.name)

    def append(self, data: bytes) -> None:
        if self.name not in self.disk.files:
            raise FileNotFoundError(self.name)
        self.disk.do(("append", self.name, 0, data))

    def replace(self, data: bytes) -> None:
        self.disk.do(("replace", self.name, 0, data))

    def overwrite(self, offset: int, data: bytes) -> None:
        self.disk.do(("overwrite", self.name, offset, data))


def apply(files: dict[str, bytes], operation: Operation) -> None:
    kind, name, offset, data = operation
    if kind == "append":
        files[name] += data
    elif kind == "replace":
        files[name] = data
    else:
        old = files[name]
        files[name] = old[:offset] + data + old[offset + len(data) :]


def cuts(operation: Operation, lengths: Callable[[int], list[int]]) -> Iterator[Operation | None]:
    """What a cut during `operation` may leave done of it: None is nothing."""
    kind, name, offset, data = operation
    yield None
    if kind == "replace":
        return  # the old file or the new one
    for length in lengths(len(data)):
        yield kind, name, offset, data[:length]
        if kind == "overwrite":
            # A torn sector: what was not written is neither old nor new.
            yield kind, name, offset, data[:length] + b"\xff" * (len(data) - length)


def after(log: list[Operation], done: int, partly: Operation | None = None) -> dict[str, bytes]:
    """The files once the first `done` operations were made, and one more in part."""
    files: dict[str, bytes] = {}
    for operation in (*log[:done], *([partly] if partly else [])):
        apply(files, operation)
    return files
