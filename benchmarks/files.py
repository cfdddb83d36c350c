"""Reading a workbook as rows of text, beside openpyxl's bare iteration in read-only mode, in one run.

Both sides are child processes measured by their CPU seconds, the limited child of our reader included; turns are
interleaved, and the least of each counts.
"""

from __future__ import annotations

import csv
import shutil
import sys
import tempfile
from datetime import date
from pathlib import Path
from typing import Any

import openpyxl

from benchmarks.load import cpu_of, write_comps

ROWS = 100_000
COLUMNS = 14
ROUNDS = 2
_BARE = """
import sys, openpyxl
sheet = openpyxl.load_workbook(sys.argv[1], read_only=True).active
assert sum(1 for row in sheet.iter_rows(values_only=True)) == int(sys.argv[2]) + 1
"""
_OWN = """
import csv, sys
from sourcing.comps.read import opened
read = 0
with opened(sys.argv[1]) as records, open(sys.argv[3], "w", newline="") as file:
    out = csv.writer(file)
    for block in records.blocks():
        out.writerows(block.rows)
        read += len(block.numbers)
assert read == int(sys.argv[2])
"""


def write_workbook(path: Path, place: Path) -> None:
    """Write invented listings with true numbers and dates."""
    source = place / "comps.csv"
    write_comps(source, ROWS)
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("comps")
    with source.open(encoding="utf-8", newline="") as file:
        rows = csv.reader(file)
        names = next(rows)[:COLUMNS]
        sheet.append(names)
        for row in rows:
            sheet.append([_typed(name, cell) for name, cell in zip(names, row, strict=False)])
    book.save(path)


def _typed(name: str, cell: str) -> Any:
    if not cell:
        return None
    if name in ("asking_price", "sold_price", "shipping_charged"):
        return float(cell)
    return date.fromisoformat(cell) if name in ("listed_on", "ended_on") else cell


def run() -> list[dict[str, Any]]:
    """Return one record a measurement: name, ratio, bar, detail."""
    place = Path(tempfile.mkdtemp(prefix="bench-"))
    try:
        book = place / "comps.xlsx"
        write_workbook(book, place)
        bare, own = [], []
        for _ in range(ROUNDS):
            bare.append(cpu_of([sys.executable, "-c", _BARE, str(book), str(ROWS)], place))
            own.append(cpu_of([sys.executable, "-c", _OWN, str(book), str(ROWS), str(place / "rows.csv")], place))
    finally:
        shutil.rmtree(place)
    return [{
        "name": f"an XLSX of {ROWS:,} rows and {COLUMNS} columns, read and written as rows of text",
        "ratio": round(min(own) / min(bare), 3),
        "bar": 0.35,
        "detail": f"{min(own):.2f} CPU s, process start and limited child included; openpyxl read_only, bare "
        f"iteration: {min(bare):.2f}",
    }]  # fmt: skip
