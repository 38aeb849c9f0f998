"""`packcodec report`: records → a page that a ranger reads."""

import sys
from pathlib import Path

import click

from packcodec.edge.cli.export import account, dataset_inputs, protected
from packcodec.edge.cli.screen import as_json, document, say
from packcodec.edge.export_files import write
from packcodec.edge.parts import part
from packcodec.radio.links import find_link


@click.command()
@dataset_inputs
@click.option("--html", required=True, metavar="FILE", help="The page to write.")
@click.option("--link", metavar="NAME", help="Show the airtime on this link against its limit.")
@as_json
def command(
    schema: str,
    source: str,
    deployments: str,
    project: str,
    exact: bool,
    html: str,
    link: str | None,
    as_json: bool,
) -> None:
    """Write the records in SOURCE as one page that needs nothing else: for a phone, a desk, paper.

    SOURCE is a store, or records as JSON Lines (- for standard input). Sensitive species are
    generalised or left out as the species table says, unless --exact is given. From a store, the
    page also tells of days on which frames that name a station did not verify.
    """
    for needed in ("numpy", "scipy", "matplotlib", "jinja2"):
        part(needed, "dataset")
    from packcodec.edge.report_airtime import airtime_used
    from packcodec.edge.report_page import report_page

    codec, told, data = protected(schema, source, deployments, project, exact)
    airtime = airtime_used(codec, find_link(link), data, told.heard) if link else None
    written = write(Path(html), report_page(data, airtime, told.unverified).encode())
    if as_json:
        document({"written": written, **account(data)})
    else:
        say(f"wrote {written}")
    sys.exit(2 if told.refused else 0)
