"""A shelf list as candidates: the file that ``check --list`` reads, with an optional column ``stock``."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import BinaryIO

from sourcing.errors import BadInput, SourcingError
from sourcing.language import gettext
from sourcing.planner.candidates import MOST_CANDIDATES, Asked
from sourcing.settings import Settings
from sourcing.shelf_list import opened_list, plain_name, query_of

MOST_STOCK = 999


def of_list(
    source: str | Path | BinaryIO, settings: Settings | None = None
) -> tuple[list[Asked], list[tuple[int, str]]]:
    """Read the items of a list: those that can be judged, and (row, why not) of the others.

    ``settings`` tell which flags there are; None takes any.

    Raises
    ------
    BadInput
        The file cannot be read, says nothing about which items it lists, holds none, or more than 1,000 rows.
    """
    found: list[Asked] = []
    problems: list[tuple[int, str]] = []
    with opened_list(source, MOST_CANDIDATES) as items:
        for block in items.blocks:
            for row, line in block:
                if isinstance(line, str):
                    problems.append((row, line))
                    continue
                values = {plain_name(name): cell.strip() for name, cell in zip(items.header, line, strict=True)}
                try:
                    stock = stock_of(values.get("stock", ""))
                    found.append(Asked(f"row {row}", query_of(values, settings), "list", stock=stock))
                except SourcingError as error:
                    problems.append((row, str(error)))
    if not found and not problems:
        raise BadInput(
            gettext("The list holds no rows."),
            gettext("A header row, then one row an item."),
            gettext("Add items."),
            field="list",
        )
    return found, problems


def as_text(source: str | Path | BinaryIO) -> str:
    """Return a list of any kind of file as CSV text, which `of_list` reads as it reads the file.

    Raises
    ------
    BadInput
        As `of_list`.
    """
    text = io.StringIO()
    writer = csv.writer(text)
    with opened_list(source, MOST_CANDIDATES) as items:
        writer.writerow(items.header)
        for block in items.blocks:
            writer.writerows(line for _, line in block if not isinstance(line, str))
    return text.getvalue()


def stock_of(text: str, field: str = "stock") -> int | None:
    """Read how many are on the shelf; empty is not known.

    Raises
    ------
    BadInput
        Not a whole number from 0 to 999.
    """
    text = text.strip()
    if not text:
        return None
    if not (text.isascii() and text.isdigit() and len(text) <= 3):
        raise BadInput(
            gettext("“{text}” is not how many are on the shelf.", text=text[:20]),
            gettext("A whole number from 0 to {most_stock}.", most_stock=MOST_STOCK),
            gettext("Count them, or leave it empty: then up to 8 are planned with."),
            field=field,
        )
    return int(text)
