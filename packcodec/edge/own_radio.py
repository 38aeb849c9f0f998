"""A user's own links and rules, from a TOML file."""

import click

from packcodec.edge.logs import opened
from packcodec.radio.links import OwnRadio, read_user_rules

own_rules = click.option(
    "--rules",
    metavar="FILE",
    help="Your own links and rules, TOML, marked as yours: [[rule]] and [[link]], each with like = "
    '"NAME" of a known one and what differs (spec/own-rules.md).',
)


def own_radio(path: str | None) -> OwnRadio:
    """What the file adds; nothing without one. Raises LogError or RadioError naming it."""
    if path is None:
        return OwnRadio()
    with opened(path) as lines:
        return read_user_rules(lines.read(), path)
