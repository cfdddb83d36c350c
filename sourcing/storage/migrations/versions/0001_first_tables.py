"""First tables."""

from alembic import op

from sourcing.storage.schema import metadata

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Create every table as of this version."""
    metadata.create_all(op.get_bind())
