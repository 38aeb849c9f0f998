"""`packcodec ask`: missing lists, for a radio that can be heard by the stations."""

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING

import click

from packcodec.codec.record import rfc3339
from packcodec.edge.cli.decode import Moment
from packcodec.edge.cli.receive import schemas_option
from packcodec.edge.cli.screen import as_json_lines, warn, write_line
from packcodec.edge.cli.sealed import given_keys
from packcodec.edge.files import load
from packcodec.edge.logs import station_number
from packcodec.edge.parts import part
from packcodec.edge.sources import now
from packcodec.errors import KeysError, StoreError
from packcodec.frame.codec import Codec
from packcodec.frame.missing import LEAST_BYTES, MOST_BYTES
from packcodec.schema.remedy import counted

if TYPE_CHECKING:
    from packcodec.edge.store_ask import ListFrame
    from packcodec.frame.seal import Keys

COMMON_BYTES = 51


@click.command()
@click.argument("store")
@schemas_option
@click.option("--keys", required=True, type=click.Path(), help="A key file, or a folder of them.")
@click.option("--station", "named", multiple=True, help="Only this one; may be repeated.")
@click.option(
    "--most",
    default=COMMON_BYTES,
    show_default=True,
    type=click.IntRange(LEAST_BYTES, MOST_BYTES),
    help="The longest frame that the radio takes to a station, in bytes.",
)
@click.option("--at", type=Moment(), help="As of this time; now if not given.")
@as_json_lines
def command(
    store: str,
    schemas: tuple[str, ...],
    keys: str,
    named: tuple[str, ...],
    most: int,
    at: datetime | None,
    as_json: bool,
) -> None:
    """A list for each station of frames in STORE that never came, one hex line each, to be sent.

    A station whose radio hears it, and that has its key, sends again what it still keeps. Each
    station gets one a day at most: a line once printed is not printed again. What carries them to
    the stations keeps to the law like any other transmission: that account is yours.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.database import open_database
    from packcodec.edge.store_ask import lists, stations_heard, unasked

    opened_by = given_keys(keys) or {}
    codecs = [load(schema, opened_by) for schema in schemas]
    engine = open_database(store)
    _warn_of_carried(codecs)
    if named:
        chosen = [station_number(each, codecs[0].schema, "--station") for each in named]
    else:
        chosen = _with_keys(stations_heard(engine), opened_by, keys)
    passed = dict(unasked(engine, codecs, chosen))
    for each, why in passed.items():
        warn(f"packcodec: station {each} {why}, and is not asked")
    if chosen and len(passed) == len(set(chosen)):
        raise StoreError(
            "none of these stations can be asked",
            place=store,
            remedy="name one that was heard, and give its schema with --schema",
        )
    made = None
    for made in lists(engine, codecs, chosen, at or now(), most):
        _tell(made, as_json)
    if made is None:
        warn(
            "packcodec: nothing to ask for: nothing is missing that a station may still keep, or "
            "it was asked today"
        )


def _tell(made: "ListFrame", as_json: bool) -> None:
    said = made.asked
    if as_json:
        write_line(
            {
                "station": made.station,
                "number": said.number,
                "at": rfc3339(said.at),
                "counters": said.counters,
                "frame": made.frame.hex(),
            }
        )
        return
    write_line(made.frame.hex())
    warn(
        f"station {made.station} is asked for {counted(len(said.counters), 'frame')}, "
        f"{said.counters[0]} to {said.counters[-1]}"
    )


def _with_keys(heard: Sequence[int], keys: "Keys", place: str) -> list[int]:
    """The stations that can be asked; those that cannot are told."""
    for each in heard:
        if each not in keys:
            warn(f"packcodec: station {each} has no key among these, and is not asked")
    chosen = [each for each in heard if each in keys]
    if heard and not chosen:
        raise KeysError(
            "no station of the store has one",
            place=place,
            remedy="give the folder that packcodec keys new made for these stations",
        )
    return chosen


def _warn_of_carried(codecs: Sequence[Codec]) -> None:
    for codec in codecs:
        if not codec.schema.frame.sequence_bits:
            warn(
                f"packcodec: frames of {codec.schema.name} are numbered by what carries them: "
                "none of them can be sent again"
            )
