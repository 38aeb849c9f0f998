"""`packcodec receive`: frames from anywhere → the store."""

import os
import signal
import socket
import sys
from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal
from urllib.parse import parse_qsl, unquote, urlsplit

import click

from packcodec.base.events import Event, Forgeries
from packcodec.base.failures import in_words
from packcodec.codec.record import to_json
from packcodec.edge.capture import Form, Pointers, Reader
from packcodec.edge.cli.decode import Moment
from packcodec.edge.cli.screen import say, warn, write_line
from packcodec.edge.cli.sealed import given_keys, keys_option
from packcodec.edge.files import load
from packcodec.edge.mqtt import MqttSource
from packcodec.edge.parts import part
from packcodec.edge.sources import FileSource, SerialSource, Source, UdpSource
from packcodec.errors import SourceError
from packcodec.frame.missing import LEAST_BYTES, MOST_BYTES
from packcodec.schema.remedy import counted

if TYPE_CHECKING:
    from packcodec.edge.receive import Tally

FORMS = ("hex", "base64", "json")
PASSWORD = "PACKCODEC_MQTT_PASSWORD"
MQTT_PORTS = {"mqtt": 1883, "mqtts": 8883}

schemas_option = click.option(
    "--schema",
    "schemas",
    multiple=True,
    required=True,
    type=click.Path(dir_okay=False),
    help="What the stations speak; may be repeated.",
)


def _pointer(name: str, what: str) -> Callable[..., Any]:
    default = getattr(Pointers(), name)
    option = f"--json-{name}"
    return click.option(
        option, f"at_{name}", default=default, show_default=True, help=f"JSON: {what}."
    )


@click.command()
@click.argument("store")
@click.argument("sources", nargs=-1, required=True)
@schemas_option
@click.option("--form", type=click.Choice(FORMS), help="Of lines and messages: hex unless binary.")
@click.option("--base", default="base", show_default=True, help="The name of this receiver.")
@click.option("--received", type=Moment(), help="When lines that do not say were received.")
@_pointer("frame", "where the frame's bytes are")
@click.option("--json-coding", "coding", type=click.Choice(("hex", "base64")), default="hex")
@_pointer("received", "when it was received")
@_pointer("rssi", "signal strength in dBm")
@_pointer("snr", "signal to noise in dB")
@_pointer("device", "the station, by number or by its name in the schema")
@_pointer("sequence", "the frame's counter")
@click.option("--events", is_flag=True, help="Every event as a line of JSON.")
@click.option(
    "--ask",
    "most",
    type=click.IntRange(LEAST_BYTES, MOST_BYTES),
    metavar="BYTES",
    help="Ask stations once a day, by serial line or UDP, for what never came: lists so long.",
)
@keys_option
def command(
    store: str,
    sources: tuple[str, ...],
    schemas: tuple[str, ...],
    form: Form | None,
    base: str,
    received: datetime | None,
    coding: Literal["hex", "base64"],
    events: bool,
    most: int | None,
    keys: str | None,
    **at: str,
) -> None:
    """Receive frames from SOURCES, several at once, and keep them in STORE.

    STORE is a file (SQLite, made where there is none) or postgresql://user@host/database.

    \b
    A source is one of
      FILE or -                        lines: a frame, then when it was received
      serial:/dev/ttyUSB0?baud=115200&framing=cobs         or framing=kiss
      udp://0.0.0.0:5005               a frame in each datagram
      mqtt://user@host/topic/#?client=NAME&group=SHARED    or mqtts://

    With --form json, lines, datagrams and messages are JSON; the --json options say where in it
    what is (JSON Pointers). The password for a broker is in the variable PACKCODEC_MQTT_PASSWORD.
    A file read twice changes nothing. Stops on an interrupt, when what was heard is stored.

    All that is good is kept, whatever stands beside it. The exit is 2 where a line of a file was no
    frame, else 1 where all sources are files and a frame in them gave no record.

    With --ask a station that has its key is told, right after it was heard, which of its frames
    never came (packcodec ask makes such lists for any other radio). What the base transmits keeps
    to the law as well: that account is yours.
    """
    part("sqlalchemy", "base")
    from packcodec.edge.asking import Asking
    from packcodec.edge.receive import Receiver, Tally
    from packcodec.edge.store import Store

    opened_by = given_keys(keys)
    codecs = [load(schema, opened_by) for schema in schemas]
    devices = {name: number for codec in codecs for name, number in codec.schema.stations}

    places = {name.removeprefix("at_"): pointer for name, pointer in at.items()}

    def reader(form: Form) -> Reader:
        return Reader(base, form, Pointers(coding=coding, **places), devices)

    made = [_source(each, form, base, reader, received) for each in sources]
    if len(made) == 1 and isinstance(made[0], FileSource):
        made[0].check()  # before a store is made for what is not there
    kept = Store.open(store, codecs)
    asking = None if most is None else Asking(kept, made, most, _tell)
    tally = Tally()

    def on_events(heard: list[Event]) -> None:
        tally.add(heard)
        for event in heard:
            if isinstance(event, Forgeries):
                _tell(in_words(event))
        if events:
            for event in heard:
                write_line(event_json(event))
        if asking is not None:
            asking.heard(heard)

    receiver = Receiver(kept, made, on_events=on_events, tell=_tell)
    for number in (signal.SIGINT, signal.SIGTERM):
        signal.signal(number, lambda *_: receiver.stop.set())
    try:
        receiver.run()
        kept.refit()
    finally:
        if events:
            _warn_of_refused(tally)
        else:
            _show(tally)
    if receiver.no_frame_count:
        lines = ", ".join(each.place for each in receiver.no_frames)
        more = ", …" if receiver.no_frame_count > len(receiver.no_frames) else ""
        warn(f"packcodec: {counted(receiver.no_frame_count, 'line')} gave no frame: {lines}{more}")
        sys.exit(2)
    if tally.refused and all(isinstance(each, FileSource) for each in made):
        sys.exit(1)


