"""Observed extremes are worked out from the readings when asked for: nothing ever wrote them down."""

from alembic import op

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    op.drop_table("extremes")
