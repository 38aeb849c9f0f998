"""Missing lists out of the store: what each station is asked for, kept before it leaves."""

import json
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import Connection, Engine, and_, func, select
from sqlalchemy.exc import SQLAlchemyError

from packcodec.base.ask import Asked, ask, never_used
from packcodec.base.cover import State
from packcodec.edge.database import not_kept, reading
from packcodec.edge.tables import asked, frame, from_us, layout, station, to_us
from packcodec.errors import DecodeError, KeysError
from packcodec.frame.codec import Codec
from packcodec.frame.missing import KEPT_FRAMES


@dataclass(frozen=True, slots=True)
class ListFrame:
    """A list for a station, to be sent as it is."""

    station: int
    frame: bytes
    asked: Asked


def stations_heard(engine: Engine) -> list[int]:
    """Every station that the store knows, in order."""
    with reading(engine) as connection:
        return list(connection.scalars(select(station.c.station).order_by(station.c.station)))


def unasked(
    engine: Engine, codecs: Sequence[Codec], stations: Iterable[int]
) -> Iterator[tuple[int, str]]:
    """Those of `stations` that `lists` passes over, whatever they miss, each with the reason."""
    by_identity = {codec.layout.identity: codec for codec in codecs}
    with reading(engine) as connection:
        for number in stations:
            _, highest = _ends(connection, number)
            if highest is None:
                yield number, "was never heard"
            elif _speaks(connection, by_identity, number, highest) is None:
                yield number, "speaks another schema"


def lists(
    engine: Engine,
    codecs: Sequence[Codec],
    stations: Iterable[int],
    now: datetime,
    most_bytes: int,
) -> Iterator[ListFrame]:
    """A list for each of these stations that has something to be asked for and was not asked today.

    A station whose newest frame is of none of `codecs` gets none. Each list is in the store when it
    is given. Raises KeysError for a station without a key or with one that does not open what it
    sent, StoreError where nothing can be kept.
    """
    by_identity = {codec.layout.identity: codec for codec in codecs}
    for number in stations:
        try:
            with engine.begin() as connection:
                made = _list(connection, by_identity, number, now, most_bytes)
        except SQLAlchemyError as error:
            raise not_kept(engine, error, "a list", "none was made") from error
        if made is not None:
            yield made


def _list(
    connection: Connection,
    codecs: dict[bytes, Codec],
    number: int,
    now: datetime,
    most_bytes: int,
) -> ListFrame | None:
    # Of two that ask at once, the second must see what the first has signed.
    connection.execute(
        select(station.c.station).where(station.c.station == number).with_for_update()
    )
    first, highest = _ends(connection, number)
    if first is None or highest is None:
        return None
    codec = _speaks(connection, codecs, number, highest)
    if codec is None:
        return None
    _check_key(connection, codec, number, highest)
    missing = _missing(connection, codecs, number, max(first, highest + 1 - KEPT_FRAMES), highest)
    before = [
        Asked(row.number, from_us(row.asked_us), tuple(json.loads(row.counters)))
        for row in connection.execute(
            select(asked).where(asked.c.station == number).order_by(asked.c.number)
        )
    ]
    key = codec.key(number)
    made = ask(key, number, codec.schema, missing, highest, before, now, most_bytes)
    if made is None:
        return None
    said = made[1]
    connection.execute(
        asked.insert(),
        {
            "station": number,
            "number": said.number,
            "asked_us": to_us(said.at),
            "counters": json.dumps(said.counters),
            "bytes": made[0],
        },
    )
    return ListFrame(number, *made)


def _ends(connection: Connection, number: int) -> tuple[int | None, int | None]:
    """The lowest and the highest counter that was heard."""
    own = and_(frame.c.station == number, frame.c.state == State.HEARD)
    first, highest = connection.execute(
        select(func.min(frame.c.counter), func.max(frame.c.counter)).where(own)
    ).one()
    return first, highest


def _check_key(connection: Connection, codec: Codec, number: int, highest: int) -> None:
    """A list signed with a wrong key is heard by nobody, and the day is lost."""
    if not codec.has_key(number):
        return
    own = and_(frame.c.station == number, frame.c.counter == highest)
    row = connection.execute(select(frame.c.bytes, frame.c.message).where(own)).one()
    try:
        codec.open(
            bytes(row.bytes), station=number, message=row.message, expected={number: highest}
        )
    except DecodeError:
        raise KeysError(
            f"the one for station {number} does not open what it sent",
            place="keys",
            remedy="give the key that the station has",
        ) from None


def _speaks(
    connection: Connection, codecs: dict[bytes, Codec], number: int, highest: int
) -> Codec | None:
    """What the station spoke last, where that is known."""
    identity = connection.scalar(
        select(layout.c.identity)
        .join(frame, frame.c.layout == layout.c.number)
        .where(frame.c.station == number, frame.c.counter == highest)
    )
    return codecs.get(bytes(identity or b""))


def _missing(
    connection: Connection, codecs: dict[bytes, Codec], number: int, first: int, highest: int
) -> list[int]:
    """Counters first..highest of which nothing is known, without those declared never used."""
    rows = connection.execute(
        select(frame.c.counter, frame.c.message, frame.c.record, layout.c.identity)
        .outerjoin(layout, layout.c.number == frame.c.layout)
        .where(
            frame.c.station == number,
            frame.c.counter >= first,
            frame.c.state != State.UNPROTECTED,
        )
    ).all()
    known = {row.counter for row in rows}
    unused: set[int] = set()
    for row in rows:
        codec = codecs.get(bytes(row.identity or b""))
        if codec is not None and row.message is not None:
            message = codec.payloads[row.message].message.message
            unused.update(never_used(message, json.loads(row.record), row.counter, known))
    return [each for each in range(first, highest) if each not in known and each not in unused]
