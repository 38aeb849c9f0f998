"""From a store, or from records as lines, to a dataset."""

import json
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from packcodec.base.events import Forgeries
from packcodec.codec.record import Record
from packcodec.dataset.build import Heard, build
from packcodec.dataset.inputs import read_deployments, read_project
from packcodec.dataset.model import Dataset
from packcodec.dataset.protect import protect
from packcodec.edge.files import CHECK_NAME, NAME_READABLE, load
from packcodec.edge.lines import read_records
from packcodec.edge.logs import named, opened
from packcodec.errors import LogError
from packcodec.frame.codec import Codec

SQLITE = b"SQLite format 3\x00"


@dataclass(frozen=True, slots=True)
class Told:
    """What a source holds for one schema: records, numbers that hold none, and what was passed.

    `other_layouts` records were read with another schema and are left to an export with that one.
    `unverified` are days on which frames that name a station did not verify.
    """

    heard: tuple[Heard, ...]
    unsent: frozenset[tuple[int, int]] = frozenset()
    other_layouts: int = 0
    refused: tuple[LogError, ...] = ()
    unverified: tuple[Forgeries, ...] = ()


def read_dataset(
    codec: Codec, told: Told, deployments: str, project: str, *, created: datetime
) -> Dataset:
    """The dataset of what was told, with the deployments and the project in these files.

    Raises LogError naming file and place.
    """
    return build(
        codec.schema,
        read_project(_text(project), project),
        read_deployments(_text(deployments), codec.schema, deployments),
        told.heard,
        created=created,
        unsent=told.unsent,
    )


def load_dataset(
    schema: str, source: str, *, deployments: str, project: str, exact: bool = False
) -> Dataset:
    """The dataset of a store or of records as lines, in one call, for notebooks.

    Sensitive species are kept back unless `exact`. `packcodec.dataset.to_pandas` and `to_arrow`
    make data frames of it. Raises SchemaError, LogError or StoreError.
    """
    codec = load(schema)
    told = read_source(source, codec)
    data = read_dataset(codec, told, deployments, project, created=datetime.now(UTC))
    return protect(data, exact=exact)


def read_source(source: str, codec: Codec) -> Told:
    """The records of a store (file or PostgreSQL URL), or of JSON Lines ("-": standard input).

    Raises LogError or StoreError.
    """
    if "://" in source or _is_store(source):
        return _from_store(source, codec)
    heard: list[Heard] = []
    refused: list[LogError] = []
    with opened(source) as lines:
        for each in read_records(lines, named(source)):
            if isinstance(each, LogError):
                refused.append(each)
            else:
                heard.append(Heard(each[1]))
    return Told(tuple(heard), refused=tuple(refused))


def _is_store(source: str) -> bool:
    try:
        with open(source, "rb") as file:
            return file.read(len(SQLITE)) == SQLITE
    except OSError:
        return False


def _from_store(source: str, codec: Codec) -> Told:
    # The database library is an optional part, and is loaded only where there is a database.
    from sqlalchemy import select
    from sqlalchemy.exc import SQLAlchemyError

    from packcodec.base.cover import State
    from packcodec.edge.database import not_read, open_database, reading
    from packcodec.edge.store_failures import failures
    from packcodec.edge.tables import card, frame, from_us, layout

    engine = open_database(source)
    try:
        with reading(engine) as connection:
            own = connection.scalar(
                select(layout.c.number).where(layout.c.identity == codec.layout.identity)
            )
            frames = connection.execute(
                select(frame).order_by(frame.c.station, frame.c.counter)
            ).all()
            cards = connection.execute(
                select(card).order_by(card.c.station, card.c.said_us, card.c.place)
            ).all()
        unverified = tuple(failures(engine))
    except SQLAlchemyError as error:
        raise not_read(engine, error) from error
    finally:
        engine.dispose()
    heard = [
        Heard(
            _record(row.message, row.record, row.station, row.counter),
            None if row.received_us is None else from_us(row.received_us),
            "radio" if row.state == State.HEARD else "recovered",
            row.counter,
            None if row.bytes is None else len(row.bytes),
            None if row.corrected_us is None else from_us(row.corrected_us),
            (row.uncertain_us or 0) / 1e6,
        )
        for row in frames
        if row.layout == own and row.record is not None
    ]
    by_radio = {(row.station, row.message, row.said_us) for row in frames if row.said_us}
    from_card = [
        Heard(_record(row.message, row.record, row.station, None), None, "card")
        for row in cards
        if (row.station, row.message, row.said_us) not in by_radio
    ]
    return Told(
        (*heard, *from_card),
        frozenset((row.station, row.counter) for row in frames if row.state == State.UNSENT),
        sum(row.layout != own and row.record is not None for row in frames),
        unverified=unverified,
    )


def _record(message: str, text: str, station: int, counter: int | None) -> Record:
    values: dict[str, Any] = json.loads(text)
    return Record(message, values, station, counter)


def _text(path: str) -> str:
    try:
        return Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise LogError("the file is not there", place=path, remedy=CHECK_NAME) from None
    except OSError as error:
        problem = f"cannot be read: {error.strerror}"
        raise LogError(problem, place=path, remedy=NAME_READABLE) from None
    except UnicodeDecodeError:
        raise LogError("is not UTF-8 text", place=path, remedy="save it as UTF-8") from None


def said(told: Told) -> Iterator[str]:
    """What of a source is in no dataset, a line each."""
    for error in told.refused:
        yield str(error)
    if told.other_layouts:
        yield f"{told.other_layouts} records of another schema are left out"


def source_mark(source: str) -> object:
    """Something that changes whenever the source does, and is quick to ask.

    Raises LogError or StoreError where the source cannot be reached.
    """
    if "://" in source:
        return _store_mark(source)
    marks: list[tuple[int, int] | None] = []
    # A database in a file has its latest changes in a log beside it.
    for path in (Path(source), Path(f"{source}-wal")):
        try:
            found = path.stat()
            marks.append((found.st_mtime_ns, found.st_size))
        except FileNotFoundError:
            marks.append(None)
        except OSError as error:
            problem = f"cannot be read: {error.strerror}"
            raise LogError(problem, place=str(path), remedy=NAME_READABLE) from None
    if marks[0] is None:
        raise LogError("the file is not there", place=source, remedy=CHECK_NAME)
    return tuple(marks)


def _store_mark(source: str) -> object:
    from sqlalchemy import func, select
    from sqlalchemy.exc import SQLAlchemyError

    from packcodec.edge.database import not_read, open_database, reading
    from packcodec.edge.tables import card, station, stray

    engine = open_database(source)
    try:
        with reading(engine) as connection:
            versions = connection.scalar(select(func.sum(station.c.version)))
            cards = connection.scalar(select(func.count()).select_from(card))
            # They change no station's version, and may be an alarm.
            claims = connection.scalar(select(func.count()).where(stray.c.claimed.is_not(None)))
    except SQLAlchemyError as error:
        raise not_read(engine, error) from error
    finally:
        engine.dispose()
    return versions, cards, claims
