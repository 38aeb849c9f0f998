"""What the commands print with: tables for people, JSON for programs."""

import json
import sys
from collections.abc import Iterable, Sequence
from typing import Any

import click
from rich.console import Console
from rich.table import Table

as_json = click.option("--json", "as_json", is_flag=True, help="One JSON document instead.")
as_json_lines = click.option("--json", "as_json", is_flag=True, help="JSON Lines instead.")
schema_argument = click.argument("schema", type=click.Path(dir_okay=False))


def say(text: str = "") -> None:
    """A line for people, on standard output."""
    _console().print(text, highlight=False, markup=False, soft_wrap=True)


def warn(text: str) -> None:
    """A line on standard error."""
    click.echo(text, err=True)


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], *, title: str = "") -> None:
    """A table on standard output; heads that start with ">" are right-aligned."""
    grid = Table(title=title or None, title_justify="left", box=None, pad_edge=False)
    for head in heads:
        grid.add_column(
            head.removeprefix(">"),
            justify="right" if head.startswith(">") else "left",
            overflow="fold",
        )
    for row in rows:
        grid.add_row(*[str(cell) for cell in row])
    _console().print(grid, highlight=False, markup=False)


def document(data: Any) -> None:
    """One JSON document on standard output."""
    json.dump(data, sys.stdout, indent=2, ensure_ascii=False)
    sys.stdout.write("\n")


def write_line(item: object) -> None:
    """One line of a stream on standard output, at once: a radio may be waiting for it."""
    text = item if isinstance(item, str) else json.dumps(item, ensure_ascii=False)
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def _console() -> Console:
    # Made anew each time, so that a redirected standard output is respected.
    console = Console()
    return console if console.is_terminal else Console(width=140)
