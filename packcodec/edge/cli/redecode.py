"""`packcodec redecode`: what gave no record, read again with a schema found since."""

import click

from packcodec.base.events import Rejected
from packcodec.edge.cli.receive import schemas_option
from packcodec.edge.cli.screen import say
from packcodec.edge.cli.sealed import given_keys, keys_option
from packcodec.edge.files import load
from packcodec.edge.parts import part


@click.command()
@click.argument("store")
@schemas_option
@keys_option
def command(store: str, schemas: tuple[str, ...], keys: str | None) -> None:
    """Read the frames in STORE that gave no record again, with these schemas.

    Then put the times of its records right by all that is known of the stations' clocks.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.store import Store

    opened_by = given_keys(keys)
    opened = Store.open(store, [load(schema, opened_by) for schema in schemas], create=False)
    read = kept = 0
    for events in opened.redecode():
        if isinstance(events[0], Rejected):
            kept += 1
        else:
            read += 1
    say(f"{read} frames read that gave no record before; {kept} still give none")
    say(f"{opened.refit(everything=True)} times put right by the stations' clocks")
