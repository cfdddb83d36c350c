"""Lay out what an hour brings: a line a store or weekday, its interval as a bar, its runs as dots, on one scale."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from web.charts import LEFT, RIGHT, TOP, Tick

ROW, HIGH = 44.0, 30.0  # of one line; where its bar lies in it
_MOST = 10  # lines
_MOST_DOTS = 60  # of one line
_EDGE = 8.0


@dataclass(frozen=True)
class Bar:
    """One line: the interval, the middle, the runs; `few` where they are too few to tell."""

    name: str
    told: str  # in words, beside the name
    y: float
    low: float
    high: float
    middle: float
    dots: tuple[float, ...]
    few: bool


@dataclass(frozen=True)
class Bars:
    """All lines, the axis beneath, and a line at what an hour is worth."""

    bars: tuple[Bar, ...]
    height: float
    foot: float
    ticks: tuple[Tick, ...]
    worth: float | None
    zero: float | None


@dataclass(frozen=True)
class Line:
    """What is to be laid out of one store or weekday."""

    name: str
    told: str
    low: float
    high: float
    middle: float
    each: tuple[float, ...] = ()
    few: bool = False


def bars(lines: Sequence[Line], worth: float) -> Bars | None:
    """Lay lines out; None without any. Dots far beyond all intervals are drawn at the edge."""
    shown = lines[:_MOST]
    if not shown:
        return None
    ends = [end for line in shown for end in (line.low, line.high)]
    low, high = min(*ends, worth, 0.0), max(*ends, worth, 0.0)
    spread = (high - low) or 1.0
    low, high = low - 0.04 * spread, high + 0.04 * spread
    across = _across(low, high)
    foot = TOP + ROW * len(shown)
    return Bars(
        tuple(
            Bar(
                line.name, line.told, TOP + ROW * at + HIGH, across(line.low), across(line.high), across(line.middle),
                tuple(across(value) for value in line.each[:_MOST_DOTS]), line.few,
            )
            for at, line in enumerate(shown)
        ),
        foot + 24.0, foot,
        tuple(Tick(across(level), f"{level:.0f}") for level in levels(low, high)),
        across(worth) if low <= worth <= high else None,
        across(0.0) if low < 0.0 < high else None,
    )  # fmt: skip


def levels(low: float, high: float, most: int = 6) -> list[float]:
    """Return round amounts between two, at most six."""
    steps = (size * 10.0**power for power in range(-1, 8) for size in (1, 2, 5))
    step = next(step for step in steps if (high - low) / step <= most - 1)
    first = -(-low // step)
    return [step * (first + at) for at in range(most) if step * (first + at) <= high]


def _across(low: float, high: float) -> Callable[[float], float]:
    left, right = LEFT - 36.0, RIGHT - _EDGE

    def across(value: float) -> float:
        return min(max(left + (right - left) * (value - low) / (high - low), left), right)

    return across
