"""Which cautions were dismissed, so that each is shown until it was read and no longer."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "caution",
        sa.Column("name", sa.Text(), primary_key=True),
        sa.Column("dismissed_at", sa.Text(), nullable=False),
    )
