"""Lay out the months of the books: sales beside what is left of them, and stock at cost above the same months."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from sourcing.books.period import Statement
from web.charts import BOTTOM, LEFT, RIGHT, TOP, Tick
from web.charts_stores import levels

_MOST = 36


@dataclass(frozen=True)
class Column:
    """One bar: its place, breadth and height; ``left`` tells the two kinds apart."""

    x: float
    y: float
    width: float
    height: float
    left: bool


@dataclass(frozen=True)
class Months:
    """Bars of sales and of what is left, a line of stock at cost, and the axes."""

    columns: tuple[Column, ...]
    stock: str
    zero: float
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


def by_month(months: Sequence[Statement]) -> Months | None:
    """Lay out the last months; None where there are fewer than two, of which the table says all."""
    shown = months[-_MOST:]
    if len(shown) < 2:
        return None
    amounts = [(float(one.net_sales), float(one.left), float(one.closing_stock)) for one in shown]
    flat = [amount for three in amounts for amount in three]
    low, high = min(*flat, 0.0), max(*flat, 0.0) or 1.0
    spread = high - low
    low, high = low - (0.03 * spread if low < 0 else 0), high + 0.05 * spread

    def up(amount: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (amount - low) / (high - low)

    step = (RIGHT - LEFT) / len(shown)
    width = min(step * 0.38, 16.0)
    columns: list[Column] = []
    points = []
    for at, (sales, left, stock) in enumerate(amounts):
        middle = LEFT + step * (at + 0.5)
        for x, amount, kind in ((middle - width, sales, False), (middle, left, True)):
            top, foot = sorted((up(amount), up(0.0)))
            columns.append(Column(x, top, width, max(foot - top, 0.6), kind))
        points.append(f"{middle:.1f} {up(stock):.1f}")
    places = sorted({0, len(shown) // 2, len(shown) - 1})
    return Months(
        tuple(columns), "M" + " L".join(points), up(0.0),
        tuple(Tick(LEFT + step * (at + 0.5), f"{shown[at].last:%Y-%m}") for at in places),
        tuple(Tick(up(level), f"{level:.0f}") for level in levels(low, high)),
    )  # fmt: skip
