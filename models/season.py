"""The market's pace by time of year: two harmonics of the year, and what they make of the days ahead."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

PERIOD = 30.0  # days of the calendar that share one pace
_YEAR = 365.2425


def harmonics(day: Floats) -> Floats:
    """Sine and cosine of one and two turns a year at days (n,): shape (n, 4)."""
    turn = 2.0 * np.pi * np.asarray(day, dtype=np.float64) / _YEAR
    return np.column_stack([np.sin(turn), np.cos(turn), np.sin(2 * turn), np.cos(2 * turn)])


def pace(season: Floats, day: Floats) -> Floats:
    """Factor on the hazard at days (n,) for fitted harmonics (4,)."""
    found: Floats = np.exp(harmonics(day) @ season)
    return found


def spent(rate: Floats, season: Floats, start: float, days: Floats, cuts: Floats) -> Floats:
    """Base hazard spent by ``days`` (T,) after day ``start``, for daily rates by piece of age; day by day."""
    whole = np.arange(int(np.ceil(float(np.max(days)))) + 1, dtype=np.float64)
    piece = np.searchsorted(cuts, whole[:-1] + 0.5) - 1
    total = np.concatenate([[0.0], np.cumsum(rate[piece] * pace(season, start + whole[:-1] + 0.5))])
    found: Floats = np.interp(days, whole, total)
    return found


def usual_pace(season: Floats, listed: Floats, stop: Floats) -> Floats:
    """Mean pace between days ``listed`` and ``stop`` (n,)."""
    low, high = float(np.min(listed)), float(np.max(stop))
    days = np.arange(np.floor(low), np.ceil(high) + 1.0)
    total = np.concatenate([[0.0], np.cumsum(pace(season, days + 0.5))])
    at = np.append(days, days[-1] + 1.0)
    length = np.maximum(stop - listed, 0.5)
    found: Floats = (np.interp(listed + length, at, total) - np.interp(listed, at, total)) / length
    return np.where(listed + length > at[-1], pace(season, listed), found)
