"""The books as files: CSV, a workbook with its data dictionary, and a zip of all of them with the photos."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date
from decimal import Decimal
from pathlib import Path
from typing import Any

from sourcing.books.days import Days, read_days
from sourcing.books.lines import ENTRIES, STATEMENT, Column, entries, statement_row
from sourcing.books.period import Statement, months_of, statement
from sourcing.errors import Refused
from sourcing.language import gettext, gettext_noop
from sourcing.photo.kept import ITEM, RUN, Photo, every
from sourcing.settings import Settings
from sourcing.storage import Store

CAUTION = gettext_noop(
    "These books add up what was recorded. They are no tax advice: what counts as income, cost or stock, and in which "
    "year, is decided by local rules, and where it matters by a licensed professional."
)
STATEMENT_FILE, ENTRIES_FILE, DICTIONARY_FILE, WORKBOOK_FILE = FILES = (
    "statement.csv", "entries.csv", "dictionary.csv", "books.xlsx",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r")
_DATED = (1980, 1, 1, 0, 0, 0)  # the same books make the same file


class Books:
    """The books of one period as rows: statements by month with their total last, entries, the dictionary."""

    def __init__(self, store: Store, settings: Settings, first: date, last: date) -> None:
        self.store, self.settings, self.first, self.last = store, settings, first, last
        self.days: Days = read_days(store, settings)
        self.total: Statement = statement(self.days, first, last)

    def statements(self) -> list[dict[str, Any]]:
        """Return a row a month that has begun, the outer ones cut to the period, and the whole period last."""
        months = months_of(self.days, self.first, self.last)
        return [statement_row(one) for one in ([*months, self.total] if len(months) > 1 else months)]

    def entries(self) -> list[dict[str, Any]]:
        """Return every entry; photos are named as the zip has them."""
        named: dict[tuple[str, int], str] = {}
        for photo in self._photos():
            key = (photo.of, photo.number)
            named[key] = f"{named[key]} {name_of(photo)}" if key in named else name_of(photo)
        return list(entries(self.store, self.settings, self.first, self.last, named))

    def dictionary(self) -> list[dict[str, str]]:
        """Return what every column means."""
        units = {"money": self.settings.currency, "distance": self.settings.business.distance}
        return [
            {
                "table": table, "column": one.name, "unit": units.get(one.unit, gettext(one.unit)),
                "meaning": gettext(one.meaning),
            }
            for table, columns in (("statement", STATEMENT), ("entries", ENTRIES))
            for one in columns
        ] + [{"table": "", "column": "", "unit": "", "meaning": gettext(CAUTION)}]  # fmt: skip

    def csv(self, name: str) -> bytes:
        """Return one of the three CSV files, in UTF-8 (RFC 4180); no cell of text is taken for a formula.

        Raises
        ------
        ValueError
            There is no such file.
        """
        if name == STATEMENT_FILE:
            return _csv([one.name for one in STATEMENT], self.statements())
        if name == ENTRIES_FILE:
            return _csv([one.name for one in ENTRIES], self.entries())
        if name == DICTIONARY_FILE:
            return _csv(["table", "column", "unit", "meaning"], self.dictionary())
        raise ValueError(name)

    def workbook(self) -> bytes:
        """Return the same as a workbook of three sheets; amounts are numbers, days are days."""
        from openpyxl import Workbook  # type: ignore[import-untyped]

        book = Workbook(write_only=True)
        for title, columns, rows in (
            (gettext("Statement"), STATEMENT, self.statements()), (gettext("Entries"), ENTRIES, self.entries()),
        ):  # fmt: skip
            sheet = book.create_sheet(title)
            sheet.freeze_panes = "C2" if columns is STATEMENT else "A2"
            _fill(sheet, columns, rows)
        sheet = book.create_sheet(gettext("Dictionary"))
        words = [Column(name, "text", "") for name in ("table", "column", "unit", "meaning")]
        sheet.column_dimensions["B"].width, sheet.column_dimensions["D"].width = 18, 90
        _fill(sheet, words, self.dictionary())
        target = io.BytesIO()
        book.save(target)
        return target.getvalue()

    def zip(self, folder: Path) -> bytes:
        """Return all files in one, with the photos of the pieces bought, sold or given up and of the runs in it.

        Raises
        ------
        Refused
            The file of a photo is missing beside the data.
        """
        target = io.BytesIO()
        with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
            for name in (STATEMENT_FILE, ENTRIES_FILE, DICTIONARY_FILE):
                archive.writestr(zipfile.ZipInfo(name, _DATED), self.csv(name), zipfile.ZIP_DEFLATED)
            archive.writestr(zipfile.ZipInfo(WORKBOOK_FILE, _DATED), self.workbook())
            for photo in self._photos():
                archive.writestr(zipfile.ZipInfo(f"photos/{name_of(photo)}", _DATED), read_photo(photo, folder))
        return target.getvalue()

    def _photos(self) -> list[Photo]:
        pieces: set[int] = set()
        driven: set[int] = set()
        for one in entries(self.store, self.settings, self.first, self.last):
            (driven if one["entry"] == "run" else pieces).add(one["number"])
        begin, end = self.first.isoformat(), self.last.isoformat()
        shopped = self.store.read(
            "SELECT id FROM haul WHERE date(started_at, 'localtime') BETWEEN ? AND ?", (begin, end)
        )
        driven |= {row[0] for row in shopped}
        return [*every(self.store, ITEM, sorted(pieces)), *every(self.store, RUN, sorted(driven))]


def name_of(photo: Photo) -> str:
    """Return the name of a photo in an export: of what, its number, the photo's own."""
    return f"{'piece' if photo.of == ITEM else 'run'}-{photo.number}-{photo.id}.jpg"


