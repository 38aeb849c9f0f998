"""Which station a frame names that does not verify with its key."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    op.add_column("stray", sa.Column("claimed", sa.BigInteger))
    op.create_index("stray_by_claim", "stray", ["claimed", "received_us"])
