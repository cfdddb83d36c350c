"""Run alone, by file name, in a child process with limits: turn a workbook's first visible sheet into CSV.

A hostile workbook of a few kilobytes can ask for any amount of memory and abort the process that reads it, so
the process that serves pages never does. Imports nothing of the application.
"""

from __future__ import annotations

import csv
import resource
import sys
from datetime import date, datetime, time, timedelta

MEMORY = 1 << 30
CPU_SECONDS = 60
OUTPUT = 300_000_000


def cell(value: object) -> str:
    """Return a cell as the text that a CSV export of it would hold."""
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value).upper()
    if isinstance(value, int | float):
        if float(value).is_integer() and abs(value) < 1e15:
            return str(int(value))
        return repr(round(float(value), 6))  # 19.99 computed by a formula may arrive as 19.990000000000002
    if isinstance(value, datetime):
        return value.date().isoformat()
    if isinstance(value, date):
        return value.isoformat()
    if isinstance(value, time | timedelta):
        return str(value)
    return str(value)


def main(source: str, target: str) -> None:
    """Read the workbook at `source` and write CSV to `target`."""
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    resource.setrlimit(resource.RLIMIT_CPU, (CPU_SECONDS, CPU_SECONDS))
    resource.setrlimit(resource.RLIMIT_FSIZE, (OUTPUT, OUTPUT))
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    from python_calamine import CalamineWorkbook, SheetTypeEnum, SheetVisibleEnum

    workbook = CalamineWorkbook.from_path(source)
    sheets = [
        sheet.name
        for sheet in workbook.sheets_metadata
        if sheet.visible == SheetVisibleEnum.Visible and sheet.typ == SheetTypeEnum.WorkSheet
    ]
    rows = workbook.get_sheet_by_name(sheets[0]).to_python(skip_empty_area=False)
    with open(target, "w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([cell(value) for value in row] for row in rows)


if __name__ == "__main__":
    main(*sys.argv[1:])
