"""`packcodec emit`: a schema in another language, or as a document."""

import os
import sys
from contextlib import suppress
from errno import EISDIR
from pathlib import Path

import click

from packcodec.edge.cli.screen import as_json, document, say, schema_argument
from packcodec.edge.files import load
from packcodec.emit import TARGETS, emit
from packcodec.errors import PackcodecError


@click.command()
@schema_argument
@click.option("--to", "target", required=True, metavar="TARGET", help=f"{', '.join(TARGETS)}.")
@click.option("--output", type=click.Path(file_okay=False), help="The folder to write to.")
@as_json
def command(schema: str, target: str, output: str | None, as_json: bool) -> None:
    """Write SCHEMA for TARGET: code for other devices, or a document.

    A single file goes to standard output unless --output names a folder. Several go to that folder,
    or to this one. --json writes files too, and lists them.
    """
    files = emit(load(schema).layout, target)
    if output is None and not as_json and len(files) == 1:
        sys.stdout.write("".join(files.values()))
        return
    written = write_whole(Path(output or "."), files)
    if as_json:
        sizes = [{"path": str(path), "bytes": path.stat().st_size} for path in written]
        document({"target": target, "files": sizes})
        return
    for path in written:
        say(str(path))


def write_whole(folder: Path, files: dict[str, str]) -> list[Path]:
    """Write every file beside its name first, then all under their names: none is ever half there.

    Raises PackcodecError naming the file that cannot be written.
    """
    paths = [folder / name for name in files]
    beside = [path.with_name(f".{path.name}.{os.getpid()}") for path in paths]
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for path, text in zip(beside, files.values(), strict=True):
            path.write_text(text, encoding="utf-8", newline="\n")
        for final in paths:
            if final.is_dir():
                raise IsADirectoryError(EISDIR, "a folder has that name", str(final))
        for path, final in zip(beside, paths, strict=True):
            path.replace(final)
    except OSError as error:
        raise PackcodecError(
            f"cannot be written: {error.strerror}",
            place=str(error.filename or folder),
            remedy="name another folder with --output",
        ) from None
    finally:
        for path in beside:
            with suppress(OSError):
                path.unlink(missing_ok=True)
    return paths
