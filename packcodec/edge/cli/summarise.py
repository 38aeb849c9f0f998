"""`packcodec summarise`: a detection log → records, and an account of what is in none."""

import json
import sys
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any, TypeVar

import click

from packcodec.edge.cli.screen import schema_argument, warn, write_line
from packcodec.edge.files import load
from packcodec.edge.log_traffic import Logs, joined, summarised
from packcodec.edge.logs import (
    Rows,
    daily_stretches,
    named,
    opened,
    read_detections,
    read_health,
    read_watches,
    station_number,
)
from packcodec.errors import LogError
from packcodec.layout.compiler import LARGEST_FRAME_BYTES
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.monitor.summariser import Refusal
from packcodec.monitor.whole_log import Summary, summarise
from packcodec.schema.model import Schema
from packcodec.schema.remedy import counted, nearest

COLUMNS = ("time", "station", "label", "confidence", "individuals", "image")
MOST_SHOWN = 5
LOG_FILE = click.Path(dir_okay=False, allow_dash=True)

Row = TypeVar("Row", Detection, Stretch, Health)


@click.command()
@schema_argument
@click.argument("log", type=LOG_FILE)
@click.option("--watch", type=LOG_FILE, help="Effort log: CSV with station, start, end, clock.")
@click.option("--watched", metavar="HH:MM-HH:MM", help="Effort the same every day, in UTC.")
@click.option("--health", type=LOG_FILE, help="Health log: CSV with time, station and the fields.")
@click.option("--station", "stations", multiple=True, help="Only this one; may be repeated.")
@click.option("--column", "columns", multiple=True, metavar="OURS=THEIRS", help="time=when")
@click.option(
    "--most",
    type=click.IntRange(1, LARGEST_FRAME_BYTES),
    metavar="BYTES",
    help="Join what batches hold into frames so long, as a station does; else each goes alone.",
)
@click.option("--json", "as_json", is_flag=True, help="The account as one JSON document.")
def command(
    schema: str,
    log: str,
    watch: str | None,
    watched: str | None,
    health: str | None,
    stations: tuple[str, ...],
    columns: tuple[str, ...],
    most: int | None,
    as_json: bool,
) -> None:
    """Summarise the detections in LOG, a CSV file or - for standard input.

    Records go to standard output as JSON Lines; the account of what was counted, dropped or could
    not be read goes to standard error. Rows that cannot be read are skipped and counted. Where a
    record could not be made, because its message cannot carry a value, the others are still
    written, and the exit is 2.
    """
    codec = load(schema)
    known = codec.schema
    if [log, watch, health].count("-") > 1:
        raise LogError(
            "only one log can come from standard input",
            place="-",
            remedy="name files for the others",
        )
    if watch is not None and watched is not None:
        raise LogError("effort is given twice", place="--watched", remedy="drop it or --watch")
    chosen = {station_number(name, known, "--station") for name in stations}
    renamed = _columns(columns)
    seen = _read(log, lambda lines: read_detections(lines, known, named(log), renamed), chosen)
    told, effort = Rows[Health](), None
    if health is not None:
        told = _read(health, lambda lines: read_health(lines, known, named(health)), chosen)
    if watch is not None:
        effort = _read(watch, lambda lines: read_watches(lines, known, named(watch)), chosen)
    elif watched is not None:
        effort = Rows(daily_stretches(seen.rows, known, watched))
    if most is None:
        summary = summarise(codec, seen.rows, effort.rows if effort else None, told.rows)
    else:
        summary = summarised(codec, Logs(seen, effort, told))
        summary.records = joined(codec, summary.records, most)
    for record in summary.records:
        write_line(record.to_json())
    refused = [*seen.refused, *(effort.refused if effort else ()), *told.refused]
    account = _account(summary, known, [str(error) for error in refused], effort is not None)
    if as_json:
        warn(json.dumps(account, ensure_ascii=False, indent=2))
    else:
        _tell(account)
    lost = sum(unmade.count for unmade in summary.unmade.values())
    if lost:
        warn(f"packcodec: {counted(lost, 'record')} could not be made")
        sys.exit(2)


def _columns(mappings: Sequence[str]) -> dict[str, str]:
    columns = {}
    for mapping in mappings:
        ours, _, theirs = mapping.partition("=")
        if ours not in COLUMNS or not theirs:
            remedy = nearest(ours, COLUMNS) if ours not in COLUMNS else f"write {ours}=NAME"
            raise LogError(f"{mapping!r} maps no column", place="--column", remedy=remedy)
        columns[ours] = theirs
    return columns


def _read(path: str, reader: Callable[[Iterable[str]], Rows[Row]], stations: set[int]) -> Rows[Row]:
    """The rows of a file, only those of `stations` where any are named."""
    with opened(path) as lines:
        found = reader(lines)
    if stations:
        found.rows = [row for row in found.rows if row.station in stations]
    return found


def _account(
    summary: Summary, schema: Schema, refused: list[str], effort_known: bool
) -> dict[str, Any]:
    made = Counter(record.message for record in summary.records)
    return {
        "detections": summary.detections,
        "counted": summary.counted,
        "refused": {
            reason.value: summary.refused[reason] for reason in Refusal if summary.refused[reason]
        },
        "unknown_labels": dict(summary.unknown_labels.most_common()),
        "outside_watched": summary.outside if effort_known else None,
        "stretches_overlapping": summary.joined,
        "unreadable": refused,
        "stations": len({record.station for record in summary.records}),
        "records": {message.name: made[message.name] for message in schema.messages},
        "records_not_made": [
            {"count": each.count, "first": each.first} for each in summary.unmade.values()
        ],
    }


def _tell(account: dict[str, Any]) -> None:
    """The account in a few plain lines."""
    warn(f"{counted(account['detections'], 'detection')}, {account['counted']} of them counted")
    for reason, count in account["refused"].items():
        warn(f"  {count} {reason}")
    labels = account["unknown_labels"].items()
    _few("labels that the species code table lacks", [f"{n} {label!r}" for label, n in labels])
    if account["outside_watched"]:
        warn(f"{account['outside_watched']} counted outside every stretch watched")
    if account["stretches_overlapping"]:
        overlapping = account["stretches_overlapping"]
        overlap = "overlaps" if overlapping == 1 else "overlap"
        warn(f"{counted(overlapping, 'stretch', 'stretches')} {overlap} another, counted once")
    _few("rows that could not be read", account["unreadable"])
    records = ", ".join(f"{count} {message}" for message, count in account["records"].items())
    warn(f"records of {counted(account['stations'], 'station')}: {records}")
    not_made = [f"{each['count']} as {each['first']}" for each in account["records_not_made"]]
    _few("places at which records could not be made", not_made)


def _few(what: str, lines: list[str]) -> None:
    if lines:
        warn(f"{what}: {len(lines)}")
    for line in lines[:MOST_SHOWN]:
        warn(f"  {line}")
    if len(lines) > MOST_SHOWN:
        warn(f"  … and {len(lines) - MOST_SHOWN} more (--json lists them all)")
