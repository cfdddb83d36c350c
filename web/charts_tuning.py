"""Lay out what each setting of a rule would have brought; ``templates/tune/_picture.html`` draws it."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import groupby

from sourcing.language import gettext, separated
from sourcing.tuning import Band, Frontier, Point
from web.charts import Tick
from web.filters import grouped

LEFT, RIGHT, TOP, BOTTOM = 52.0, 332.0, 30.0, 170.0
AGAINST = ("threshold", "buys", "cash", "hours")


@dataclass(frozen=True)
class Mark:
    """Today's setting or the best one: its own outline, named in words."""

    kind: str  # "today" or "best": also its CSS class
    words: str
    x: float
    y: float
    label_y: float
    anchor: str
    wave: int  # which way a flag flies: 1 to the right, -1 to the left


@dataclass(frozen=True)
class Picture:
    """Profit against one quantity, with its 90 % band."""

    name: str  # what stands along the foot
    band: str
    line: str
    nothing: float | None  # height of no profit, where it is within the picture
    marks: tuple[Mark, ...]
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


def picture(one: Frontier, against: str, names: dict[str, str], write: Callable[[Point], str]) -> Picture | None:
    """Lay out one picture of a frontier; None where fewer than two settings differ in it.

    Parameters
    ----------
    against : of `AGAINST`, what stands along the foot. names : in words. write : a point's setting in words.
    """
    points = [(at, _along(point, against, one.points), point) for at, point in enumerate(one.points)]
    shown = sorted(((x, at, point) for at, x, point in points if x is not None), key=lambda row: (row[0], row[1]))
    # Settings that come to the same place along the foot: one of them is enough, a marked one before others.
    wanted = {one.today, one.best}
    kept = [
        min(group, key=lambda row: (row[1] not in wanted, row[1]))
        for _, group in groupby(shown, key=lambda row: row[0])
    ]
    if len(kept) < 2 or kept[0][0] == kept[-1][0]:
        return None
    low = min(0.0, *(point.profit.low for _, _, point in kept))
    high = max(point.profit.high for _, _, point in kept)
    if high <= low:
        return None
    first, last = kept[0][0], kept[-1][0]

    def across(value: float) -> float:
        return LEFT + (RIGHT - LEFT) * (value - first) / (last - first)

    def up(amount: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * (amount - low) / (high - low)

    def path(pick: Callable[[Band], float]) -> list[str]:
        return [f"{across(x):.1f} {up(pick(point.profit)):.1f}" for x, _, point in kept]

    over, under = path(lambda band: band.high), path(lambda band: band.low)
    marks = _marks(one, against, across, up, write)
    return Picture(
        names[against],
        f"M{' L'.join(over)} L{' L'.join(reversed(under))}Z",
        "M" + " L".join(path(lambda band: band.mid)),
        up(0.0) if low < 0 else None,
        marks,
        tuple(Tick(across(value), _short(value, against, one.unit)) for value in _levels(first, last)),
        tuple(Tick(up(value), grouped(value)) for value in _levels(low, high)),
    )


def _along(point: Point, against: str, every: Sequence[Point]) -> float | None:
    if against == "threshold":
        return None if point.threshold is None else float(point.threshold)
    return {"buys": float(point.buys), "cash": point.cash.mid, "hours": point.hours}[against]


def _marks(
    one: Frontier,
    against: str,
    across: Callable[[float], float],
    up: Callable[[float], float],
    write: Callable[[Point], str],
) -> tuple[Mark, ...]:
    wanted = [("today", one.today)]
    if one.best is not None and one.best != one.today:
        wanted.append(("best", one.best))
    found: list[Mark] = []
    for kind, at in wanted:
        point = one.points[at]
        x = _along(point, against, one.points)
        if x is None:
            continue
        place = across(x)
        left = place < (LEFT + RIGHT) / 2
        name = gettext("today") if kind == "today" else gettext("best here")
        words = f"{name}: {write(point)}"
        height = TOP - (6 if kind == "today" else 19)  # a line each, so that they never run into each other
        found.append(
            Mark(kind, words, place, up(point.profit.mid), height, "start" if left else "end", 1 if left else -1)
        )
    return tuple(found)


def _levels(low: float, high: float) -> list[float]:
    """Three to six round values from low to high."""
    wide = high - low
    step = 10.0 ** math.floor(math.log10(wide))
    step = next(step * part for part in (1.0, 0.5, 0.25, 0.1) if wide / (step * part) >= 3)
    return [step * count for count in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def _short(value: float, against: str, unit: str) -> str:
    if against == "threshold" and unit == "share":
        return separated(f"{100 * value:g}%")
    return separated(f"{value:,.10g}")
