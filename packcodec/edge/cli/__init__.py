"""`packcodec COMMAND`: one thin file a command, loaded only when it is called.

Exit 0: done, and it fits. 1: done, and the verdict is no. 2: bad input, one message, no traceback.
"""

import sys
from importlib import import_module

import click

from packcodec.errors import PackcodecError

COMMANDS = (
    "compile",
    "compare",
    "train",
    "summarise",
    "encode",
    "decode",
    "explain",
    "seen",
    "keys",
    "receive",
    "redecode",
    "gaps",
    "reconcile",
    "simulate",
    "emit",
    "verify",
    "airtime",
    "links",
    "budget",
    "export",
    "report",
    "serve",
    "demo",
)


class Commands(click.Group):
    """Commands by the name of the module that holds them, in the order of the job."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"packcodec.edge.cli.{cmd_name}")
        command: click.Command = module.command
        return command


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="packcodec")
def program() -> None:
    """Wildlife records home by radio: in a few bytes, inside the law and the battery.

    A budget is an estimate, never a licence: the local regulator decides what may be sent.
    """


def main() -> None:
    """Run the program; whatever packcodec refuses becomes one line and exit 2."""
    try:
        program(prog_name="packcodec")
    except PackcodecError as error:
        click.echo(f"packcodec: {error}", err=True)
        sys.exit(2)
    except BrokenPipeError:
        # The reader has gone (packcodec … | head): nothing is left to say.
        sys.stderr.close()
        sys.exit(0)
