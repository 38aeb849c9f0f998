"""`packcodec COMMAND`: one thin file a command, loaded only when it is called.

Exit 0: done, and it fits. 1: done, and the verdict is no. 2: bad input, one message, no traceback.
Stopped from outside, it ends as every program does: 130 by Ctrl-C, 141 when its reader has gone.
"""

import os
import sys
from importlib import import_module

import click

from packcodec.errors import PackcodecError

# Commands in the order of the job, each with the name of the module that holds it.
STAGES = {
    "What may be said": {
        "compile": "check a schema; every bit, the sizes, the identity",
        "compare": "what a changed schema means for stations in the field",
        "train": "learn the tables of the modelled coding from logs",
        "emit": "the schema as C, MicroPython, JavaScript, Python, ASN.1 or a document",
        "verify": "hold a decoder in any language to the test vectors",
    },
    "What it costs": {
        "links": "the known links, their rules and the bytes a day they leave",
        "airtime": "time on air of one transmission",
        "budget": "a day on a link: the law, the battery, and what would make it fit",
    },
    "On the station": {
        "summarise": "a detection log → records",
        "encode": "records → frames",
        "seen": "send what another process writes to a log",
        "keys": "make the keys that seal frames",
    },
    "At the base": {
        "decode": "frames → records",
        "explain": "one frame, bit by bit",
        "receive": "keep what serial lines, networks and files bring",
        "redecode": "read kept frames again with a schema found later",
        "gaps": "what was heard, won back and is missing, by station",
        "ask": "lists for the stations of what never came, to be sent to them",
        "reconcile": "the card against the radio",
        "simulate": "what a lossy link delivers, with and without repair",
    },
    "For others": {
        "export": "records as an exchange standard or as tables",
        "report": "a season on one page",
        "serve": "the same, live",
        "demo": "the whole job on invented data",
    },
}
COMMANDS = tuple(name for commands in STAGES.values() for name in commands)
CTRL_C, READER_GONE = 130, 141


class Commands(click.Group):
    """Commands by stage. The help imports none of them."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002
        if cmd_name not in COMMANDS:
            return None
        module = import_module(f"packcodec.edge.cli.{cmd_name}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002
        for stage, commands in STAGES.items():
            with formatter.section(stage):
                formatter.write_dl(list(commands.items()))


@click.command(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="packcodec")
def program() -> None:
    """Wildlife records home by radio: in a few bytes, inside the law and the battery.

    A budget is an estimate, never a licence: the local regulator decides what may be sent.
    """


def main() -> None:
    """Run the program; whatever it refuses becomes one line and exit 2."""
    if sys.stdout is None:
        _end("standard output is closed", 2)
    try:
        # Not program.main: it would turn a reader that has gone into exit 1, a verdict of no.
        with program.make_context("packcodec", sys.argv[1:]) as context:
            program.invoke(context)
        sys.stdout.flush()
    except click.exceptions.Exit as asked:
        sys.exit(asked.exit_code)
    except PackcodecError as error:
        _end(str(error), 2)
    except click.exceptions.NoArgsIsHelpError as error:
        click.echo(error.ctx.get_help() if error.ctx else error.format_message(), err=True)
        sys.exit(2)
    except click.ClickException as error:
        _end(_usage(error), 2)
    except (click.Abort, KeyboardInterrupt):
        sys.exit(CTRL_C)
    except BrokenPipeError:
        _drop_output()
        sys.exit(READER_GONE)
    except OSError as error:
        _drop_output()
        _end(f"{error.filename or 'standard output'}: {error.strerror or error}", 2)


def _usage(error: click.ClickException) -> str:
    """A usage error in one line: the command, what is wrong, where help is."""
    context = getattr(error, "ctx", None)
    message = error.format_message().replace("\n", " ").rstrip(".")
    if context is None:
        return message
    where = context.command_path.removeprefix("packcodec").strip()
    return f"{f'{where}: ' if where else ''}{message}; see {context.command_path} --help"


def _end(message: str, code: int) -> None:
    click.echo(f"packcodec: {message}", err=True)
    sys.exit(code)


def _drop_output() -> None:
    """What could not be written must not be tried again when the interpreter ends."""
    with open(os.devnull, "w", encoding="utf-8") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())
