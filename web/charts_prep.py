"""Lay out the picture of pieces an hour: one dot a batch, and the median of the last five as a line."""

from __future__ import annotations

from dataclasses import dataclass

from sourcing.prep.pace import Pace
from web.charts import BOTTOM, LEFT, RIGHT, TOP, Tick, on_axis, round_levels

_MOST_DOTS = 400
_COUNTS = 0.5  # what counts less is a cross


@dataclass(frozen=True)
class Picture:
    """Pieces an hour by batch."""

    dots: tuple[tuple[float, float, bool], ...]  # x, y, whether it counts next to nothing
    path: str
    x_ticks: tuple[Tick, ...]
    y_ticks: tuple[Tick, ...]


def per_hour(pace: Pace) -> Picture:
    """Lay out the last batches of one step, evenly by their order: gaps of days say nothing here."""
    points = pace.points[-_MOST_DOTS:]
    # A cross may lie off the top: it must not press all others to the ground.
    fast = sorted(point.per_hour for point in points if point.counts >= _COUNTS) or [0.0]
    top = 1.1 * max(max(point.usual for point in points), fast[int(0.95 * len(fast))])
    step = (RIGHT - LEFT - 12) / max(len(points) - 1, 1)

    def across(place: int) -> float:
        return LEFT + 6 + step * place if len(points) > 1 else (LEFT + RIGHT) / 2

    def up(value: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * min(value / top, 1.0)

    places = sorted({0, len(points) // 2, len(points) - 1})
    return Picture(
        tuple((across(at), up(point.per_hour), point.counts < _COUNTS) for at, point in enumerate(points)),
        "M" + " L".join(f"{across(at):.1f} {up(point.usual):.1f}" for at, point in enumerate(points)),
        tuple(Tick(across(at), on_axis(points[at].at.astimezone().date())) for at in places),
        tuple(Tick(up(level), f"{level:.0f}") for level in round_levels(top)),
    )
