"""Bring a database to the newest schema with Alembic; refuse files of another program or a newer version."""

from __future__ import annotations

from pathlib import Path

from sqlalchemy.engine import Engine

from sourcing.errors import Refused

_HERE = Path(__file__).parent / "migrations"
HEAD = "0001"  # a test holds this to the newest file in migrations/versions


def bring_to_head(engine: Engine, application_id: int) -> None:
    """Create or migrate the schema; cheap when it is current, since Alembic is then not even imported.

    Raises
    ------
    Refused
        The file is another program's, or was written by a newer version.
    """
    with engine.connect() as connection:
        if engine.dialect.name == "sqlite":
            run = connection.exec_driver_sql
            owner = run("PRAGMA application_id").scalar()
            tables = {row[0] for row in run("SELECT name FROM sqlite_master WHERE type='table'")}
            if tables and owner != application_id:
                raise Refused(
                    "The data file holds another program's tables; it was left as it is.",
                    next_step="Name another file with --data.",
                )
            if (
                "alembic_version" in tables
                and run("SELECT version_num FROM alembic_version").scalar() == HEAD
            ):
                return
        connection.rollback()
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
                "The data file was written by a newer version of this application; it was left as it is.",
                next_step="Update the application, or name another file with --data.",
            ) from error
        if engine.dialect.name == "sqlite":
            connection.exec_driver_sql(f"PRAGMA application_id={application_id}")
