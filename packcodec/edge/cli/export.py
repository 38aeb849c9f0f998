"""`packcodec export`: records → published forms."""

import sys
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar

import click

from packcodec.base.untold import summed
from packcodec.dataset.darwin import Status
from packcodec.dataset.effort import station_days, watched_s
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, warn
from packcodec.edge.dataset_source import Told, read_dataset, read_source, said
from packcodec.edge.export_files import FORMS, export
from packcodec.edge.files import load
from packcodec.frame.codec import Codec

Command = TypeVar("Command", bound=Callable[..., Any])

EXACT_WARNING = (
    "exact: sensitive species are in it with their places and times; do not publish it, and keep "
    "it as you would a key"
)


def dataset_inputs(command: Command) -> Command:
    """SCHEMA, SOURCE and the files that only people can fill, for every command of a dataset."""
    for decorate in (
        click.option("--exact", is_flag=True, help="Keep nothing back. Not for publication."),
        click.option("--project", required=True, metavar="FILE.toml", help="Who publishes what."),
        click.option(
            "--deployments", required=True, metavar="FILE.csv", help="Where each station stood."
        ),
        click.argument("source"),
        schema_argument,
    ):
        command = decorate(command)
    return command


@click.command()
@dataset_inputs
@click.argument("out")
@click.option("--to", "form", required=True, type=click.Choice([*FORMS]), help="The form.")
@click.option(
    "--status",
    type=click.Choice(["present", "detected"]),
    default="present",
    help="Darwin Core's occurrenceStatus: present and absent, or detected and notDetected.",
)
@as_json
def command(
    schema: str,
    source: str,
    deployments: str,
    project: str,
    exact: bool,
    out: str,
    form: str,
    status: Status,
    as_json: bool,
) -> None:
    """Write the records in SOURCE to OUT as an exchange standard or as tables.

    SOURCE is a store, or records as JSON Lines (- for standard input). OUT is a folder for
    camtrap-dp, csv and parquet, a zip for darwin-core, a file for geojson. Sensitive species are
    generalised or left out as the species table says; people are in no form at all. Lines that
    are no records are reported, and the exit is 2.
    """
    _, told, data = protected(schema, source, deployments, project, exact)
    written = export(data, form, out, status=status)
    if as_json:
        document({"written": written, **account(data)})
    else:
        for path in written:
            say(f"wrote {path}")
        for name, value in account(data).items():
            if value:
                say(f"{name.replace('_', ' ')}: {value}")
    sys.exit(2 if told.refused else 0)


def protected(
    schema: str, source: str, deployments: str, project: str, exact: bool
) -> tuple[Codec, Told, Dataset]:
    """The dataset that a command was asked for, with what it was made from.

    What is in no dataset goes to standard error. Raises LogError where no line is a record.
    """
    codec = load(schema)
    told = read_source(source, codec)
    if told.refused and not told.heard:
        raise told.refused[0]
    for line in said(told):
        warn(f"packcodec: {line}")
    data = read_dataset(codec, told, deployments, project, created=datetime.now(UTC))
    if exact:
        warn(f"packcodec: {EXACT_WARNING}")
    return codec, told, protect(data, exact=exact)


def account(data: Dataset) -> dict[str, Any]:
    """What is in a dataset, and what is missing from it."""
    return {
        "records": data.tally.records,
        "recovered": data.tally.recovered,
        "in_no_deployment": data.tally.unplaced,
        "of_unknown_codes": data.tally.unknown_codes,
        "sightings": len(data.sightings),
        "sightings_without_a_time": data.tally.undated_sightings,
        "times_corrected": data.tally.corrected,
        "times_corrected_within_s": round(data.tally.uncertain_s),
        "interval_totals": len(data.totals),
        "station_days_watched": round(station_days(watched_s(data.intervals)), 3),
        "frames_missing": sum(each.missing for each in data.gaps),
        "counted_by_running_totals_alone": {
            f"{message}.{count}": {"counted": counted, "stretches_unknown": unknown}
            for (message, count), (counted, unknown) in summed(
                each for _, each in data.untold
            ).items()
        },
        "generalised": data.protection.generalized if data.protection else "",
        "withheld": data.protection.withheld if data.protection else "",
    }
