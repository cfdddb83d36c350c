"""Open the store: engine, pragmas, migrations, one writer at a time, a kept connection for reading."""

from __future__ import annotations

import contextlib
import sqlite3
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sourcing.storage import earlier
from sourcing.storage.place import file_of, make_file, url_of
from sourcing.storage.words import busy, plain_words

if TYPE_CHECKING:  # importing SQLAlchemy costs more than loading 30,000 comps, so it waits until it is needed
    from sqlalchemy.engine import Connection, Engine

APPLICATION_ID = 0x53524347  # "SRCG", so that another program's file is refused instead of written to
BUSY_MS = 5_000
_ALONE = 0.02  # seconds
# The WAL-reset race can corrupt a database under two writers; fixed in 3.51.3 (sqlite.org release notes).
_WAL_IS_SAFE = sqlite3.sqlite_version_info >= (3, 51, 3)


class Store:
    """One open database.

    ``write()`` is a ``BEGIN IMMEDIATE`` transaction, ``read()`` runs one statement on a connection kept by
    the calling thread, which costs a quarter of a fresh checkout (see docs/benchmarks.md). Reading and bulk
    writing of an SQLite file go to the driver directly; SQLAlchemy serves `write` and any other URL.
    """

    def __init__(self, url: str) -> None:
        self.url = url
        self._local = threading.local()
        self._writer = threading.Lock()
        self._file = file_of(url)
        self._earlier: earlier.Earlier | None = None  # while this store writes much
        if self._file is None:
            _ = self.engine  # a URL that makes no sense is to be refused now, not at first use

    @cached_property
    def engine(self) -> Engine:
        """The SQLAlchemy engine; two threads that ask for the first time at once may each make one, to no harm."""
        return _make_engine(self.url)

    @property
    def is_sqlite(self) -> bool:
        """Whether it is SQLite, in a file or in memory."""
        return self._file is not None or self.engine.dialect.name == "sqlite"

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
        from sqlalchemy.exc import DBAPIError

        with self._only_writer():
            try:
                with self.engine.connect() as plain:
                    connection = plain.execution_options(sourcing_writes=True)
                    with connection.begin():
                        yield connection
            except DBAPIError as error:
                words = plain_words(error.orig)
                if words is None:
                    raise
                raise words from error

    @contextmanager
    def write_rows(self) -> Iterator[Any]:
        """Do as `write`, but yield the driver's own connection (``?`` marks), for statements run a thousand times.

        It is the connection `read` keeps for this thread, so what is written is seen by a `read` at once.

        Raises
        ------
        Busy, Refused
            As `write`.
        """
        if self._file is None:
            with self.write() as connection:
                yield connection.connection.driver_connection
            return
        with self._only_writer():
            raw = self._kept()
            raw.execute("BEGIN IMMEDIATE")
            self._local.writes = True
            try:
                yield raw
                self._end_earlier()
                raw.execute("COMMIT")
            finally:
                self._local.writes = False
                self._local.once = {}  # this connection is not told of what it wrote itself
                self._end_earlier()
                if raw.in_transaction:  # an error above; some, like a full disk, have rolled back already
                    raw.execute("ROLLBACK")

    def keep_readable(self) -> None:
        """Let others read what was there before while much is written; to be called inside `write_rows`, before it is.

        Costs a copy of the file. Where none can be made, or none is needed, readers have to wait once the cache is
        full, or never.
        """
        if self._file is not None and self._earlier is None and not self._is_wal():
            self._earlier = earlier.Earlier(self._file)

    @property
    def is_long_written(self) -> bool:
        """Whether somebody is in the middle of writing much, so that to wait for it would take long."""
        return self._before() is not None

    def _is_wal(self) -> bool:
        return bool(self._kept().execute("PRAGMA journal_mode").fetchone()[0] == "wal")

    def _end_earlier(self) -> None:
        if self._earlier is not None:
            self._earlier.end()
            self._earlier = None

    @contextmanager
    def _only_writer(self) -> Iterator[None]:
        if not self._writer.acquire(timeout=BUSY_MS / 1000):
            raise busy()
        try:
            yield
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
            try:
                return _all(self._before() or self._kept(), statement, values)
            except sqlite3.OperationalError:
                before = self._before()  # a long write may have begun just now
                if before is None:
                    raise
                return _all(before, statement, values)
        except sqlite3.Error as error:
            words = plain_words(error)
            if words is None:
                raise
            raise words from error

    def read_once(self, statement: str) -> list[tuple[Any, ...]]:
        """Do as `read` for a statement without values, again only after somebody committed something.

        SQLite tells a connection whether the file was written by another (``PRAGMA data_version``), in a tenth of what
        a few small queries take; what this thread writes with `write_rows` ends what is kept by itself.

        Raises
        ------
        Busy, Refused
            As `read`.
        """
        if self._file is None or getattr(self._local, "writes", False):
            return self.read(statement)
        version = (id(self._before() or self._kept()), self.read("PRAGMA data_version")[0])
        kept: dict[str, Any] = self._local.__dict__.setdefault("once", {})
        found = kept.get(statement)
        if found is None or found[0] != version:
            found = kept[statement] = (version, self.read(statement))
        rows: list[tuple[Any, ...]] = found[1]
        return rows

    def _before(self) -> Any:
        """Return a connection to what was there before a long write of somebody else; None while there is none.

        That there is none is believed for a moment: to look takes a tenth of a quick read.
        """
        local, now = self._local, time.monotonic()
        if self._file is None or now < getattr(local, "alone_until", 0.0) or getattr(local, "writes", False):
            return None
        reader = getattr(local, "reader", None)
        if reader is None:
            reader = local.reader = earlier.Reader(self._file)
        found = reader.connection(_prepare)
        if found is None:
            local.alone_until = now + _ALONE
        return found

    def _kept(self) -> Any:
        kept = getattr(self._local, "connection", None)
        if kept is None:
            if self._file is not None:
                kept = self._local.owner = sqlite3.connect(self._file)
                _prepare(kept)
            else:
                # Holding the pool's proxy keeps its connection from being handed to another thread.
                self._local.owner = self.engine.raw_connection()
                kept = self._local.owner.driver_connection
            self._local.connection = kept
        return kept

    def close(self) -> None:
        """Let go of this thread's connection and of the pool; a later call opens anew."""
        owner = getattr(self._local, "owner", None)
        reader = getattr(self._local, "reader", None)
        if reader is not None:
            reader.close()
        if owner is not None:
            owner.close()
        self._local.__dict__.clear()
        if "engine" in self.__dict__:
            self.engine.dispose()


