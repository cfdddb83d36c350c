"""A copy of the data as it was before a long write, for readers while the file itself is shut to them.

With a rollback journal a writer whose changes outgrow its cache has to write to the file before it is done, and until
it is done nobody else can read (sqlite.org/lockingv3.html, sections 3 and 5). What a reader may see until then is what
was there before, so a copy of that serves as well. The writer holds a lock on the copy (``flock``), which the system
takes away from a process that dies, so that one left behind by a crash is never taken for the truth.
"""

from __future__ import annotations

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

try:
    import fcntl
except ImportError:  # Windows: readers wait, as they do without a copy
    fcntl = None  # type: ignore[assignment]

_SPARE = 3  # times its size that is to be free on the disk: for the copy, the journal, and what is written


def path_of(file: str) -> Path:
    """Return where the copy of a data file stands while there is one."""
    return Path(f"{file}-before")


class Earlier:
    """The copy a writer makes and holds.

    Parameters
    ----------
    file : str
        The data file; the caller has begun to write and has written nothing to it yet.
    """

    def __init__(self, file: str) -> None:
        self._path = path_of(file)
        self._held: int | None = None
        if fcntl is None or shutil.disk_usage(self._path.parent).free < _SPARE * os.path.getsize(file):
            return
        fresh = self._path.with_name(f"{self._path.name}.new")
        try:
            fresh.unlink(missing_ok=True)
            self._held = os.open(fresh, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
            fcntl.flock(self._held, fcntl.LOCK_EX | fcntl.LOCK_NB)
            _copy(file, fresh)
            fresh.rename(self._path)  # whole and held from the first moment it can be found
        except (OSError, sqlite3.Error):  # then readers wait, as they do without a copy
            fresh.unlink(missing_ok=True)
            self.end()

    def end(self) -> None:
        """Remove the copy; to be called before the writer commits, so that nobody reads it afterwards."""
        if self._held is not None:
            self._path.unlink(missing_ok=True)
            os.close(self._held)
            self._held = None


def _copy(file: str, target: Path) -> None:
    """Copy what is committed, by SQLite itself: closing any other handle of the file would let go of its locks."""
    with contextlib.closing(sqlite3.connect(file)) as source, contextlib.closing(_opened(target, "nolock=1")) as copy:
        copy.execute("PRAGMA journal_mode=OFF")
        copy.execute("PRAGMA synchronous=OFF")
        source.backup(copy)


def _opened(path: Path, how: str) -> sqlite3.Connection:
    return sqlite3.connect(f"{path.absolute().as_uri()}?{how}", uri=True)


class Reader:
    """One thread's connection to the copy, while there is one that is held."""

    def __init__(self, file: str) -> None:
        self._path = path_of(file)
        self._name = str(self._path)
        self._connection: Any = None
        self._which: tuple[int, int] | None = None

    def connection(self, prepare: Callable[[Any], None]) -> Any:
        """Return it, opened where need be; None where there is no copy, or nobody holds it any more."""
        try:
            stat = os.stat(self._name)  # at every read, so by the quickest way
        except OSError:
            self.close()
            return None
        which = (stat.st_ino, stat.st_ctime_ns)
        if not held(self._path):
            self.close()
            return None
        if which != self._which:
            self.close()
            try:  # nobody writes to it: no locks are asked for
                self._connection = _opened(self._path, "mode=ro&immutable=1")
                prepare(self._connection)
                self._connection.execute("PRAGMA cache_size=-8192")
            except sqlite3.Error:  # removed at this moment
                self.close()
                return None
            self._which = which
        return self._connection

    def close(self) -> None:
        """Let go of it, so that its space on the disk is free."""
        if self._connection is not None:
            self._connection.close()
        self._connection = self._which = None


def held(path: Path) -> bool:
    """Tell whether a writer that is alive holds the copy."""
    if fcntl is None:
        return False
    try:
        handle = os.open(path, os.O_RDONLY)
    except OSError:
        return False
    try:
        fcntl.flock(handle, fcntl.LOCK_SH | fcntl.LOCK_NB)
    except BlockingIOError:
        return True
    except OSError:  # a disk that knows no such locks
        return False
    finally:
        os.close(handle)
    return False


def sweep(file: str) -> None:
    """Remove a copy that a crash has left behind."""
    for path in (path_of(file), path_of(file).with_name(f"{path_of(file).name}.new")):
        if path.exists() and not held(path):
            with contextlib.suppress(OSError):
                path.unlink()
