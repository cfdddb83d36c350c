"""Have a workbook or a Parquet file turned into CSV by a child process that is limited in memory and time."""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from sourcing.comps.files import limits
from sourcing.errors import BadInput

_CHILD = Path(__file__).with_name("child.py")
_REFUSED = 3
_WORDS = {
    "workbook": ("workbook", "A whole .xlsx or .ods file.", "Save the sheet as CSV (UTF-8) and load that."),
    "parquet": ("Parquet file", "A whole Parquet file.", "Write the table as CSV (UTF-8) and load that."),
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
    name, accepted, instead = _WORDS[kind]
    command = [sys.executable, "-I", str(_CHILD), kind, str(path), str(target), sheet]
    try:
        done = subprocess.run(command, capture_output=True, timeout=limits.WALL_SECONDS, check=False)  # noqa: S603
    except subprocess.TimeoutExpired as error:
        raise BadInput(f"Reading the {name} took longer than 90 seconds.", next_step=instead, field="file") from error
    if done.returncode == _REFUSED:
        wrong, *rest = json.loads(done.stdout)["refused"]
        raise BadInput(wrong, rest[0] if rest else accepted, rest[1] if rest[1:] else instead, field="file")
    if done.returncode < 0 or b"MemoryError" in done.stderr or b"File too large" in done.stderr:
        wrong = f"The {name} is too complex: reading it hit the limit of memory or time."
        raise BadInput(wrong, next_step=instead, field="file")
    if done.returncode:
        wrong = f"The {name} cannot be read as a {'spreadsheet' if kind == 'workbook' else 'table'}."
        raise BadInput(wrong, accepted, instead, field="file")
    told = json.loads(done.stdout)
    return Told(told.get("sheet", ""), *(tuple(told.get(part, ())) for part in ("sheets", "hidden", "notes")))
