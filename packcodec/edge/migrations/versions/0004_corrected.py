"""Times put right by the clock's fit, beside those that the station said."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    op.add_column("frame", sa.Column("corrected_us", sa.BigInteger))
    op.add_column("frame", sa.Column("uncertain_us", sa.BigInteger))
