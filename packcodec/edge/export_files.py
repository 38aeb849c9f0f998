"""A dataset written to files, in each form that it is published in."""

import io
import zipfile
from collections.abc import Callable, Mapping
from datetime import datetime
from pathlib import Path

from packcodec.dataset.camtrap import camtrap_dp
from packcodec.dataset.check import check
from packcodec.dataset.darwin import Status, darwin_core
from packcodec.dataset.geojson import geojson
from packcodec.dataset.model import Dataset
from packcodec.dataset.tables import table_csv, tables
from packcodec.edge.parts import part
from packcodec.errors import LogError


def export(data: Dataset, form: str, out: str, *, status: Status = "present") -> list[str]:
    """Write `data` to the file or folder `out`; the paths written. `form` is one of FORMS.

    Raises LogError where it must not be published or cannot be written, MissingPartError.
    """
    return FORMS[form](data, Path(out), status)


def write(path: Path, content: bytes) -> str:
    """Write one file whole; raises LogError naming it."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(content)
    except OSError as error:
        raise LogError(
            f"cannot be written: {error.strerror}", place=str(path), remedy="name another place"
        ) from None
    return str(path)


def _folder(files: Mapping[str, str], out: Path) -> list[str]:
    return [write(out / name, text.encode()) for name, text in files.items()]


def _camtrap_dp(data: Dataset, out: Path, _status: Status) -> list[str]:
    return _folder(camtrap_dp(data), out)


def _darwin_core(data: Dataset, out: Path, status: Status) -> list[str]:
    files = darwin_core(data, status=status)
    return [write(out, zipped(files, data.created))]


def _csv(data: Dataset, out: Path, _status: Status) -> list[str]:
    check(data)
    return _folder({f"{each.name}.csv": table_csv(each) for each in tables(data)}, out)


def _parquet(data: Dataset, out: Path, _status: Status) -> list[str]:
    check(data)
    parquet = part("pyarrow.parquet", "dataset")
    from packcodec.dataset.frames import to_arrow

    written = []
    for name, table in to_arrow(data).items():
        content = io.BytesIO()
        parquet.write_table(table, content)
        written.append(write(out / f"{name}.parquet", content.getvalue()))
    return written


def _geojson(data: Dataset, out: Path, _status: Status) -> list[str]:
    return [write(out, geojson(data).encode())]


def zipped(files: Mapping[str, str], when: datetime) -> bytes:
    """Files as a zip, the same bytes for the same files and time."""
    content = io.BytesIO()
    with zipfile.ZipFile(content, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in files.items():
            entry = zipfile.ZipInfo(name, when.timetuple()[:6])
            entry.compress_type = zipfile.ZIP_DEFLATED
            archive.writestr(entry, text)
    return content.getvalue()


FORMS: Mapping[str, Callable[[Dataset, Path, Status], list[str]]] = {
    "camtrap-dp": _camtrap_dp,
    "darwin-core": _darwin_core,
    "csv": _csv,
    "parquet": _parquet,
    "geojson": _geojson,
}
