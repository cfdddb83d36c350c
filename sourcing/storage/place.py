"""Where the data stands: its file, and the URL of it."""

from __future__ import annotations

import os
from pathlib import Path

from sourcing.errors import Refused
from sourcing.language import gettext


def make_file(path: Path) -> None:
    """Make an empty data file that its owner alone may read, and the folder it stands in.

    Raises
    ------
    Refused
        The path cannot be used.
    """
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            # Created with its mode, not changed afterwards: nobody else can open it in between.
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise Refused(
            gettext("The data file {path} cannot be made: {strerror}.", path=path, strerror=error.strerror),
            next_step=gettext("Name a file in a directory you may write to with --data."),
        ) from error
    if path.is_dir():
        raise Refused(
            gettext("{path} is a directory.", path=path),
            gettext("The data file is one file."),
            gettext("Name a file with --data."),
        )


def url_of(path: Path) -> str:
    """Return the SQLAlchemy URL of a data file."""
    if "%" in str(path) or "?" in str(path):  # marks of a URL; their quoting differs between its versions
        from sqlalchemy import URL

        return str(URL.create("sqlite", database=str(path)))
    return f"sqlite:///{path}"


def file_of(url: str) -> str | None:
    """Return the file of a plain SQLite URL; None for memory, options, and other databases."""
    start, _, file = url.partition("sqlite:///")
    plain = not start and file and ":memory:" not in file and not file.startswith("file:")
    return str(Path(file).absolute()) if plain and "%" not in file and "?" not in file else None
