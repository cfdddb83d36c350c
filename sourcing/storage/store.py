"""Open the store: engine, pragmas, migrations, one write transaction at a time, a kept connection for reading."""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from sourcing.errors import Busy, Refused

APPLICATION_ID = 0x53524347  # "SRCG", so that another program's file is refused instead of written to
BUSY_MS = 5_000
# The WAL-reset race can corrupt a database under two writers; fixed in 3.51.3 (sqlite.org release notes).
_WAL_IS_SAFE = sqlite3.sqlite_version_info >= (3, 51, 3)


class Store:
    """One open database.

    ``write()`` is a ``BEGIN IMMEDIATE`` transaction, ``read()`` runs one statement on a connection kept by the
    calling thread, which costs a quarter of a fresh checkout (see docs/benchmarks.md).
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine: Engine = _make_engine(url)
        self._local = threading.local()
        self._writer = threading.RLock()

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Yield a connection inside one transaction; commit at the end, roll back on any error.

        Raises
        ------
        Busy
            Another process holds the database for longer than the busy timeout.
        Refused
            The disk is full or the file is read-only; nothing was written.
        """
        with self._writer:
            try:
                with self.engine.begin() as connection:
                    yield connection
            except sa.exc.OperationalError as error:
                raise _plain_words(error) from error

    def read(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Run one driver-level SELECT (``?`` marks) on this thread's kept connection and fetch all rows."""
        cursor = self._kept().execute(statement, tuple(values))
        try:
            return cursor.fetchall()  # type: ignore[no-any-return]
        finally:
            cursor.close()

    def _kept(self) -> Any:
        kept = getattr(self._local, "connection", None)
        if kept is None:
            fairy = self.engine.raw_connection()
            self._local.fairy = fairy  # holding the pool's proxy keeps it from being handed to another thread
            kept = self._local.connection = fairy.driver_connection
        return kept

    def close(self) -> None:
        """Let go of the pool; a later call opens anew."""
        fairy = getattr(self._local, "fairy", None)
        if fairy is not None:
            fairy.close()
            del self._local.fairy, self._local.connection
        self.engine.dispose()


def open_store(url: str) -> Store:
    """Open (and create or migrate) the store at a SQLAlchemy URL, or at a file path.

    Raises
    ------
    Refused
        The file belongs to another program or to a newer version of this one.
    """
    if "://" not in url:
        path = Path(url).expanduser().resolve()
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            # Created with its mode, not changed afterwards: nobody else can open it in between.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        url = f"sqlite:///{path}"
    store = Store(url)
    _bring_to_head(store)
    return store


def _make_engine(url: str) -> Engine:
    engine = sa.create_engine(url, pool_size=16, max_overflow=16)
    if engine.dialect.name != "sqlite":
        return engine

    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves, below
        run = connection.execute
        run(f"PRAGMA busy_timeout={BUSY_MS}")
        run("PRAGMA foreign_keys=ON")
        run("PRAGMA trusted_schema=OFF")
        run("PRAGMA synchronous=FULL")
        run("PRAGMA cache_size=-65536")
        if not _WAL_IS_SAFE:
            run("PRAGMA journal_mode=DELETE")

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        # A transaction that reads first and writes later fails at once when another wrote in between.
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _bring_to_head(store: Store) -> None:
    from sourcing.storage.migrate import bring_to_head

    try:
        bring_to_head(store.engine, APPLICATION_ID)
    except sa.exc.DatabaseError as error:
        raise _plain_words(error) from error


def _plain_words(error: sa.exc.DatabaseError) -> Busy | Refused:
    text = str(error.orig).lower()
    if "locked" in text or "busy" in text:
        return Busy("Another part of the application is writing just now.", next_step="Try again in a moment.")
    if "full" in text or "i/o" in text:
        return Refused("The disk is full or failing; nothing was changed.", next_step="Free some space, then repeat.")
    if "readonly" in text or "read-only" in text:
        return Refused("The data file is read-only; nothing was changed.", next_step="Check its owner and mode.")
    if "not a database" in text or "malformed" in text:
        return Refused(
            "The data file is not a readable database; it was left as it is.",
            next_step="Restore a copy, or name another file with --data.",
        )
    return Refused(f"The database refused: {error.orig}.", next_step="Nothing was changed.")
