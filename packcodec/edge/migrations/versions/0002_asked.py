"""Missing lists that were signed."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.create_table(
        "asked",
        sa.Column("station", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("number", sa.BigInteger, primary_key=True, autoincrement=False),
        sa.Column("asked_us", sa.BigInteger, nullable=False),
        sa.Column("counters", sa.Text, nullable=False),
        sa.Column("bytes", sa.LargeBinary, nullable=False),
        sqlite_with_rowid=False,
    )
