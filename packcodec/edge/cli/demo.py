"""`packcodec demo`: the main job on invented data."""

from pathlib import Path

import click

from packcodec.edge.cli.screen import say
from packcodec.edge.demo import SCHEMAS, Coding, run_demo

INVENTED = (
    "Invented data: the Sedgemere wetland reserve, its stations and its animals do not exist."
)
ESTIMATE = (
    "A budget is an estimate, never a licence: the local regulator decides what may be sent.\n"
    "Lithium cells can burn: keep to the maker's limits and the local rules for their transport."
)


@click.command()
@click.argument(
    "folder", type=click.Path(file_okay=False, path_type=Path), default=Path("packcodec-demo")
)
@click.option(
    "--coding", type=click.Choice(["fixed", "modelled"]), default="fixed", show_default=True
)
def command(folder: Path, coding: Coding) -> None:
    """Run every stage on invented data and leave the files in FOLDER (packcodec-demo)."""
    say(INVENTED)
    for number, step in enumerate(run_demo(folder, coding), 1):
        say(f"\n{number}  {step.name}")
        for line in step.lines:
            say(f"   {line}")
    say(f"\n{ESTIMATE}\n\nThe files are in {folder}. To look further:")
    schema = folder / SCHEMAS[coding]
    for example in (
        f"packcodec compile {schema}",
        f"packcodec explain {schema} $(head -1 {folder}/frames.hex)",
        f"packcodec budget {schema} --link lora-eu-868.1 "
        f"--log {folder}/detections.csv --watch {folder}/watch.csv",
    ):
        say(f"   {example}")
