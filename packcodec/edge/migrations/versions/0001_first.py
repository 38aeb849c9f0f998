"""The first form of the store."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    op.create_table(
        "layout",
        sa.Column("number", sa.Integer, primary_key=True),
        sa.Column("identity", sa.LargeBinary, nullable=False, unique=True),
        sa.Column("name", sa.Text, nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
    )
    op.create_table(
        "station",
        sa.Column("station", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("version", sa.BigInteger, nullable=False),
    )
    op.create_table(
        "frame",
        sa.Column("station", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("counter", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("layout", sa.Integer, sa.ForeignKey("layout.number")),
        sa.Column("message", sa.Text),
        sa.Column("record", sa.Text),
        sa.Column("state", sa.Text, nullable=False),
        sa.Column("restarted", sa.Boolean, nullable=False),
        sa.Column("said_us", sa.BigInteger),
        sa.Column("received_us", sa.BigInteger),
        sa.Column("bytes", sa.LargeBinary),
        sqlite_with_rowid=False,
    )
    op.create_index("frame_by_time", "frame", ["station", "received_us"])
    op.create_table(
        "reception",
        sa.Column("station", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("counter", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("received_us", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("source", sa.Text, primary_key=True),
        sa.Column("rssi_dbm", sa.Float),
        sa.Column("snr_db", sa.Float),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "stray",
        sa.Column("received_us", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("source", sa.Text, primary_key=True),
        sa.Column("bytes", sa.LargeBinary, primary_key=True),
        sa.Column("why", sa.Text, nullable=False),
        sa.Column("detail", sa.Text, nullable=False),
        sa.Column("rssi_dbm", sa.Float),
        sa.Column("snr_db", sa.Float),
        sa.Column("station", sa.BigInteger),
        sa.Column("message", sa.Text),
        sa.Column("sequence", sa.BigInteger),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "card",
        sa.Column("station", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("message", sa.Text, primary_key=True),
        sa.Column("said_us", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("place", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("log", sa.Text, nullable=False),
        sa.Column("record", sa.Text, nullable=False),
        sqlite_with_rowid=False,
    )
