"""What phones sent after a while without the server, each thing once; and a name of these data's own."""

import secrets

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Add the tables, and the name."""
    op.create_table(
        "sent",
        sa.Column("client_id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("state", sa.Text(), nullable=False),
        sa.Column("target", sa.Integer()),
        sa.Column("said", sa.Text(), nullable=False),
        sa.Column("at", sa.Text(), nullable=False),
        sa.Column("phone_at", sa.Text(), nullable=False),
        sa.Column("received_at", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("client_id"),
        sqlite_with_rowid=False,
    )
    op.create_index("sent_by_target", "sent", ["kind", "target"])
    about = op.create_table(
        "about",
        sa.Column("name", sa.Text(), nullable=False),
        sa.Column("value", sa.Text(), nullable=False),
        sa.PrimaryKeyConstraint("name"),
    )
    op.bulk_insert(about, [{"name": "server", "value": secrets.token_hex(8)}])
