"""A replay of the history is kept, so that looking at it again costs nothing."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Add the table."""
    op.create_table(
        "replay",
        sa.Column("id", sa.Integer(), primary_key=True),
        sa.Column("made_at", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("stands_on", sa.Text(), nullable=False, unique=True),
        sa.Column("payload", sa.LargeBinary(), nullable=False),
    )
