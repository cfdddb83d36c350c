"""Every listed piece against its plan, and which of them come first: plain arrays, a page of them at a time."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import TYPE_CHECKING

from sourcing.errors import BadInput
from sourcing.language import gettext as _
from sourcing.settings import Settings
from sourcing.settings_file import folded
from sourcing.stock.item import day_number
from sourcing.storage import Store

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

PER_PAGE = 25
PLAN, OLDEST, DEAREST = ORDERS = ("past their plan", "longest listed", "most cash")
_SLACK = Decimal("1.005")  # a cut that is a hair short of the plan is one
_LISTED = """SELECT l.id, i.id, i.category, i.landed, json_extract(l.asked, '$[0][0]'),
    json_extract(l.asked, '$[0][1]'), json_extract(l.asked, '$[#-1][1]')
    FROM stock_item i CROSS JOIN stock_listing l ON l.item_id = i.id AND l.ended_on IS NULL WHERE i.state = 'listed'"""


@dataclass(frozen=True)
class Board:
    """All N listed pieces as arrays, in the order they were listed.

    Attributes
    ----------
    listing, item : (N,) numbers. landed, first, now : (N,) cost, first and present asking price, in cents. days : (N,)
    since it was listed. due : (N,) days since a cut of the plan fell due that was not made, or -1. over : (N,) days
    since it was to be given up, or -1. planned : (N,) asking price that the plan names for today, in cents. category :
    (N,) index into ``categories``.
    """

    listing: NDArray[np.int64]
    item: NDArray[np.int64]
    landed: NDArray[np.int64]
    first: NDArray[np.int64]
    now: NDArray[np.int64]
    days: NDArray[np.int64]
    due: NDArray[np.int64]
    over: NDArray[np.int64]
    planned: NDArray[np.int64]
    category: NDArray[np.int64]
    categories: tuple[str, ...]

    @property
    def late(self) -> NDArray[np.bool_]:
        """Which are past their plan: a cut is due, or the day of giving up is over."""
        found: NDArray[np.bool_] = (self.due >= 0) | (self.over >= 0)
        return found

    def chosen(self, order: str = PLAN, category: str = "", late_only: bool = False) -> NDArray[np.int64]:
        """Return the places of the pieces wanted, in an order.

        Raises
        ------
        BadInput
            There is no such order.
        """
        import numpy as np

        wanted = np.arange(len(self.item))
        if late_only:
            wanted = wanted[self.late]
        if category:
            here = [at for at, name in enumerate(self.categories) if folded(name) == folded(category)]
            wanted = wanted[np.isin(self.category[wanted], here)]
        late = np.maximum(self.due, self.over)[wanted]
        keys = {
            PLAN: (-self.days[wanted], -late), OLDEST: (-self.days[wanted],), DEAREST: (-self.landed[wanted],),
        }.get(order)  # fmt: skip
        if keys is None:
            raise BadInput(_("“{order}” is no order.", order=order[:40]), ", ".join(ORDERS), field="order")
        found: NDArray[np.int64] = wanted[np.lexsort((self.item[wanted], *keys))]
        return found


def known_category(store: Store, settings: Settings, name: str) -> str:
    """Return a category as it is spelt in stock or in the settings.

    Raises
    ------
    BadInput
        No piece of stock is of it and the settings do not name it; the closest name is suggested.
    """
    kept: list[str] = [row[0] for row in store.read("SELECT DISTINCT category FROM stock_item WHERE category <> ''")]
    known: dict[str, str] = {folded(one): one for one in (*settings.categories, *sorted(kept))}
    if folded(name) in known:
        return known[folded(name)]
    near = difflib.get_close_matches(folded(name), known, 1)
    raise BadInput(
        _("No piece of stock is of the category “{name}”, and the settings do not name it.", name=name[:60]),
        _("Known: {names}.", names=", ".join(sorted(known.values())) or "–"),
        _("Did you mean {name}?", name=known[near[0]]) if near else _("Choose one of these."),
        field="category",
    )


def board(store: Store, settings: Settings, today: date) -> Board:
    """Lay out every listed piece."""
    import numpy as np

    rows = store.read(_LISTED)
    listing, item, names, landed, began, first, now = zip(*rows, strict=True) if rows else ((),) * 7
    number: dict[str, int] = {}
    category = np.array([number.setdefault(name, len(number)) for name in names], dtype=np.int64)
    first_, now_ = np.array(first, dtype=np.int64), np.array(now, dtype=np.int64)
    days = day_number(today) - np.array(began, dtype=np.int64)
    planned, due, over = first_.copy(), np.full(len(rows), -1), np.full(len(rows), -1)
    for name, at in number.items():
        plan, here = settings.for_category(name).terms.plan, category == at
        for day, share in plan.cuts:
            fell = here & (days >= day)
            planned[fell] = np.rint(first_[fell] * float(1 - share)).astype(np.int64)
            short = fell & (now_ > planned * float(_SLACK))
            # Days since the earliest cut that is still to be made.
            due[fell & ~short] = -1
            due[short & (due < 0)] = (days - day)[short & (due < 0)]
        over[here] = np.maximum((days - plan.give_up_day)[here], -1)
    return Board(
        np.array(listing, dtype=np.int64), np.array(item, dtype=np.int64), np.array(landed, dtype=np.int64),
        first_, now_, days, due, over, planned, category, tuple(number),
    )  # fmt: skip
