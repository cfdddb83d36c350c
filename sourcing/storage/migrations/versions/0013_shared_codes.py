"""Only the uses of codes that several products share are kept: a code that one product uses leads to it."""

from alembic import op

revision = "0013"
down_revision = "0012"


def upgrade() -> None:
    """Drop the uses of all other codes."""
    op.execute("DELETE FROM code_use WHERE gtin IN (SELECT gtin FROM code_use GROUP BY gtin HAVING count(*) = 1)")
