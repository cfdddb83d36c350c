"""Where everything is kept: one SQLite file by default, any SQLAlchemy URL by setting."""

from sourcing.storage.store import Store, open_store

__all__ = ["Store", "open_store"]
