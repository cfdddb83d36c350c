"""What stopped the database, in plain words."""

from __future__ import annotations

import sqlite3

from sourcing.errors import Busy, Refused, SourcingError
from sourcing.language import gettext


def plain_words(error: BaseException | None) -> SourcingError | None:
    """Say in plain words what stopped the database; None when it is a mistake of ours, to be seen whole."""
    # The low byte is the primary code; the rest says more about the same cause (sqlite.org/rescode.html).
    code = getattr(error, "sqlite_errorcode", -1) & 0xFF
    if code in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED):
        return busy()
    if code == sqlite3.SQLITE_FULL:
        return Refused(
            gettext("The disk is full; nothing was changed."), next_step=gettext("Free some space, then repeat.")
        )
    if code == sqlite3.SQLITE_IOERR:
        return Refused(
            gettext("The disk is full or failing; nothing was changed."),
            next_step=gettext("Check the free space and the disk, then repeat."),
        )
    if code in (sqlite3.SQLITE_READONLY, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH):
        return Refused(
            gettext("The data file is read-only; nothing was changed."), next_step=gettext("Check its owner and mode.")
        )
    if code == sqlite3.SQLITE_CANTOPEN:
        return Refused(gettext("The data file cannot be opened."), next_step=gettext("Check its path, owner and mode."))
    if code in (sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_CORRUPT):
        return Refused(
            gettext("The data file is not a readable database; it was left as it is."),
            next_step=gettext("Restore a copy, or name another file with --data."),
        )
    return None


def busy() -> Busy:
    """Say that another writer holds the database."""
    return Busy(
        gettext("Another part of the application is writing just now."), next_step=gettext("Try again in a moment.")
    )