def _warn_of_refused(tally: "Tally") -> None:
    if tally.refused:
        said = ", ".join(f"{count} {why}" for why, count in sorted(tally.refused.items()))
        warn(f"packcodec: {counted(tally.refused.total(), 'frame')} gave no record: {said}")


def event_json(event: Event) -> dict[str, Any]:
    """An event as one line of a stream."""
    said: dict[str, Any] = {"event": type(event).__name__.lower()}
    for name in event.__dataclass_fields__:
        value = getattr(event, name)
        if name == "record":
            value = value.to_json()
        if name == "day":
            value = value.isoformat()
        said[name] = value.hex() if isinstance(value, bytes) else to_json(value)
    return said


def _tell(text: str) -> None:
    warn(f"packcodec: {text}")


def _show(tally: "Tally") -> None:
    say(f"{tally.frames} frames heard")
    for kind, count in sorted(tally.kinds.items()):
        say(f"  {count} {kind}")
    for why, count in sorted(tally.refused.items()):
        say(f"  {count} gave no record: {why}")
    if tally.missing:
        say(f"  {tally.missing} numbers were missing when the next one came")


def _source(
    named: str,
    form: Form | None,
    base: str,
    reader: Callable[[Form], Reader],
    received: datetime | None,
) -> Source:
    scheme, _, rest = named.partition(":")
    makers = {"serial": _serial, "udp": _udp, "mqtt": _mqtt, "mqtts": _mqtt}
    if scheme in makers and rest:
        text_reader = reader(form) if form is not None else None
        return makers[scheme](named, base, text_reader)
    if "://" in named:
        raise SourceError(
            "is no source that is known", place=named, remedy="see packcodec receive --help"
        )
    return FileSource(named, reader(form or "hex"), received)


def _serial(named: str, base: str, _reader: Reader | None) -> Source:
    port, _, query = named.removeprefix("serial:").partition("?")
    said = _options(named, query, ("baud", "framing"))
    baud = said.get("baud", "115200")
    if not baud.isdecimal():
        raise SourceError(f"baud is {baud!r}", place=named, remedy="give a number")
    return SerialSource(port, base, int(baud), said.get("framing", "cobs"))


def _udp(named: str, base: str, reader: Reader | None) -> Source:
    host, port, _ = _address(named)
    if port is None:
        raise SourceError("has no port", place=named, remedy="write udp://0.0.0.0:5005")
    return UdpSource(host or "0.0.0.0", port, base, reader)


def _mqtt(named: str, base: str, reader: Reader | None) -> Source:
    part("paho.mqtt.client", "base")
    host, port, url = _address(named)
    said = _options(named, url.query, ("client", "group"))
    topic = unquote(url.path.removeprefix("/"))
    if url.fragment or named.endswith("#"):
        # The # of a topic filter, which a URL takes for the start of something else.
        query = url.fragment.removeprefix("?")
        said = said or _options(named, query, ("client", "group"))
        topic += "#"
    if not topic or not host:
        raise SourceError("has no topic", place=named, remedy="write mqtt://host/topic")
    return MqttSource(
        host=host,
        port=port or MQTT_PORTS[url.scheme],
        topic=topic,
        client=said.get("client", f"packcodec-{socket.gethostname()}-{base}"),
        base=base,
        reader=reader,
        group=said.get("group", ""),
        user=url.username,
        password=os.environ.get(PASSWORD),
        tls=url.scheme == "mqtts",
    )


def _address(named: str) -> tuple[str, int | None, Any]:
    url = urlsplit(named)
    try:
        return url.hostname or "", url.port, url
    except ValueError as error:
        raise SourceError(
            str(error),
            place=named,
            remedy="write //host:port, a port of 0 to 65535, and an IPv6 address in [ ]",
        ) from None


def _options(named: str, query: str, known: tuple[str, ...]) -> dict[str, str]:
    said = dict(parse_qsl(query))
    for name in said:
        if name not in known:
            raise SourceError(
                f"has no option {name!r}", place=named, remedy=f"use {' and '.join(known)}"
            )
    return said
