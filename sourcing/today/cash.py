"""Cash tied up in stock by age, and how long a piece stays: Little's law on one's own stock, and one's own sales curve.

Sources: Little 1961 (Oper Res 9:383) and 2011 (Oper Res 59:536), in the form that holds on any stretch of days whole:
mean number held = pieces a day x mean days each; Kaplan & Meier 1958 (JASA 53:457), the unsold counted as such.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from sourcing.stock.item import HELD, day_number, money
from sourcing.storage import Store

AGES = ((0, 30), (31, 60), (61, 90), (91, 180), (181, None))
_BY_AGE = """SELECT CASE WHEN ? - bought_on <= 30 THEN 0 WHEN ? - bought_on <= 60 THEN 1 WHEN ? - bought_on <= 90 THEN 2
    WHEN ? - bought_on <= 180 THEN 3 ELSE 4 END AS age, state, COUNT(*), SUM(landed)
    FROM stock_item WHERE state IN ('to prep', 'ready', 'listed', 'returned') GROUP BY age, state"""
_SPELLS = """SELECT json_extract(asked, '$[0][0]'), COALESCE(ended_on, ?), how = 'sold' FROM stock_listing"""


@dataclass(frozen=True)
class Age:
    """Cash in pieces bought between so many days ago, by state: pieces and cost."""

    low: int
    high: int | None  # None: no end
    by_state: tuple[tuple[str, int, Decimal], ...]

    @property
    def pieces(self) -> int:
        """Pieces of that age."""
        return sum(count for _, count, _ in self.by_state)

    @property
    def cash(self) -> Decimal:
        """What they cost."""
        return sum((landed for _, _, landed in self.by_state), Decimal(0))


@dataclass(frozen=True)
class Stay:
    """How long pieces stay: mean number held, sold or given up a day, and so mean days each; None: none left."""

    days: int  # looked back
    held: float
    left: int
    mean_days: float | None


@dataclass(frozen=True)
class Curve:
    """Own listings: share sold by day since they were listed, and the day half had sold (None: not reached)."""

    listings: int
    sold: int
    points: tuple[tuple[float, float], ...]
    half: float | None


def by_age(store: Store, today: date) -> tuple[Age, ...]:
    """Return the cash tied up in what is held, by days since it was bought."""
    day = day_number(today)
    found: dict[int, list[tuple[str, int, Decimal]]] = {}
    for age, state, count, landed in store.read(_BY_AGE, (day, day, day, day)):
        found.setdefault(age, []).append((state, count, money(landed) or Decimal(0)))
    return tuple(
        Age(low, high, tuple(sorted(found.get(at, ()), key=lambda one: HELD.index(one[0]))))
        for at, (low, high) in enumerate(AGES)
    )


def stay(store: Store, today: date, days: int = 90) -> Stay | None:
    """Say how long a piece stays by what was held and what left in the last days; None where nothing was held."""
    rows = store.read("SELECT bought_on, ended_on FROM stock_item WHERE COALESCE(ended_on, ?) >= ?",
                      (day_number(today), day_number(today) - days))  # fmt: skip
    return stay_of(rows, day_number(today) - days, day_number(today))


def stay_of(stays: Sequence[tuple[int, int | None]], first: int, last: int) -> Stay | None:
    """Do as `stay` for (day bought, day it left or None) between two days."""
    from models.survival import littles_law

    length = last - first
    held = sum(max(min(last if end is None else end, last) - max(begin, first), 0) for begin, end in stays) / length
    left = sum(end is not None and first < end <= last for _, end in stays)
    if not held:
        return None
    return Stay(length, held, left, float(littles_law(held, left / length)) if left else None)


def own_curve(store: Store, today: date) -> Curve | None:
    """Return how soon one's own listings sold, those that did not counted for as long as they stood; None: none yet."""
    rows = [row for row in store.read(_SPELLS, (day_number(today),)) if row[1] >= row[0]]
    if not rows:
        return None
    from models.survival import kaplan_meier

    curve = kaplan_meier([end - begin for begin, end, _ in rows], [int(sold) for *_, sold in rows])
    points = [(0.0, 0.0), *((float(t), 1.0 - float(s)) for t, s in zip(curve.times, curve.survival, strict=True))]
    if curve.last > points[-1][0]:
        points.append((curve.last, points[-1][1]))
    return Curve(len(rows), sum(int(sold) for *_, sold in rows), tuple(points), curve.median())
