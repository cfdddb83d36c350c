"""Items seen with a price and never checked, out of a list: more occasions to replay."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import BinaryIO

from sourcing.answer import Query
from sourcing.errors import BadInput, SourcingError
from sourcing.language import gettext
from sourcing.settings import load_settings
from sourcing.shelf_list import opened_list, query_of
from sourcing.storage import Store
from sourcing.tuning.occasions import EPOCH

DAY = "seen_on"
MOST = 50_000


def priced(store: Store, source: str | Path | BinaryIO, seen_on: date | None = None) -> list[tuple[int, Query]]:
    """Read a list of items with their shelf prices and the day each was seen: (day since 1970-01-01, query) a row.

    Parameters
    ----------
    source : CSV or XLSX with the columns of a shelf list and ``seen_on``, an ISO 8601 date. seen_on : for rows that
    name no day.

    Raises
    ------
    BadInput
        The file cannot be read; a row has no price, no day, a day to come, or a value that cannot be used. It is all
        of the list or nothing: an occasion left out unsaid would turn the answer.
    """
    settings, today = load_settings(store), date.today()
    found: list[tuple[int, Query]] = []
    with opened_list(source, MOST) as items:
        for block in items.blocks:
            for number, line in block:
                if isinstance(line, str):
                    raise _at(number, line)
                values = {name: line[place].strip() for name, place in items.known.items()}
                try:
                    query = query_of(values, settings)
                except SourcingError as error:
                    raise _at(number, str(error)) from error
                if query.shelf_price is None:
                    raise _at(number, gettext("The shelf price is missing: without it there is nothing to decide."))
                found.append(((_day(number, values.get(DAY, ""), seen_on, today) - EPOCH).days, query))
    if not found:
        raise BadInput(
            gettext("The list holds no row."),
            gettext("A row for each item seen."),
            gettext("Choose another list."),
            field="list",
        )
    return found


def _day(number: int, text: str, otherwise: date | None, today: date) -> date:
    if not text:
        if otherwise is None:
            what = gettext(
                "It does not say on which day it was seen. Fill {column}, or name one day for all rows.", column=DAY
            )
            raise _at(number, what)
        day = otherwise
    else:
        try:
            day = date.fromisoformat(text[:10])
        except ValueError as error:
            raise _at(number, gettext("“{text}” is no day. Write it as 2030-01-31.", text=text[:40])) from error
    if day > today:
        raise _at(number, gettext("{day} is still to come, so nothing can have become of it.", day=day))
    return day


def _at(number: int, what: str) -> BadInput:
    return BadInput(
        gettext("Row {number} of the list: {what}", number=number, what=what),
        "",
        gettext("Mend it and read the list again."),
        field="list",
    )
