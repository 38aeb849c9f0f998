"""`packcodec train`: detection logs → the tables of modelled coding."""

from dataclasses import replace
from pathlib import Path

import click

from packcodec.codec.modelled.train import DEVICE_BYTES
from packcodec.edge.cli.screen import as_json, document, say, schema_argument, table, warn
from packcodec.edge.cli.summarise import LOG_FILE
from packcodec.edge.files import read_schema_file
from packcodec.edge.learn import HELD_OUT, Cost, Log, learn
from packcodec.edge.logs import (
    daily_stretches,
    named,
    opened,
    read_detections,
    read_health,
    read_watches,
)
from packcodec.errors import LogError
from packcodec.layout.compiler import compile_layout
from packcodec.monitor.inputs import Detection, Health, Stretch
from packcodec.schema.model import Schema
from packcodec.schema.models import models_text


@click.command()
@schema_argument
@click.argument("logs", nargs=-1, required=True, type=LOG_FILE)
@click.option("-o", "output", type=click.Path(dir_okay=False), help="The models file to write.")
@click.option("--watch", type=LOG_FILE, help="Effort log: CSV with station, start, end, clock.")
@click.option("--watched", metavar="HH:MM-HH:MM", help="Effort the same every day, in UTC.")
@click.option("--health", type=LOG_FILE, help="Health log: CSV with time, station and the fields.")
@click.option(
    "--bytes",
    "size_bytes",
    type=click.IntRange(0, 1 << 16),
    default=DEVICE_BYTES,
    show_default=True,
    help="The most that the tables may take on the station.",
)
@as_json
def command(
    schema: str,
    logs: tuple[str, ...],
    output: str | None,
    watch: str | None,
    watched: str | None,
    health: str | None,
    size_bytes: int,
    as_json: bool,
) -> None:
    """Learn the tables of SCHEMA, whose coding is modelled, from detection LOGS (CSV).

    The last quarter of the days is kept out of the learning and measured: what a record or an
    element costs there in fixed coding, in this one, and as information. Name the file written in
    the schema: [models] file = "…".
    """
    known = read_schema_file(schema, models=False)
    models, costs = learn(known, _log(known, logs, watch, watched, health), size_bytes)
    if output is not None:
        Path(output).write_text(models_text(models), encoding="utf-8")
    identity = compile_layout(replace(known, models=models)).identity.hex()
    if as_json:
        document(
            {
                "bytes": models.size_bytes,
                "identity": identity,
                "held_out": [
                    {
                        "message": cost.message,
                        "elements_a_record": cost.a_record,
                        "records": cost.records,
                        "elements": cost.elements,
                        "fixed_bits": cost.fixed,
                        "modelled_bits": cost.modelled,
                        "information_bits": cost.information,
                    }
                    for cost in costs
                ],
            }
        )
        return
    say(f"{models.size_bytes} bytes of tables, layout identity {identity[:16]}…")
    table(
        ("message", ">records", ">elements", ">fixed", ">modelled", ">information", ">ratio"),
        [_row(cost) for cost in costs],
        title=f"on the last quarter of the days (1 in {HELD_OUT}), bits of payload an element",
    )
    if output is None:
        warn("nothing was written: -o names the models file")


def _row(cost: Cost) -> tuple[object, ...]:
    name = f"{cost.message}, up to {cost.a_record}" if cost.a_record else cost.message
    return (
        name,
        cost.records,
        cost.elements,
        f"{cost.fixed:.2f}",
        f"{cost.modelled:.2f}",
        f"{cost.information:.2f}",
        f"{cost.modelled / cost.fixed:.3f}",
    )


def _log(
    schema: Schema,
    logs: tuple[str, ...],
    watch: str | None,
    watched: str | None,
    health: str | None,
) -> Log:
    if watch is not None and watched is not None:
        raise LogError("effort is given twice", place="--watched", remedy="drop it or --watch")
    detections: list[Detection] = []
    refused: list[LogError] = []
    for path in logs:
        with opened(path) as lines:
            seen = read_detections(lines, schema, named(path))
        detections += seen.rows
        refused += seen.refused
    effort: list[Stretch] | None = None
    if watch is not None:
        with opened(watch) as lines:
            watches = read_watches(lines, schema, named(watch))
        effort = watches.rows
        refused += watches.refused
    elif watched is not None:
        effort = daily_stretches(detections, schema, watched)
    told: list[Health] = []
    if health is not None:
        with opened(health) as lines:
            found = read_health(lines, schema, named(health))
        told = found.rows
        refused += found.refused
    for error in refused:
        warn(f"packcodec: left out: {error}")
    return Log(detections, effort, told)
