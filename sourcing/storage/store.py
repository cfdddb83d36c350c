"""Open the store: engine, pragmas, migrations, one writer at a time, a kept connection for reading."""

from __future__ import annotations

import contextlib
import os
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import sqlalchemy as sa
from sqlalchemy.engine import Connection, Engine

from sourcing.errors import Busy, Refused, SourcingError

APPLICATION_ID = 0x53524347  # "SRCG", so that another program's file is refused instead of written to
BUSY_MS = 5_000
# The WAL-reset race can corrupt a database under two writers; fixed in 3.51.3 (sqlite.org release notes).
_WAL_IS_SAFE = sqlite3.sqlite_version_info >= (3, 51, 3)


class Store:
    """One open database.

    ``write()`` is a ``BEGIN IMMEDIATE`` transaction, ``read()`` runs one statement on a connection kept by
    the calling thread, which costs a quarter of a fresh checkout (see docs/benchmarks.md).
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self.engine: Engine = _make_engine(url)
        self._local = threading.local()
        self._writer = threading.Lock()

    @contextmanager
    def write(self) -> Iterator[Connection]:
        """Yield a connection inside one transaction; commit at the end, roll back on any error.

        Not to be nested: the inner one could only wait for the outer.

        Raises
        ------
        Busy
            Another thread or process writes for longer than the busy timeout.
        Refused
            The disk is full, failing or read-only; nothing was written.
        """
        if not self._writer.acquire(timeout=BUSY_MS / 1000):
            raise _busy()
        try:
            with self.engine.connect() as plain:
                connection = plain.execution_options(sourcing_writes=True)
                with connection.begin():
                    yield connection
        except sa.exc.DBAPIError as error:
            words = plain_words(error.orig)
            if words is None:
                raise
            raise words from error
        except sqlite3.Error as error:  # from statements run on the driver's own connection
            words = plain_words(error)
            if words is None:
                raise
            raise words from error
        finally:
            self._writer.release()

    def read(self, statement: str, values: Sequence[Any] = ()) -> list[tuple[Any, ...]]:
        """Run one driver-level SELECT (``?`` marks) on this thread's kept connection and fetch all rows.

        Raises
        ------
        Busy, Refused
            The database is held by a writer for longer than the busy timeout; it is damaged.
        """
        try:
            cursor = self._kept().execute(statement, tuple(values))
            try:
                return cursor.fetchall()  # type: ignore[no-any-return]
            finally:
                cursor.close()
        except sqlite3.Error as error:
            words = plain_words(error)
            if words is None:
                raise
            raise words from error

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
        The path cannot be used, or the file belongs to another program or to a newer version of this one.
    """
    path = None
    if "://" not in url:
        path = Path(url).expanduser().resolve()
        _make_file(path)
        url = str(sa.URL.create("sqlite", database=str(path)))
    store = Store(url)
    _bring_to_head(store)
    if path is not None and path.stat().st_mode & 0o077:
        # Only now, so that another program's file keeps its mode.
        with contextlib.suppress(PermissionError):
            path.chmod(0o600)
    return store


def _make_file(path: Path) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            # Created with its mode, not changed afterwards: nobody else can open it in between.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise Refused(
            f"The data file {path} cannot be made: {error.strerror}.",
            next_step="Name a file in a directory you may write to with --data.",
        ) from error
    if path.is_dir():
        raise Refused(f"{path} is a directory.", "The data file is one file.", "Name a file with --data.")


def _make_engine(url: str) -> Engine:
    engine = sa.create_engine(url)
    if engine.dialect.name != "sqlite":
        return engine
    if ":memory:" not in url and url != "sqlite://":
        engine = sa.create_engine(url, pool_size=16, max_overflow=16)

    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        connection.isolation_level = None  # we say BEGIN ourselves, below
        run = connection.execute
        run(f"PRAGMA busy_timeout={BUSY_MS}")
        run("PRAGMA foreign_keys=ON")
        run("PRAGMA trusted_schema=OFF")
        run("PRAGMA synchronous=FULL")
        run("PRAGMA cache_size=-65536")
        run("PRAGMA mmap_size=0")
        if not _WAL_IS_SAFE:
            run("PRAGMA journal_mode=DELETE")

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        # A transaction that reads first and writes later fails at once when another wrote in between, so a
        # writer takes the lock at its start; a reader must not take it at all.
        writes = connection.get_execution_options().get("sourcing_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _bring_to_head(store: Store) -> None:
    from sourcing.storage.migrate import bring_to_head

    try:
        bring_to_head(store.engine, APPLICATION_ID)
    except (sa.exc.DBAPIError, sqlite3.Error) as error:
        words = plain_words(error.orig if isinstance(error, sa.exc.DBAPIError) else error)
        if words is None:
            raise
        raise words from error


def plain_words(error: BaseException | None) -> SourcingError | None:
    """Say in plain words what stopped the database; None when it is a mistake of ours, to be seen whole."""
    # The low byte is the primary code; the rest says more about the same cause (sqlite.org/rescode.html).
    code = getattr(error, "sqlite_errorcode", -1) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return _busy()
    if code == sqlite3.SQLITE_FULL:
        return Refused("The disk is full; nothing was changed.", next_step="Free some space, then repeat.")
    if code == sqlite3.SQLITE_IOERR:
        return Refused(
            "The disk is full or failing; nothing was changed.",
            next_step="Check the free space and the disk, then repeat.",
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return Refused(
            "The data file is read-only; nothing was changed.", next_step="Check its owner and mode."
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return Refused("The data file cannot be opened.", next_step="Check its path, owner and mode.")
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return Refused(
            "The data file is not a readable database; it was left as it is.",
            next_step="Restore a copy, or name another file with --data.",
        )
    return None


def _busy() -> Busy:
    return Busy("Another part of the application is writing just now.", next_step="Try again in a moment.")
