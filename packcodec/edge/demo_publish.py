"""The demo's last stage: its records as both exchange standards, and as a report."""

from collections.abc import Iterator, Sequence
from datetime import UTC, datetime
from pathlib import Path

from packcodec.codec.record import Record
from packcodec.dataset.build import Heard
from packcodec.dataset.effort import station_days, watched_s
from packcodec.dataset.protect import protect
from packcodec.edge.dataset_source import Told, read_dataset
from packcodec.edge.export_files import export, write
from packcodec.errors import MissingPartError
from packcodec.frame.codec import Codec
from packcodec.radio.link import Link

DATA = ("deployments.csv", "project.toml")


def publish_lines(
    codec: Codec, records: Sequence[Record], link: Link, folder: Path
) -> Iterator[str]:
    """Write a data package, an archive and a page to `folder`, and say what is in them."""
    told = Told(tuple(Heard(each) for each in records))
    files = (str(folder / name) for name in DATA)
    data = protect(read_dataset(codec, told, *files, created=datetime.now(UTC)))
    yield (
        f"{station_days(watched_s(data.intervals)):.1f} station-days of 24 h watched, "
        f"{len(data.totals):,} counts, {len(data.sightings)} single sightings"
    )
    yield f"Camtrap DP: {len(export(data, 'camtrap-dp', str(folder / 'camtrap-dp')))} files"
    (archive,) = export(data, "darwin-core", str(folder / "darwin-core.zip"))
    yield f"Darwin Core Archive: {archive}"
    assert data.protection is not None
    yield f"kept back: {data.protection.generalized}; {data.protection.withheld}"
    try:
        from packcodec.edge.report_airtime import airtime_used
        from packcodec.edge.report_page import report_page

        page = report_page(data, airtime_used(codec, link, data, told.heard))
    except (ImportError, MissingPartError):
        yield "a report needs more: pip install 'packcodec[dataset]'"
        return
    yield f"a report that needs nothing else: {write(folder / 'report.html', page.encode())}"
