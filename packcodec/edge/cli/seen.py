"""`packcodec seen`: a station that follows a detection log."""

import signal
import sys
import time
from typing import Any

import click

from packcodec.edge.cli.screen import schema_argument, warn
from packcodec.edge.follow import Follower
from packcodec.edge.own_radio import own_radio, own_rules
from packcodec.edge.ports import open_port
from packcodec.edge.station import Station
from packcodec.errors import EncodeError

PAUSE_S = 1.0


@click.command()
@schema_argument
@click.argument("log", type=click.Path(dir_okay=False))
@click.option("--link", required=True, help="How it transmits: a name of packcodec links.")
@click.option("--store", required=True, type=click.Path(file_okay=False), help="Its own folder.")
@click.option("--to", "address", required=True, help="serial:/dev/ttyUSB0, udp://HOST:PORT, FILE.")
@click.option("--station", help="Name or number; not needed where the schema has one station.")
@click.option("--keys", type=click.Path(), help="Its key file, for a seal and for missing lists.")
@click.option("--health", multiple=True, metavar="FIELD=VALUE", help="battery_mv=3912")
@click.option("--no-clock", is_flag=True, help="The clock stands still while the power is off.")
@click.option("--once", is_flag=True, help="Stop at the end of the log, when all is sent.")
@own_rules
def command(
    schema: str,
    log: str,
    link: str,
    store: str,
    address: str,
    station: str | None,
    keys: str | None,
    health: tuple[str, ...],
    no_clock: bool,
    once: bool,
    rules: str | None,
) -> None:
    """Send what another process writes to LOG, a detection log in CSV, as it grows.

    What was read, counted and sent is kept in the store: after a power cut it goes on where it
    was. Stops in order on an interrupt.
    """
    with Station(
        schema,
        link,
        store=store,
        station=int(station) if station and station.isdecimal() else station,
        keys=keys,
        own=own_radio(rules),
        keeps_time=not no_clock,
    ) as monitor:
        port = open_port(address)
        if health:
            monitor.health(**_values(health))
        signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
        try:
            _follow(Follower(log, monitor), monitor, port, once)
        except KeyboardInterrupt:
            pass
        finally:
            port.close()
            for words, count in monitor.troubles.items():
                warn(f"packcodec: {words} ({count} times)")


def _follow(follower: Follower, monitor: Station, port: Any, once: bool) -> None:
    told = None
    while True:
        fed = follower.feed()
        if follower.refused is not told:
            told = follower.refused
            warn(f"packcodec: {told}")
        sent = monitor.tick(radio=port)
        if once and not fed and not sent:
            if not monitor.monitor.outbox:
                return
            monitor.hurry()
        if not fed and not sent:
            time.sleep(PAUSE_S)


def _values(pairs: tuple[str, ...]) -> dict[str, Any]:
    values: dict[str, Any] = {}
    for pair in pairs:
        name, equals, text = pair.partition("=")
        if not equals:
            raise EncodeError(f"{pair!r} says nothing", place="--health", remedy="NAME=VALUE")
        try:
            values[name] = float(text) if "." in text else int(text)
        except ValueError:
            values[name] = {"true": True, "false": False}.get(text, text)
    return values
