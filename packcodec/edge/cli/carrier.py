"""What the carrier says where frames do not: options of the commands that read frames."""

from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import click

from packcodec.edge.cli.screen import warn
from packcodec.errors import CarrierError
from packcodec.frame.codec import Codec
from packcodec.frame.header import UNSENT_STATION_BITS
from packcodec.schema.remedy import nearest

station_option = click.option(
    "--station",
    type=click.IntRange(0, (1 << UNSENT_STATION_BITS) - 1),
    help="The station, where frames do not carry it.",
)
message_option = click.option("--message", help="The message, where frames do not carry it.")


def check_carried(codecs: Sequence[Codec], station: int | None, message: str | None) -> None:
    """Refuse a message that no schema has; say so where the frames carry what is given anyhow."""
    names = [name for codec in codecs for name in codec.payloads]
    if message is not None and message not in names:
        raise CarrierError(
            f"there is none called {message!r}", place="--message", remedy=nearest(message, names)
        )
    frames = [codec.schema.frame for codec in codecs]
    if station is not None and all(frame.station_bits for frame in frames):
        warn("packcodec: --station is not used: the frames carry it")
    if message is not None and all(frame.message_bits for frame in frames):
        warn("packcodec: --message is not used: the frames carry it")


@contextmanager
def asked_by_option() -> Iterator[None]:
    """Name the option that would say what a frame's carrier did not."""
    try:
        yield
    except CarrierError as error:
        if error.place not in ("station", "message"):
            raise
        raise CarrierError(error.problem, place=f"--{error.place}", remedy=error.remedy) from None
