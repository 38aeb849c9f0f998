"""Opening the store: SQLite in one file by default, PostgreSQL by URL, both brought up to date.

SQLite runs with a write-ahead log and full synchronisation: a commit that returned outlasts a
power cut, as far as the disk is honest (www.sqlite.org/pragma.html#pragma_synchronous). Whoever
writes takes the write lock at the start, so that two processes never wait on each other.
"""

from pathlib import Path
from typing import Any

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, OperationalError, SQLAlchemyError

from packcodec.edge.parts import part
from packcodec.errors import StoreError

MIGRATIONS = Path(__file__).parent / "migrations"
# Any number, as long as every base uses the same: who holds it may change the tables.
MIGRATION_LOCK = 7_226_225
BUSY_MS = 60_000
# To SQLite, a database in memory: what a base heard would be gone with it.
NO_FILE = ("", ":memory:", "sqlite:///:memory:")
PRAGMAS = (
    "journal_mode = WAL",
    "synchronous = FULL",
    "foreign_keys = ON",
    # 64 MB, and a log that is folded in four times as rarely: for millions of frames at once.
    "cache_size = -64000",
    "wal_autocheckpoint = 4000",
)


def open_database(where: str, *, create: bool = False) -> Engine:
    """An engine for a file name or a URL, with every table there.

    Only with `create` is a file made where there is none: a name with a slip in it must not pass
    for a store that has heard nothing. Raises StoreError.
    """
    if where in NO_FILE:
        raise StoreError("is no name of a store", place=f"{where!r}", remedy=_FORMS)
    engine = _engine(where)
    _check_file(engine, where, create)
    try:
        with engine.begin() as connection:
            _refuse_others(connection, where)
            _migrate(connection)
    except OperationalError as error:
        raise StoreError(
            f"cannot be opened: {error.orig}",
            place=_shown(where),
            remedy="name a file in a folder that is there, or a PostgreSQL server that answers",
        ) from None
    except SQLAlchemyError as error:
        raise StoreError(
            f"is no store of packcodec: {_said(error)}",
            place=_shown(where),
            remedy="name one that packcodec receive made, or a new file",
        ) from None
    return engine


def _check_file(engine: Engine, where: str, create: bool) -> None:
    """A SQLite file must be there and hold something, unless it is to be made."""
    if create or engine.dialect.name != "sqlite":
        return
    file = Path(engine.url.database or "")
    if not file.exists() or (file.is_file() and not file.stat().st_size):
        raise StoreError(
            "there is no store here",
            place=_shown(where),
            remedy="packcodec receive makes one; is the name right?",
        )


def _refuse_others(connection: Connection, where: str) -> None:
    """A SQLite file with tables of another program is left as it is."""
    if connection.dialect.name != "sqlite":
        return
    tables = set(inspect(connection).get_table_names())
    if tables and "alembic_version" not in tables:
        raise StoreError(
            "is the database of another program",
            place=_shown(where),
            remedy="give the store a file of its own",
        )


def reading(engine: Engine) -> Connection:
    """A connection that only reads, and keeps nobody from writing meanwhile."""
    return engine.connect().execution_options(reading=True)


def not_kept(
    engine: Engine,
    error: SQLAlchemyError,
    what: str = "what was heard",
    so: str = "the frames are not acknowledged",
) -> StoreError:
    """The error of what could not be written, and what follows of it."""
    return StoreError(
        f"could not keep {what}: {_said(error)}",
        place=_place(engine),
        remedy=f"make room, or mend the connection; {so}",
    )


def not_read(engine: Engine, error: SQLAlchemyError) -> StoreError:
    """The error of a store that was opened and could not be read."""
    return StoreError(
        f"cannot be read: {_said(error)}",
        place=_place(engine),
        remedy="mend the connection, or the disk",
    )


def _said(error: SQLAlchemyError) -> object:
    return getattr(error, "orig", None) or error


def _place(engine: Engine) -> str:
    return engine.url.render_as_string(hide_password=True)


def _engine(where: str) -> Engine:
    if "://" not in where:
        return _sqlite(where)
    if where.startswith(("postgresql://", "postgres://")):
        part("psycopg", "base")
        _, _, rest = where.partition("://")
        where = f"postgresql+psycopg://{rest}"
    try:
        url = make_url(where)
    except ArgumentError:
        raise StoreError("is no URL", place=_shown(where), remedy=_FORMS) from None
    if url.get_backend_name() == "sqlite" and url.database:
        return _sqlite(url.database)
    if url.get_backend_name() != "postgresql":
        raise StoreError("is neither SQLite nor PostgreSQL", place=_shown(where), remedy=_FORMS)
    # Rows are handed over by place, which psycopg calls format and SQLite's driver qmark.
    return create_engine(url, paramstyle="format")


_FORMS = "give a file name, or postgresql://user@host/database"


def _sqlite(file: str) -> Engine:
    engine = create_engine(f"sqlite:///{file}", connect_args={"timeout": BUSY_MS / 1000})

    @event.listens_for(engine, "connect")
    def set_up(connection: Any, _record: object) -> None:
        # The driver would open transactions of its own; SQLAlchemy says when, below.
        connection.isolation_level = None
        for pragma in PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def begin(connection: Connection) -> None:
        readers = connection.get_execution_options().get("reading", False)
        connection.exec_driver_sql("BEGIN" if readers else "BEGIN IMMEDIATE")

    return engine


def _migrate(connection: Connection) -> None:
    if connection.dialect.name == "postgresql":
        connection.execute(text(f"SELECT pg_advisory_xact_lock({MIGRATION_LOCK})"))
    config = Config(attributes={"connection": connection})
    config.set_main_option("script_location", str(MIGRATIONS))
    command.upgrade(config, "head")


def _shown(where: str) -> str:
    """Without the password that a URL may hold."""
    head, at, tail = where.rpartition("@")
    scheme, slashes, user = head.partition("://")
    return f"{scheme}{slashes}{user.partition(':')[0]}{at}{tail}" if at else where
