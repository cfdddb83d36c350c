"""Alembic's environment: run on the connection that the store hands over."""

from alembic import context

# Their tables belong to the metadata too.
from sourcing.storage import schema_prep, schema_record, schema_sent, schema_stock, schema_trip  # noqa: F401
from sourcing.storage.schema import metadata

context.configure(connection=context.config.attributes["connection"], target_metadata=metadata, render_as_batch=True)
with context.begin_transaction():
    context.run_migrations()