def _all(connection: Any, statement: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    cursor = connection.execute(statement, tuple(values))
    try:
        return cursor.fetchall()  # type: ignore[no-any-return]
    finally:
        cursor.close()


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
        make_file(path)
        earlier.sweep(str(path))
        url = url_of(path)
    store = Store(url)
    _bring_to_head(store)
    if path is not None and path.stat().st_mode & 0o077:
        # Only now, so that another program's file keeps its mode.
        with contextlib.suppress(PermissionError):
            path.chmod(0o600)
    return store


def _prepare(connection: Any) -> None:
    """Set up a fresh connection of the driver."""
    connection.isolation_level = None  # we say BEGIN ourselves
    run = connection.execute
    run(f"PRAGMA busy_timeout={BUSY_MS}")
    run("PRAGMA foreign_keys=ON")
    run("PRAGMA trusted_schema=OFF")
    run("PRAGMA synchronous=FULL")
    run("PRAGMA cache_size=-65536")
    run("PRAGMA mmap_size=0")
    if not _WAL_IS_SAFE:
        run("PRAGMA journal_mode=DELETE")


def _make_engine(url: str) -> Engine:
    import sqlalchemy as sa

    engine = sa.create_engine(url)
    if engine.dialect.name != "sqlite":
        return engine
    if ":memory:" not in url and url != "sqlite://":
        engine = sa.create_engine(url, pool_size=16, max_overflow=16)

    @sa.event.listens_for(engine, "connect")
    def _on_connect(connection: Any, _record: Any) -> None:
        _prepare(connection)

    @sa.event.listens_for(engine, "begin")
    def _on_begin(connection: Connection) -> None:
        # A transaction that reads first and writes later fails at once when another wrote in between, so a
        # writer takes the lock at its start; a reader must not take it at all.
        writes = connection.get_execution_options().get("sourcing_writes")
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _bring_to_head(store: Store) -> None:
    from sourcing.storage.migrate import bring_to_head, is_current

    if store.is_sqlite and is_current(store.read, APPLICATION_ID):
        return
    from sqlalchemy.exc import DBAPIError

    try:
        bring_to_head(store.engine, APPLICATION_ID)
    except (DBAPIError, sqlite3.Error) as error:
        words = plain_words(error.orig if isinstance(error, DBAPIError) else error)
        if words is None:
            raise
        raise words from error
