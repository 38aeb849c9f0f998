"""`packcodec compare`: what a changed schema means for stations in the field."""

import sys

import click

from packcodec.edge.cli.screen import as_json, document, say
from packcodec.edge.files import load
from packcodec.layout.compare import compare_layouts

VERDICTS = {
    "same": "same: the same bits with the same meaning",
    "readable": "readable: a base with the old schema reads the new frames",
    "breaking": "breaking: a base needs the new schema to read the new frames",
}


@click.command()
@click.argument("old", type=click.Path(dir_okay=False))
@click.argument("new", type=click.Path(dir_okay=False))
@as_json
def command(old: str, new: str, as_json: bool) -> None:
    """Say what changes on the air from schema OLD to schema NEW. Exit 1 if it breaks."""
    comparison = compare_layouts(load(old).layout, load(new).layout)
    if as_json:
        document(
            {
                "verdict": comparison.verdict,
                "unsafe": comparison.unsafe,
                "reasons": list(comparison.reasons),
            }
        )
    else:
        say(VERDICTS[comparison.verdict])
        for reason in comparison.reasons:
            say(f"  {reason}")
        if comparison.unsafe:
            say("UNSAFE: both have one identity, so a base cannot tell them apart. Do not use NEW.")
        elif comparison.verdict == "breaking":
            say("A base may hold both schemas: stations with the old one stay readable.")
    sys.exit(1 if comparison.verdict == "breaking" else 0)
