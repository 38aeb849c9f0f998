"""What the commands print with: tables for people, JSON for programs."""

import json
import sys
from collections.abc import Callable, Iterable, Sequence
from io import StringIO
from shutil import get_terminal_size
from typing import Any

import click
from rich.console import Console
from rich.table import Table

from packcodec.radio.quantity import checked

as_json = click.option("--json", "as_json", is_flag=True, help="One JSON document instead.")
schema_argument = click.argument("schema", type=click.Path(dir_okay=False))
as_json_lines = click.option("--json", "as_json", is_flag=True, help="JSON Lines instead.")


def between(low: float, high: float) -> Callable[..., float | None]:
    """An option's callback: RadioError naming the option for a figure that is not low..high."""

    def check(_: click.Context, option: click.Parameter, value: float | None) -> float | None:
        return value if value is None else checked(option.opts[0], value, low, high)

    return check


def say(text: str = "") -> None:
    """A line for people, on standard output."""
    sys.stdout.write(f"{text}\n")


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
    drawn = StringIO()
    Console(file=drawn, width=_width()).print(grid, highlight=False, markup=False)
    # Rich fills every line to its width; blanks at the end are of no use to anybody.
    for line in drawn.getvalue().splitlines():
        say(line.rstrip())


def document(data: Any) -> None:
    """One JSON document on standard output."""
    json.dump(data, sys.stdout, indent=2, ensure_ascii=False)
    sys.stdout.write("\n")


def write_line(item: object) -> None:
    """One line of a stream on standard output, at once: a radio may be waiting for it."""
    text = item if isinstance(item, str) else json.dumps(item, ensure_ascii=False)
    sys.stdout.write(text + "\n")
    sys.stdout.flush()


def _width() -> int:
    """Of the terminal, or wide enough that a file needs no folding."""
    return get_terminal_size().columns if sys.stdout.isatty() else 140
