"""The tables of the store, and the statements that write to them.

    layout      the schemas that frames were read with
    station     one row each, to be locked by whoever writes; `version` tells others to read anew
    frame       one row a counter: heard (with its bytes), recovered, or known to hold nothing
    reception   who heard a frame when, and how well: one row for every copy
    stray       frames that gave no record, as they came, with the reason; `claimed` is the station
                that one names and with whose key it does not verify
    card        records taken from a station's card, beside those of the radio
    asked       missing lists that were signed for a station: no number of them serves twice

Times are microseconds since 1970 in UTC. Of a frame `said_us` is the record's time as the station
said it, `corrected_us` the same put right by the fit of its clock, `uncertain_us` how far that may
be off either way; both are empty where the clock is right as far as anyone can tell.

Everything is written so that writing it again changes nothing. packcodec/edge/migrations holds the
same as steps; a test holds the two together.
"""

from datetime import UTC, datetime, timedelta

from sqlalchemy import (
    BigInteger,
    Boolean,
    Column,
    Float,
    ForeignKey,
    Index,
    Insert,
    Integer,
    LargeBinary,
    MetaData,
    Table,
    Text,
)
from sqlalchemy.dialects import postgresql, sqlite

from packcodec.base.cover import State

metadata = MetaData()

layout = Table(
    "layout",
    metadata,
    Column("number", Integer, primary_key=True),
    Column("identity", LargeBinary, nullable=False, unique=True),
    Column("name", Text, nullable=False),
    Column("version", Integer, nullable=False),
)
station = Table(
    "station",
    metadata,
    Column("station", BigInteger, primary_key=True, autoincrement=False),
    Column("version", BigInteger, nullable=False),
)
frame = Table(
    "frame",
    metadata,
    Column("station", BigInteger, primary_key=True, autoincrement=False),
    Column("counter", BigInteger, primary_key=True, autoincrement=False),
    Column("layout", Integer, ForeignKey("layout.number")),
    Column("message", Text),
    Column("record", Text),
    Column("state", Text, nullable=False),
    Column("restarted", Boolean, nullable=False),
    Column("said_us", BigInteger),
    Column("received_us", BigInteger),
    Column("bytes", LargeBinary),
    Column("corrected_us", BigInteger),
    Column("uncertain_us", BigInteger),
    Index("frame_by_time", "station", "received_us"),
    sqlite_with_rowid=False,
)
reception = Table(
    "reception",
    metadata,
    Column("station", BigInteger, primary_key=True, autoincrement=False),
    Column("counter", BigInteger, primary_key=True, autoincrement=False),
    Column("received_us", BigInteger, primary_key=True, autoincrement=False),
    Column("source", Text, primary_key=True),
    Column("rssi_dbm", Float),
    Column("snr_db", Float),
    sqlite_with_rowid=False,
)
stray = Table(
    "stray",
    metadata,
    Column("received_us", BigInteger, primary_key=True, autoincrement=False),
    Column("source", Text, primary_key=True),
    Column("bytes", LargeBinary, primary_key=True),
    Column("why", Text, nullable=False),
    Column("detail", Text, nullable=False),
    Column("rssi_dbm", Float),
    Column("snr_db", Float),
    Column("station", BigInteger),
    Column("message", Text),
    Column("sequence", BigInteger),
    Column("claimed", BigInteger),
    Index("stray_by_claim", "claimed", "received_us"),
    sqlite_with_rowid=False,
)
card = Table(
    "card",
    metadata,
    Column("station", BigInteger, primary_key=True, autoincrement=False),
    Column("message", Text, primary_key=True),
    Column("said_us", BigInteger, primary_key=True, autoincrement=False),
    Column("place", Integer, primary_key=True, autoincrement=False),
    Column("log", Text, nullable=False),
    Column("record", Text, nullable=False),
    sqlite_with_rowid=False,
)

asked = Table(
    "asked",
    metadata,
    Column("station", BigInteger, primary_key=True, autoincrement=False),
    Column("number", BigInteger, primary_key=True, autoincrement=False),
    Column("asked_us", BigInteger, nullable=False),
    Column("counters", Text, nullable=False),
    Column("bytes", LargeBinary, nullable=False),
    sqlite_with_rowid=False,
)

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)


def to_us(when: datetime) -> int:
    """A time as the tables hold it."""
    return (when - EPOCH) // MICROSECOND


def from_us(us: int) -> datetime:
    """A time that the tables hold."""
    return EPOCH + us * MICROSECOND


def once(dialect: str, table: Table) -> Insert:
    """Insert rows; those that are there already stay as they are."""
    return _insert(dialect, table).on_conflict_do_nothing()


def heard_first(dialect: str) -> Insert:
    """Insert frames; one that was heard takes the place of one that was recovered."""
    statement = _insert(dialect, frame)
    fresh = statement.excluded
    own = [column for column in frame.columns if not column.primary_key]
    return statement.on_conflict_do_update(
        index_elements=[frame.c.station, frame.c.counter],
        set_={column.name: fresh[column.name] for column in own},
        where=frame.c.state != State.HEARD,
    )


def _insert(dialect: str, table: Table) -> sqlite.Insert | postgresql.Insert:
    return postgresql.insert(table) if dialect == "postgresql" else sqlite.insert(table)
