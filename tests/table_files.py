"""Write a table of texts as each kind of file that is read, by libraries other than the reader's own."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable, Sequence
from typing import Any

import odfdo
import openpyxl
import pyarrow
from pyarrow import parquet

from sourcing.comps.layout import FileForm

Rows = Sequence[Sequence[Any]]  # the header first


def delimited(
    rows: Rows, delimiter: str = ",", *, encoding: str = "utf-8", end: str = "\r\n", quoting: int = 0
) -> bytes:
    """Write delimited text, quoted where it must be."""
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(rows)
    return out.getvalue().encode(encoding)


def xlsx(rows: Rows, **others: Rows) -> bytes:
    """Write a workbook; texts stay texts, whatever they begin with."""
    book = openpyxl.Workbook()
    book.active.title = "first"
    for name, table in {"first": rows, **others}.items():
        sheet = book[name] if name in book.sheetnames else book.create_sheet(name)
        for at, row in enumerate(table, 1):
            for place, value in enumerate(row, 1):
                if value not in ("", None):
                    cell = sheet.cell(at, place, value)
                    if isinstance(value, str):
                        cell.data_type = "s"
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """Return the bytes of a workbook."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods(rows: Rows, *, hidden: str = "") -> bytes:
    """Write an OpenDocument spreadsheet, with a hidden sheet before the table when asked to."""
    book = odfdo.Document("spreadsheet")
    book.body.clear()
    table = odfdo.Table("first")
    for values in rows:
        row = odfdo.Row()
        for value in values:
            row.append_cell(odfdo.Cell(value if value != "" else None, text=value if isinstance(value, str) else None))
        table.append_row(row)
    book.body.append(table)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def json_lines(rows: Rows) -> bytes:
    """Write an object a line."""
    lines = (json.dumps(dict(zip(rows[0], row, strict=True)), ensure_ascii=len(row) % 2 == 0) for row in rows[1:])
    return ("\n".join(lines) + "\n").encode()


def parquet_file(rows: Rows) -> bytes:
    """Write a Parquet file of text columns."""
    columns = list(zip(*rows[1:], strict=True)) or [()] * len(rows[0])
    table = pyarrow.table({
        name: pyarrow.array(column, pyarrow.string()) for name, column in zip(rows[0], columns, strict=True)
    })  # fmt: skip
    out = io.BytesIO()
    parquet.write_table(table, out)
    return out.getvalue()


def zipped(**members: bytes) -> bytes:
    """Pack files into a zip archive; a double underscore in a name stands for a dot."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, content in members.items():
            made.writestr(name.replace("__", "."), content)
    return out.getvalue()


WRITERS: dict[str, tuple[Callable[[Rows], bytes], FileForm]] = {
    "csv": (delimited, FileForm()),
    "csv, every cell quoted": (lambda rows: delimited(rows, end="\n", quoting=csv.QUOTE_ALL), FileForm()),
    "semicolons": (lambda rows: delimited(rows, ";", end="\n", quoting=csv.QUOTE_ALL), FileForm(delimiter=";")),
    "tabs": (lambda rows: delimited(rows, "\t"), FileForm(delimiter="\t")),
    "vertical bars": (lambda rows: delimited(rows, "|", end="\r", quoting=csv.QUOTE_ALL), FileForm(delimiter="|")),
    "csv, UTF-16": (lambda rows: delimited(rows, encoding="utf-16"), FileForm(encoding="utf-16")),
    "csv, UTF-32": (lambda rows: delimited(rows, encoding="utf-32"), FileForm(encoding="utf-32")),
    "csv with a mark": (lambda rows: delimited(rows, encoding="utf-8-sig"), FileForm()),
    "xlsx": (xlsx, FileForm("workbook")),
    "ods": (ods, FileForm("workbook")),
    "json lines": (json_lines, FileForm("json lines")),
    "parquet": (parquet_file, FileForm("parquet")),
    "zip of csv": (lambda rows: zipped(comps__csv=delimited(rows)), FileForm()),
    "zip of xlsx": (lambda rows: zipped(comps__xlsx=xlsx(rows)), FileForm("workbook")),
    "zip of json lines": (lambda rows: zipped(comps__jsonl=json_lines(rows)), FileForm("json lines")),
    "zip of parquet": (lambda rows: zipped(comps__parquet=parquet_file(rows)), FileForm("parquet")),
}
