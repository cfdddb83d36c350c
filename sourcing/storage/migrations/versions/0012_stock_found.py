"""Stock found by its codes and counted by state without going through all of it."""

from alembic import op

revision = "0012"
down_revision = "0011"


def upgrade() -> None:
    """Add the indexes."""
    op.create_index("stock_item_by_style_code", "stock_item", ["style_code"])
    op.create_index("stock_item_by_gtin", "stock_item", ["gtin"])
    op.create_index("stock_item_costs", "stock_item", ["state", "landed"])
    op.create_index("stock_action_by_kind", "stock_action", ["kind"])
