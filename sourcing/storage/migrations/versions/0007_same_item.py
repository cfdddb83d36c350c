"""What item each check was about, so that an item checked before is recognised; checks by moment, for runs."""

import json

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
MANY = 500  # answers are long: so many are read at a time


def upgrade() -> None:
    """Add the columns and fill them from the answers that are kept."""
    op.add_column("checked", sa.Column("gtin", sa.Text(), nullable=False, server_default=""))
    op.add_column("checked", sa.Column("style_size", sa.Text(), nullable=False, server_default=""))
    connection, last = op.get_bind(), 0
    some = sa.text("SELECT id, answer FROM checked WHERE id > :last ORDER BY id LIMIT :many")
    put = sa.text("UPDATE checked SET gtin = :gtin, style_size = :style_size WHERE id = :id")
    while rows := connection.execute(some, {"last": last, "many": MANY}).all():
        connection.execute(put, [{"id": row[0], **_named(json.loads(row[1])["item"])} for row in rows])
        last = rows[-1][0]
    op.create_index("checked_by_gtin", "checked", ["gtin", "id"])
    op.create_index("checked_by_style_size", "checked", ["style_size", "id"])
    op.create_index("checked_by_at", "checked", ["at"])


def _named(item: dict[str, str]) -> dict[str, str]:
    name = item.get("style_code") or f"{item.get('brand', '')} {item.get('title', '')}"
    folded = [" ".join(text.casefold().split()) for text in (name, item.get("size", ""))]
    return {"gtin": item.get("gtin", ""), "style_size": "|".join(folded) if folded[0] else ""}
