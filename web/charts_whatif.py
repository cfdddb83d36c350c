"""Lay out profit and chance of a sale against the asking price; ``templates/whatif/_picture.html`` draws it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from sourcing.language import separated
from sourcing.whatif import AtAsk
from web.charts import BOTTOM, LEFT, TOP, Tick

RIGHT = 298.0  # the chances have their own scale on the right


@dataclass(frozen=True)
class Mark:
    """One asking price stood for by a line across."""

    kind: str  # "chosen" or "best": also its CSS class
    x: float
    anchor: str  # of its words: start, middle or end
    ask: Decimal


@dataclass(frozen=True)
class Picture:
    """Two curves over one axis of asking prices."""

    left: str  # path of the profit
    chance: str  # path of the chance; empty: not known
    nothing: float | None  # height at which nothing is left; None: outside of the picture
    marks: tuple[Mark, ...]
    dots: tuple[tuple[float, float], ...]  # of the chosen asking price, on each curve
    x_ticks: tuple[Tick, ...]
    left_ticks: tuple[Tick, ...]
    chance_ticks: tuple[Tick, ...]


def trade_off(asks: Sequence[AtAsk]) -> Picture | None:
    """Lay out what every asking price would bring; None when there is nothing to draw."""
    if len(asks) < 2:
        return None
    low, high = float(asks[0].ask), float(asks[-1].ask)
    lefts = [float(one.left) for one in asks]
    step = _step(max(*lefts, 0.0) - min(*lefts, 0.0))
    bottom, top = step * (min(*lefts, 0.0) // step), step * -(-max(*lefts, 0.0) // step)
    top = top if top > bottom else bottom + step

    def across(ask: Decimal) -> float:
        return LEFT + (RIGHT - LEFT) * (float(ask) - low) / ((high - low) or 1.0)

    def up(part: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * part

    def by_amount(amount: float) -> float:
        return up((amount - bottom) / (top - bottom))

    known = [one for one in asks if one.chance is not None]
    chosen = next(one for one in asks if one.chosen)
    best = next(one for one in asks if one.best)
    dots = [(across(chosen.ask), by_amount(float(chosen.left)))]
    if chosen.chance is not None:
        dots.append((across(chosen.ask), up(chosen.chance)))
    marks = [Mark("chosen", across(chosen.ask), _anchor(across(chosen.ask)), chosen.ask)]
    if best is not chosen:
        marks.append(Mark("best", across(best.ask), _anchor(across(best.ask)), best.ask))
    levels = [bottom + step * count for count in range(round((top - bottom) / step) + 1)]
    middle = Decimal((low + high) / 2)
    return Picture(
        left=_path([(across(one.ask), by_amount(float(one.left))) for one in asks]),
        chance=_path([(across(one.ask), up(one.chance)) for one in known if one.chance is not None]),
        nothing=by_amount(0.0) if bottom < 0 else None,
        marks=tuple(marks),
        dots=tuple(dots),
        x_ticks=tuple(Tick(across(ask), f"{ask:.0f}") for ask in (asks[0].ask, middle, asks[-1].ask)),
        left_ticks=tuple(Tick(by_amount(level), f"{level:.0f}".replace("-", "\N{MINUS SIGN}")) for level in levels),
        chance_ticks=tuple(Tick(up(part), separated(f"{100 * part:.0f}%")) for part in (0, 0.5, 1)) if known else (),
    )


def _path(points: list[tuple[float, float]]) -> str:
    return "M" + " L".join(f"{x:.1f} {y:.1f}" for x, y in points) if points else ""


def _anchor(x: float) -> str:
    return "start" if x < LEFT + 50 else "end" if x > RIGHT - 50 else "middle"


def _step(spread: float) -> float:
    """Return a round step of which at most six cover the spread."""
    return float(next(size * 10**power for power in range(7) for size in (1, 2, 5) if spread <= 5 * size * 10**power))
