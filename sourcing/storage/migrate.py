"""Bring a database to the newest schema with Alembic; refuse files of another program or a newer version."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sourcing.errors import Refused
from sourcing.language import gettext

if TYPE_CHECKING:
    from sqlalchemy.engine import Engine

_HERE = Path(__file__).parent / "migrations"
HEAD = "0013"  # a test holds this to the newest file in migrations/versions


def is_current(read: Callable[[str], list[tuple[Any, ...]]], application_id: int) -> bool:
    """Tell whether an SQLite database has the newest schema, without importing SQLAlchemy or Alembic.

    Raises
    ------
    Refused
        The file is another program's.
    """
    tables = {row[0] for row in read("SELECT name FROM sqlite_master WHERE type='table'")}
    if tables and read("PRAGMA application_id") != [(application_id,)]:
        raise Refused(
            gettext("The data file holds another program's tables; it was left as it is."),
            next_step=gettext("Name another file with --data."),
        )
    return "alembic_version" in tables and read("SELECT version_num FROM alembic_version") == [(HEAD,)]


def bring_to_head(engine: Engine, application_id: int) -> None:
    """Create or migrate the schema.

    Raises
    ------
    Refused
        The file was written by a newer version.
    """
    from alembic import command
    from alembic.config import Config
    from alembic.util.exc import CommandError

    config = Config()
    config.set_main_option("script_location", str(_HERE))
    with engine.execution_options(sourcing_writes=True).begin() as connection:
        config.attributes["connection"] = connection
        try:
            command.upgrade(config, "head")
        except CommandError as error:
            raise Refused(
                gettext("The data file was written by a newer version of this application; it was left as it is."),
                next_step=gettext("Update the application, or name another file with --data."),
            ) from error
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql(f"PRAGMA application_id={application_id}")
