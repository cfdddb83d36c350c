"""One page of what to do today: which listed pieces, how they stand to their plan, what to ask for them now."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from datetime import date
from decimal import Decimal
from typing import Any

from sourcing.held import listed_too
from sourcing.settings import Settings
from sourcing.stock.shelf import some
from sourcing.storage import Store
from sourcing.today.ahead import FromToday, Move, from_today
from sourcing.today.board import PER_PAGE, PLAN, board


@dataclass(frozen=True)
class Line:
    """One listed piece.

    Attributes
    ----------
    due : days since a cut of the plan fell due that was not made; None: none is. over : days since it was to be given
    up; None: not yet. planned : asking price that the plan names for today. others : further pieces of the same item
    that are listed, of which the chances take no account.
    """

    ahead: FromToday
    due: int | None
    over: int | None
    planned: Decimal
    others: int = 0

    @property
    def to(self) -> Decimal:
        """Asking price to offer for a tap: the one to move to, else the plan's, else today's."""
        if self.ahead.move is not None:
            return self.ahead.move.to
        assert self.ahead.item.listing is not None
        return self.planned if self.due is not None else self.ahead.item.listing.asking_price

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-able mapping, money as text."""
        item, move = self.ahead.item, self.ahead.move
        assert item.listing is not None
        return {
            "item": item.id, "label": item.label, "what": item.what, "category": item.category,
            "landed_cost": str(item.landed_cost), "listed_on": item.listing.listed_on.isoformat(),
            "days_listed": self.ahead.days, "asking_price": str(item.listing.asking_price),
            "planned_price": str(self.planned), "cut_due_days": self.due, "over_days": self.over,
            "chances": {str(days): chance for days, chance in self.ahead.chances.items()},
            "move": None if move is None else _plain(move), "why": self.ahead.why, "others_listed": self.others,
        }  # fmt: skip


@dataclass(frozen=True)
class Day:
    """What is listed, and one page of it."""

    today: date
    listed: int
    late: int  # past their plan
    cash: Decimal  # landed cost of all that is listed
    wanted: int  # as narrowed down
    page: int
    pages: int
    order: str
    category: str
    late_only: bool
    categories: tuple[str, ...]
    lines: tuple[Line, ...]


def day(
    store: Store, settings: Settings, today: date, *, order: str = PLAN, category: str = "", late_only: bool = False,
    page: int = 1, per_page: int = PER_PAGE,
) -> Day:  # fmt: skip
    """Lay out one page of the listed pieces in an order of `board.ORDERS`, forecast from today on.

    Raises
    ------
    BadInput
        There is no such order.
    """
    found = board(store, settings, today)
    chosen = found.chosen(order, category, late_only)
    pages = max(-(-len(chosen) // per_page), 1)
    page = min(max(page, 1), pages)
    places = chosen[(page - 1) * per_page : page * per_page]
    items = some(store, found.item[places].tolist()) if len(places) else []
    lines, others = [], listed_too(store, items)
    for at, ahead in zip(places.tolist(), from_today(store, items, settings, today), strict=True):
        due, over = int(found.due[at]), int(found.over[at])
        planned = Decimal(int(found.planned[at])).scaleb(-2)
        lines.append(
            Line(ahead, None if due < 0 else due, None if over < 0 else over, planned, others.get(ahead.item.id, 0))
        )
    return Day(
        today, len(found.item), int(found.late.sum()), Decimal(int(found.landed.sum())).scaleb(-2), len(chosen), page,
        pages, order, category, late_only, tuple(sorted(found.categories)), tuple(lines),
    )  # fmt: skip


def _plain(move: Move) -> dict[str, Any]:
    return {name: str(value) if isinstance(value, Decimal) else value for name, value in asdict(move).items()}
