"""Turn a workbook into CSV: check the archive's directory first, then parse in a limited child process."""

from __future__ import annotations

import subprocess
import sys
import zipfile
from pathlib import Path

from sourcing.errors import BadInput

PACKED = 30_000_000
ENTRIES = 500
INFLATED = 300_000_000
RATIO = 200
WALL_SECONDS = 90.0
_CHILD = Path(__file__).with_name("workbook_child.py")
_INSTEAD = "Save the sheet as CSV (UTF-8) and load that."


def check_archive(path: Path) -> None:
    """Refuse an archive whose directory says it is too large, too full or too tightly packed.

    Raises
    ------
    BadInput
        Naming the limit that was passed.
    """
    if path.stat().st_size > PACKED:
        raise BadInput("The workbook is larger than 30 MB.", "Up to 30 MB.", _INSTEAD)
    try:
        with zipfile.ZipFile(path) as archive:
            entries = archive.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError) as error:
        raise BadInput("The workbook is cut short or damaged.", "A whole .xlsx file.", _INSTEAD) from error
    if len(entries) > ENTRIES:
        raise BadInput(f"The workbook holds {len(entries)} parts.", f"Up to {ENTRIES}.", _INSTEAD)
    if sum(entry.file_size for entry in entries) > INFLATED:
        raise BadInput("The workbook unpacks to more than 300 MB.", "Up to 300 MB.", _INSTEAD)
    for entry in entries:
        # Small parts may pack tightly by chance; they cannot fill a memory.
        if entry.file_size > 1_000_000 and entry.file_size > RATIO * entry.compress_size:
            raise BadInput(
                f"A part of the workbook is packed more than {RATIO} times.",
                f"Up to {RATIO} times.",
                _INSTEAD,
            )
        if entry.flag_bits & 1:
            raise BadInput("The workbook is encrypted.", "A workbook without a password.", _INSTEAD)


def to_csv(path: Path, target: Path) -> None:
    """Write the first visible sheet of the workbook at `path` as UTF-8 CSV to `target`.

    Raises
    ------
    BadInput
        The archive is refused, or reading it needed more memory or time than allowed, or failed.
    """
    check_archive(path)
    command = [sys.executable, "-I", str(_CHILD), str(path), str(target)]
    try:
        done = subprocess.run(command, capture_output=True, timeout=WALL_SECONDS, check=False)  # noqa: S603
    except subprocess.TimeoutExpired as error:
        raise BadInput("Reading the workbook took longer than 90 seconds.", next_step=_INSTEAD) from error
    if done.returncode < 0 or b"MemoryError" in done.stderr:
        raise BadInput("The workbook is too complex: reading it hit the limit of memory or time.", next_step=_INSTEAD)
    if done.returncode:
        raise BadInput("The workbook cannot be read as a spreadsheet.", "A whole .xlsx file.", _INSTEAD)
