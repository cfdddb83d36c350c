"""Have a workbook or a Parquet file turned into CSV by a child process that is limited in memory and time."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import NamedTuple

from sourcing.comps.files import limits
from sourcing.errors import BadInput
from sourcing.language import gettext, gettext_noop

_CHILD = Path(__file__).with_name("child.py")
_REFUSED = 3


class _Words(NamedTuple):
    """What is said of one kind of file."""

    accepted: str
    instead: str
    too_slow: str
    too_complex: str
    unreadable: str


_WORDS = {
    "workbook": _Words(
        gettext_noop("A whole .xlsx or .ods file."),
        gettext_noop("Save the sheet as CSV (UTF-8) and load that."),
        gettext_noop("Reading the workbook took longer than 90 seconds."),
        gettext_noop("The workbook is too complex: reading it hit the limit of memory or time."),
        gettext_noop("The workbook cannot be read as a spreadsheet."),
    ),
    "parquet": _Words(
        gettext_noop("A whole Parquet file."),
        gettext_noop("Write the table as CSV (UTF-8) and load that."),
        gettext_noop("Reading the Parquet file took longer than 90 seconds."),
        gettext_noop("The Parquet file is too complex: reading it hit the limit of memory or time."),
        gettext_noop("The Parquet file cannot be read as a table."),
    ),
}


@dataclass(frozen=True)
class Told:
    """What the child said about the file."""

    sheet: str = ""
    sheets: tuple[str, ...] = ()  # the visible ones
    hidden: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def to_csv(path: Path, target: Path, kind: str = "workbook", sheet: str = "") -> Told:
    """Write one sheet of the workbook, or the Parquet file, at `path` as UTF-8 CSV to `target`.

    Parameters
    ----------
    path, target : Path
        The file, checked to be no bomb, and where the CSV goes.
    kind : "workbook" or "parquet"
        What it is.
    sheet : str
        The sheet's name; the first visible one when left out.

    Raises
    ------
    BadInput
        Reading it needed more memory or time than allowed, or failed.
    """
    import subprocess  # a tenth of what starting costs, and delimited text does without

    words = _WORDS[kind]
    accepted, instead = gettext(words.accepted), gettext(words.instead)
    command = [sys.executable, "-I", str(_CHILD), kind, str(path), str(target), sheet]
    try:
        done = subprocess.run(command, capture_output=True, timeout=limits.WALL_SECONDS, check=False)  # noqa: S603
    except subprocess.TimeoutExpired as error:
        raise BadInput(gettext(words.too_slow), next_step=instead, field="file") from error
    if done.returncode == _REFUSED:
        wrong, *rest = map(_said, json.loads(done.stdout)["refused"])
        raise BadInput(wrong, rest[0] if rest else accepted, rest[1] if rest[1:] else instead, field="file")
    if done.returncode < 0 or b"MemoryError" in done.stderr or b"File too large" in done.stderr:
        raise BadInput(gettext(words.too_complex), next_step=instead, field="file")
    if done.returncode:
        raise BadInput(gettext(words.unreadable), accepted, instead, field="file")
    told = json.loads(done.stdout)
    sheets, hidden = (tuple(told.get(part, ())) for part in ("sheets", "hidden"))
    return Told(told.get("sheet", ""), sheets, hidden, tuple(map(_said, told.get("notes", ()))))


def _said(told: tuple[str, dict[str, str]]) -> str:
    """Say what the child told: an English message, and what stands for the names in it."""
    words, values = told
    return gettext(words, **values)
