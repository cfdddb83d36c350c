"""A whole list of items to judge: one answer row for each row of the file, in its order."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from sourcing.answer import Query
from sourcing.answers import COLUMNS, row
from sourcing.check import check_list
from sourcing.codes import parse_code
from sourcing.comps.read import Records, opened
from sourcing.errors import BadInput, SourcingError
from sourcing.flags.marked import plain_flag, read_flags
from sourcing.language import gettext, gettext_noop, separated
from sourcing.money import parse_money
from sourcing.purchase import each_of, unit_price
from sourcing.settings import Settings, load_settings
from sourcing.storage import Store

WORDS = ("code", "brand", "category", "title", "size", "condition")
_CODES = ("gtin", "style_code")  # as comps files name them; they stand for the code where a row has none
_BETWEEN = re.compile(r"[,;|\n]")  # flags of one cell
MOST_ROWS = 200_000
NO_PRICE = gettext_noop("The shelf price is missing, so there is no decision: compare it with the most worth paying.")


@dataclass(frozen=True)
class ListAnswer:
    """The answered list: column names in order, and one mapping of text cells a row."""

    columns: tuple[str, ...]  # the file's own, then the answer's, then ``problem``
    rows: list[dict[str, str]]
    problems: int  # how many rows say something in ``problem``


def answer_list(store: Store, source: str | Path | BinaryIO) -> ListAnswer:
    """Judge every row of a CSV or XLSX list; a row that cannot be judged says why in ``problem``.

    Parameters
    ----------
    store : Store
        The comps, the fit and the settings.
    source : str, Path or binary stream
        Columns ``code`` (else ``gtin`` or ``style_code``), ``shelf_price`` and optionally brand, category, title, size,
        condition, and ``flags`` with commas or semicolons between them; others are passed through, except those named
        like an answer column, which the new answer replaces.

    Raises
    ------
    BadInput
        The file cannot be read, says nothing about which items it lists, or has more than 200,000 rows.
    """
    answered = {column.name for column in COLUMNS} | {"problem"}
    found: list[dict[str, str]] = []
    with opened_list(source) as items:
        own = [name for name in items.header if plain_name(name) not in answered]
        for block in items.blocks:
            found.extend(_answers(store, items.header, items.known, [line for _, line in block]))
    columns = (*own, *(column.name for column in COLUMNS), "problem")
    found = [dict.fromkeys(columns, "") | one for one in found]
    return ListAnswer(columns, found, sum(bool(one["problem"]) for one in found))


class OpenList(NamedTuple):
    """A list of items that is being read."""

    header: list[str]
    known: dict[str, int]  # place of each column by its name in small letters
    blocks: Iterator[list[tuple[int, list[str] | str]]]  # (row, cells), or in place of cells why there are none


@contextmanager
def opened_list(source: str | Path | BinaryIO, most: int = MOST_ROWS) -> Iterator[OpenList]:
    """Open a CSV or XLSX list of items.

    Raises
    ------
    BadInput
        The file cannot be read, says nothing about which items it lists, or has more than ``most`` rows.
    """
    with opened(source) as records:
        _distinct(records.said)
        known = {name: at for at, name in enumerate(plain_name(name) for name in records.header)}
        if not any(name in known for name in (*WORDS, *_CODES)):
            raise BadInput(
                gettext("The list has no column that says what the items are."),
                gettext("The columns code, shelf_price and optionally {words}, flags.", words=", ".join(WORDS[1:])),
                gettext("Name its columns so in the first row."),
                field="list",
            )
        yield OpenList(records.header, known, _blocks(records, most))


def _blocks(records: Records, most: int) -> Iterator[list[tuple[int, list[str] | str]]]:
    width, read = len(records.header), 0
    for block in records.blocks():
        unfit = {
            number: gettext("The row has {cells} of the header's {width} cells.", cells=count, width=width)
            for number, count in block.ragged
        }
        unfit |= {fault.row: f"{fault.reason} {fault.fix}".strip() for fault in block.faults}
        cells = dict(zip(block.numbers, block.rows, strict=True)) | dict.fromkeys(unfit)
        if not cells:
            continue
        lines: list[tuple[int, list[str] | str]] = []
        for number in range(min(cells), max(cells) + 1):
            line = cells.get(number)
            lines.append((number, line if line is not None else unfit.get(number) or gettext("The row is empty.")))
        read += len(lines)
        if read > most:
            raise BadInput(
                gettext("The list has more than {most} rows.", most=separated(f"{most:,}")),
                "",
                gettext("Split it."),
                field="list",
            )
        yield lines


def _answers(
    store: Store, header: list[str], known: dict[str, int], lines: list[list[str] | str]
) -> Iterator[dict[str, str]]:
    """Judge one block in one pass; a line that is text is the reason why there is nothing to judge."""
    queries: dict[int, Query] = {}
    settings = load_settings(store)
    problems = [""] * len(lines)
    for at, line in enumerate(lines):
        if isinstance(line, str):
            problems[at] = line
            continue
        try:
            queries[at] = query_of({name: line[place].strip() for name, place in known.items()}, settings)
        except SourcingError as error:
            problems[at] = str(error)
    found = check_list(store, list(queries.values()), settings, detail=False)
    verdicts = dict(zip(queries, found, strict=True))
    for at, line in enumerate(lines):
        values = {} if isinstance(line, str) else dict(zip(header, line, strict=True))
        answer = row(verdicts[at]) if at in verdicts else {}
        if at in verdicts and queries[at].shelf_price is None and answer["decision"] in ("buy", "pass"):
            answer["decision"], problems[at] = "", gettext(NO_PRICE)
        yield values | answer | {"problem": problems[at]}


def query_of(values: Mapping[str, str], settings: Settings | None = None) -> Query:
    """Read one row by its columns' names; ``settings`` tell which flags there are, None takes any.

    Raises
    ------
    BadInput
        A value cannot be used, or nothing says which item it is.
    """
    price = values.get("shelf_price", "")
    words: dict[str, Any] = {name: values.get(name, "") for name in WORDS}
    words["code"] = next(filter(None, (values.get(name, "") for name in ("code", *_CODES))), "")
    pieces, amount = each_of(price)
    shelf = unit_price(parse_money(amount, field="shelf_price"), pieces) if price else None
    named = _BETWEEN.split(values.get("flags", ""))
    flags = read_flags(settings, named) if settings is not None else tuple(filter(None, map(plain_flag, named)))
    query = Query(shelf_price=shelf, flags=flags, **words)
    if not any(getattr(query, name) for name in WORDS):
        raise BadInput(gettext("Nothing says which item this is."), gettext("A code, or a title, brand or category."))
    if query.code:
        parse_code(query.code)
    return query


def plain_name(name: str) -> str:
    """Return a column's name in small letters, its words joined."""
    return "_".join(name.strip().casefold().split())


def _distinct(header: list[str]) -> None:
    """Refuse a name given twice: which of the two counts would be a guess."""
    seen: set[str] = set()
    for name in header:
        if plain_name(name) in seen:
            raise BadInput(
                gettext("The list has two columns “{name}”.", name=name),
                gettext("Each name once."),
                gettext("Rename one."),
                field="list",
            )
        seen.add(plain_name(name))
