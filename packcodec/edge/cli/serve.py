"""`packcodec serve`: the live page at the base."""

import secrets
from pathlib import Path

import click

from packcodec.dataset.model import Dataset
from packcodec.edge.cli.screen import say, schema_argument, warn
from packcodec.edge.dataset_source import Told, read_dataset, read_source, said, source_mark
from packcodec.edge.files import load
from packcodec.edge.parts import part
from packcodec.edge.sources import now
from packcodec.errors import LogError

TOKEN_BYTES = 24
SHORTEST_TOKEN = 20
GRACE_S = 1


@click.command()
@schema_argument
@click.argument("source")
@click.option("--deployments", required=True, metavar="FILE.csv", help="Where each station stood.")
@click.option("--project", required=True, metavar="FILE.toml", help="Who publishes what.")
@click.option("--host", default="127.0.0.1", show_default=True, help="The address to listen on.")
@click.option("--port", default=8740, show_default=True, type=click.IntRange(1, 65535))
@click.option("--token-file", metavar="FILE", help="Holds the token; made where it is absent.")
def command(
    schema: str,
    source: str,
    deployments: str,
    project: str,
    host: str,
    port: int,
    token_file: str | None,
) -> None:
    """Serve what the store SOURCE knows now, to browsers on this machine.

    With --host another address than loopback, a token is needed for everything, and without TLS in
    between it can be read on the way. Without the token sensitive species are kept back.
    """
    server = part("uvicorn", "serve")
    part("starlette", "serve")
    part("jinja2", "serve")
    from packcodec.edge.serve import Watch, is_loopback, live_app

    codec = load(schema)
    if source == "-":
        raise LogError("a live page cannot read standard input", place="SOURCE", remedy="a store")
    local = is_loopback(host)
    if not local and token_file is None:
        raise LogError(
            f"{host} can be reached from elsewhere",
            place="--host",
            remedy="give --token-file FILE as well; it is made where it is absent",
        )
    token = read_token(Path(token_file)) if token_file else ""

    def read() -> tuple[Told, Dataset]:
        told = read_source(source, codec)
        data = read_dataset(codec, told, deployments, project, created=now())
        return told, data

    watch = Watch(read, lambda: source_mark(source), now)
    for line in said(watch.told()):
        warn(f"packcodec: {line}")
    app = live_app(watch, token=token, local=local)
    say(f"http://{f'[{host}]' if ':' in host else host}:{port}/  (stop with Ctrl-C)")
    if token_file:
        say(f"the token is in {token_file}")
    # Open pages hold their stream open, and would hold up the end for ever.
    server.run(
        app,
        host=host,
        port=port,
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=GRACE_S,
    )


def read_token(path: Path) -> str:
    """The token in a file, which is made, for its owner alone, where it is absent.

    Raises LogError where it cannot be read, made, or is too short to be safe.
    """
    try:
        if not path.exists():
            path.touch(mode=0o600)
            path.write_text(f"{secrets.token_urlsafe(TOKEN_BYTES)}\n", encoding="utf-8")
        token = path.read_text(encoding="utf-8").strip()
    except OSError as error:
        raise LogError(
            f"cannot be used: {error.strerror}",
            place=str(path),
            remedy="name a file that you may read, or a new one where you may write",
        ) from None
    if len(token) < SHORTEST_TOKEN:
        raise LogError(
            f"the token has {len(token)} letters",
            place=str(path),
            remedy=f"use {SHORTEST_TOKEN} or more, or remove the file to have one made",
        )
    return token
