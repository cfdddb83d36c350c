"""Which piece of stock each row of a sales file is: by label, else by code, price and day; with why and how sure.

A row by code is weighed like any evidence: each piece of that code gets a weight by how its asking price lies beside
what was paid and whether it was listed then, against the weight of being none of them (Bayes). Pieces that nothing
tells apart are taken in the order they were listed, the first first; which of them it is makes no difference.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import exp, log
from typing import Literal

from sourcing.comps.titles import fold_title
from sourcing.fitting import fold
from sourcing.language import gettext, separated
from sourcing.outcomes.file import SaleRow
from sourcing.stock import shelf
from sourcing.stock.item import GIVEN_UP, LISTED, SOLD, StockItem
from sourcing.storage import Store

State = Literal["sure", "question", "none", "recorded", "update", "wrong"]
SURE = 0.9
_NONE = 0.05  # weight of being no piece of that code that is in stock
_UNLISTED = 0.15  # of a piece that was not listed on the day
_HAGGLED = 0.12  # spread of paid over asked, in log price
_NEAR = timedelta(days=3)  # by which days of the same sale may differ
_SHOWN = 5


@dataclass(frozen=True)
class Candidate:
    """One piece a row may be, how sure, and why."""

    item: StockItem
    chance: float
    why: str


@dataclass(frozen=True)
class Match:
    """What a row is taken for.

    ``state``: "sure" is recorded at one tap; "question" waits for an answer; "none" is no piece of stock; "recorded" is
    there already; "update" is there and the file knows its fees or postage; "wrong" cannot be read.
    """

    row: SaleRow
    state: State
    candidates: tuple[Candidate, ...] = ()
    why: str = ""

    @property
    def best(self) -> StockItem | None:
        """The piece it is taken for."""
        return self.candidates[0].item if self.candidates else None


class _Stock:
    """All pieces, by what a row may name them by."""

    def __init__(self, store: Store) -> None:
        self.by_label: dict[str, StockItem] = {}
        self.by_code: dict[str, list[StockItem]] = defaultdict(list)
        self.by_title: dict[str, list[StockItem]] = defaultdict(list)
        numbers = [row[0] for row in store.read("SELECT id FROM stock_item ORDER BY id")]
        after = 0
        while True:
            page = shelf.find(store, after=after, limit=2_000)
            if not page:
                break
            after = page[-1].id
            for item in page:
                if item.label:
                    self.by_label[item.label] = item
                for code in {item.gtin, item.style_code.casefold()} - {""}:
                    self.by_code[code].append(item)
                for name in {fold_title(item.title), fold_title(item.what)} - {""}:
                    self.by_title[name].append(item)
        self.sales = {}
        for first in range(0, len(numbers), 500):
            self.sales.update(shelf.sales_of(store, numbers[first : first + 500]))


def match(store: Store, rows: Sequence[SaleRow]) -> tuple[Match, ...]:
    """Match every row; a piece is taken by one row only, rows with labels first, then in the order of their days."""
    stock, taken = _Stock(store), set[int]()
    order = sorted(range(len(rows)), key=lambda at: (not rows[at].label, rows[at].on or date.max, at))
    found: dict[int, Match] = {}
    for at in order:
        one = _match(stock, rows[at], taken)
        if one.state in ("sure", "recorded", "update") and one.best is not None:
            taken.add(one.best.id)
        found[at] = one
    return tuple(found[at] for at in range(len(rows)))


def _match(stock: _Stock, row: SaleRow, taken: set[int]) -> Match:
    if row.wrong or row.paid is None or row.on is None:
        return Match(row, "wrong", why=row.wrong)
    labelled = stock.by_label.get(row.label) if row.label else None
    if labelled is not None:
        return _by_label(stock, row, labelled, taken)
    named = _named(stock, row)
    known = _known(stock, row, [item for item in named if item.id not in taken])
    if known is not None:
        return known
    weights = [(item, _weight(item, row)) for item in named if item.id not in taken]
    weights = [(item, weight) for item, weight in weights if weight > 0]
    if not weights:
        return Match(row, "none", why=_nothing(row, bool(named)))
    alike = defaultdict(list)
    for item, weight in weights:
        alike[item.size, item.condition, item.landed_cost, item.listing and item.listing.asking_price].append(
            (item, weight)
        )
    total = sum(weight for _, weight in weights) + _NONE
    candidates = []
    for few in alike.values():
        few.sort(key=lambda one: (_listed(one[0]) or one[0].bought_on, one[0].id))
        first = few[0][0]
        why = _why(first, row)
        if len(few) > 1:
            why += " " + gettext("{count} pieces are alike: the one listed first is taken.", count=len(few))
        candidates.append(Candidate(first, sum(weight for _, weight in few) / total, why))
    candidates.sort(key=lambda one: (-one.chance, one.item.id))
    by_title = not (row.gtin or row.style)
    sure = candidates[0].chance >= SURE and not by_title and not row.note
    why = row.note or (gettext("Only its title names it.") if by_title else "")
    return Match(row, "sure" if sure else "question", tuple(candidates[:_SHOWN]), why)


def _by_label(stock: _Stock, row: SaleRow, item: StockItem, taken: set[int]) -> Match:
    known = _known(stock, row, [item])
    if known is not None:
        return known
    assert row.on is not None
    only = (Candidate(item, 0.99, gettext("It bears the label {label}.", label=item.label)),)
    against = ""
    if item.id in taken:
        against = gettext("Another row of the file has the same label.")
    elif item.state == SOLD:
        against = gettext("It is sold already, on {day}: was it sold twice, or came back?", day=item.ended_on)
    elif item.state == GIVEN_UP:
        against = gettext("It was given up.")
    elif row.on < item.bought_on:
        against = gettext("It was bought on {day}, after this sale: was the label used again?", day=item.bought_on)
    elif (listed := _listed(item)) is not None and row.on < listed:
        against = gettext("It was listed on {day}, after this sale.", day=listed)
    elif row.gtin and item.gtin and row.gtin != item.gtin:
        against = gettext("Its code is another one than the row's.")
    if against:
        return Match(row, "question", (Candidate(item, 0.5, only[0].why),), against)
    return Match(row, "question" if row.note else "sure", only, row.note)


def _known(stock: _Stock, row: SaleRow, items: Sequence[StockItem]) -> Match | None:
    """Return the sale that is recorded already, on the same days and for as much."""
    assert row.on is not None
    for item in items:
        for sale in stock.sales.get(item.id, ()):
            if sale.paid == row.paid and abs(sale.sold_on - row.on) <= _NEAR:
                why = gettext("Sold on {day} for as much: it is recorded already.", day=sale.sold_on)
                news = (row.fees is not None and sale.fees != row.fees) or (
                    row.postage is not None and sale.postage != row.postage
                )
                open_ = news and sale is stock.sales[item.id][-1] and sale.returned_on is None
                if open_:
                    why = gettext("Recorded already; the file knows its fees or postage.")
                return Match(row, "update" if open_ else "recorded", (Candidate(item, 0.99, why),), why)
    return None


def _named(stock: _Stock, row: SaleRow) -> list[StockItem]:
    found = {item.id: item for code in (row.gtin, row.style.casefold()) if code for item in stock.by_code.get(code, ())}
    if not found and row.title:
        found = {item.id: item for item in stock.by_title.get(fold_title(row.title), ())}
    return list(found.values())


def _weight(item: StockItem, row: SaleRow) -> float:
    """How well a piece explains a row; 0 where it cannot be it."""
    assert row.on is not None
    assert row.paid is not None
    if item.state in (SOLD, GIVEN_UP) or row.on < item.bought_on:
        return 0.0
    if row.size and item.size and fold(row.size) != fold(item.size):
        return 0.0
    listed = _listed(item)
    if item.state != LISTED or item.listing is None:
        return _UNLISTED
    if listed is not None and row.on < listed:
        return 0.0
    if row.paid <= 0:
        return _UNLISTED
    asked = item.listing.asking_price
    for one in item.listing.asked:
        if one.on <= row.on:
            asked = one.price
    off = min(abs(log(float(row.paid) / float(asked))), 2.0)
    return exp(-0.5 * (max(off - 0.02, 0.0) / _HAGGLED) ** 2) + 0.02


def _listed(item: StockItem) -> date | None:
    return None if item.listing is None else item.listing.listed_on


def _why(item: StockItem, row: SaleRow) -> str:
    by = (
        gettext("Same barcode.") if row.gtin and item.gtin == row.gtin
        else gettext("Same style code.") if row.style and item.style_code.casefold() == row.style.casefold()
        else gettext("Same title.")
    )  # fmt: skip
    if item.state == LISTED and item.listing is not None:
        asked = separated(f"{item.listing.asking_price:.2f}")
        return f"{by} {gettext('Listed since {day} at {asked}.', day=item.listing.listed_on, asked=asked)}"
    return f"{by} {gettext('It is not listed.')}"


def _nothing(row: SaleRow, named: bool) -> str:
    if named:
        return gettext("Pieces of that code are in stock, but none that could have sold on that day in that size.")
    if row.label:
        return gettext("No piece bears the label {label}.", label=row.label)
    return gettext("Nothing in stock has that code or title.")