def read_photo(photo: Photo, folder: Path) -> bytes:
    """Return the large picture.

    Raises
    ------
    Refused
        Its file is missing.
    """
    try:
        return photo.file(folder).read_bytes()
    except OSError as error:
        raise Refused(
            gettext("The file of photo {number} is missing: {path}.", number=photo.id, path=photo.file(folder)),
            next_step=gettext("Put the folder “photos” of a backup beside the data, or remove that photo."),
        ) from error


def _csv(names: Sequence[str], rows: Iterable[dict[str, Any]]) -> bytes:
    text = io.StringIO(newline="")
    out = csv.writer(text)
    out.writerow(names)
    for row in rows:
        out.writerow(["" if row[name] is None else _inert(row[name]) for name in names])
    return text.getvalue().encode()


def _inert(value: Any) -> str:
    """Write a cell; a text that a spreadsheet would take for a formula gets an apostrophe before it."""
    if isinstance(value, str):
        return f"'{value}" if value.startswith(_FORMULA) else value
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def _fill(sheet: Any, columns: Sequence[Column], rows: Iterable[dict[str, Any]]) -> None:
    from openpyxl.cell import WriteOnlyCell  # type: ignore[import-untyped]
    from openpyxl.styles import Font  # type: ignore[import-untyped]

    def cell(value: Any, unit: str) -> Any:
        made = WriteOnlyCell(sheet, value=_clean(value))
        if isinstance(value, str):
            made.data_type = "s"  # never a formula, whatever it begins with
        elif unit in ("money", "distance"):
            made.number_format = "#,##0.00" if unit == "money" else "#,##0.0"
        elif unit == "date":
            made.number_format = "yyyy-mm-dd"
        return made

    head = []
    for column in columns:
        made = WriteOnlyCell(sheet, value=column.name)
        made.font = Font(bold=True)
        head.append(made)
    sheet.append(head)
    for row in rows:
        sheet.append([cell(row[column.name], column.unit) for column in columns])


def _clean(value: Any) -> Any:
    """Leave out what a workbook cannot hold: control characters."""
    if not isinstance(value, str):
        return value
    return "".join(letter for letter in value if letter >= " " or letter in "\n\t")
