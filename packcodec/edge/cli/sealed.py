"""The keys that a command opens sealed frames with."""

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from packcodec.frame.seal import Keys

keys_option = click.option(
    "--keys", type=click.Path(), help="A key file, or a folder of them, for schemas with a seal."
)


def given_keys(path: str | None) -> "Keys | None":
    """The keys of that option. Raises KeysError; what reads them is loaded only where asked for."""
    if path is None:
        return None
    from packcodec.edge.keys import read_keys

    return read_keys(path)
