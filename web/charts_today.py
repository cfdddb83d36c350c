"""Lay out the pictures of what to do today: cash by age as bars, one's own sales curve."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import accumulate

from sourcing.language import gettext, separated
from sourcing.stock.item import HELD
from sourcing.today.cash import Age
from sourcing.today.cash import Curve as Own
from web.charts import BOTTOM, LEFT, RIGHT, TOP, Curve, Tick

WIDTH, STEP = 340.0, 40.0


@dataclass(frozen=True)
class Bar:
    """Cash of one age: parts as (class, x, width), a class a state."""

    age: Age
    y: float
    parts: tuple[tuple[str, float, float], ...]


@dataclass(frozen=True)
class Bars:
    """The whole picture, and which class stands for which state."""

    bars: tuple[Bar, ...]
    height: float
    states: tuple[tuple[str, str], ...]


def by_age(ages: Sequence[Age]) -> Bars | None:
    """Lay out cash by age; None where none is tied up."""
    most = max((float(age.cash) for age in ages), default=0.0)
    if most <= 0:
        return None
    kinds = {state: f"a{at}" for at, state in enumerate(HELD)}
    bars = []
    for place, age in enumerate(ages):
        widths = [WIDTH * float(landed) / most for _, _, landed in age.by_state]
        starts = accumulate(widths, initial=0.0)
        parts = [
            (kinds[state], x, width)
            for (state, _, _), x, width in zip(age.by_state, starts, widths, strict=False)
            if width > 0
        ]
        bars.append(Bar(age, place * STEP + 18, tuple(parts)))
    met = {state for age in ages for state, _, _ in age.by_state}
    return Bars(tuple(bars), len(bars) * STEP, tuple((kind, state) for state, kind in kinds.items() if state in met))


def curve(own: Own) -> Curve:
    """Lay out the share of one's own listings sold by day, as steps: nothing is known between two sales."""
    last = max(own.points[-1][0], 1.0)

    def across(day: float) -> float:
        return LEFT + (RIGHT - LEFT) * day / last

    def up(share: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * share

    path = f"M{across(0):.1f} {up(0):.1f}"
    for day, share in own.points[1:]:
        path += f" H{across(day):.1f} V{up(share):.1f}"
    days = sorted({round(last * part) for part in (0, 1 / 3, 2 / 3, 1)})  # of a day or two there are fewer
    return Curve(
        path,
        tuple(Tick(across(day), gettext("day {number}", number=f"{day}")) for day in days),
        tuple(Tick(up(part), separated(f"{100 * part:.0f}%")) for part in (0, 0.5, 1)),
    )
