"""How the hazard answers to the asking price: a power law that hinges may bend, and caution beyond the data."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

EDGES: Floats = np.concatenate([np.arange(-0.8, -0.3, 0.1), np.arange(-0.3, 0.4, 0.04), np.arange(0.42, 1.01, 0.1)])
GRID: Floats = (EDGES[:-1] + EDGES[1:]) / 2
HINGES: Floats = np.array([-0.25, -0.12, -0.04, 0.04, 0.10, 0.16, 0.24, 0.36])
TABLE: Floats = np.linspace(-1.0, 1.2, 89)  # where a fitted response is kept, 0.025 apart
CAUTION = 0.75  # standard errors by which the slope is taken steeper where nothing can be checked
_GENTLEST = -0.1  # demand never rises with the asking price


def basis(x: Floats) -> Floats:
    """Columns of the response at x (n,), all 0 at x = 0: x itself, what lies above each hinge; (n, 1 + hinges)."""
    return np.column_stack([x, np.maximum(x[:, None] - HINGES, 0.0) - np.maximum(-HINGES, 0.0)])


def average_slope(low: float, high: float) -> Floats:
    """Weights (1 + hinges,) with which the columns of `basis` make the straight line nearest over an interval."""
    x = np.linspace(low, max(high, low + 0.02), 41)
    centred = x - x.mean()
    found: Floats = centred @ basis(x) / (centred @ centred)
    return found


@dataclass(frozen=True)
class Response:
    """Log hazard over that at x = 0 on `TABLE`; between ``low`` and ``high`` the market has shown asking prices."""

    values: Floats
    low: float
    high: float

    @classmethod
    def of(cls, first: float, hinges: Floats, slope: float, slope_se: float, known: Floats) -> Response:
        """Tabulate a fitted response: slope ``first`` before the first hinge, ``slope`` on the whole.

        Beyond the asking prices seen (their 2 % and 98 % points of ``known``) there is only the power law to go by, so
        above them the steeper of it and of the line through the upper half of what was seen goes on, less three
        quarters of a standard error: where it cannot be checked, caution costs less than a promise not kept.
        """
        seen = np.quantile(known, [0.02, 0.5, 0.98]) if len(known) else (-0.3, 0.0, 0.3)
        low, middle, high = (float(value) for value in seen)
        at = (TABLE[1:] + TABLE[:-1]) / 2
        local = first + (hinges[None, :] * (at[:, None] > HINGES)).sum(axis=1)
        upper = first + float(average_slope(middle, high)[1:] @ hinges)
        bottom = float(local[min(np.searchsorted(at, low), len(local) - 1)])
        local = np.where(at > high, min(upper, slope) - CAUTION * slope_se, local)
        local = np.where(at < low, max(bottom, slope), local)
        local = np.minimum(local, _GENTLEST)
        values = np.concatenate([[0.0], np.cumsum(local * np.diff(TABLE))])
        return cls(values - np.interp(0.0, TABLE, values), low, high)


def read(values: Floats, x: Floats) -> Floats:
    """Read a tabulated response at x of any shape, held flat beyond the table."""
    step = TABLE[1] - TABLE[0]
    at = np.clip((x - TABLE[0]) / step, 0.0, len(TABLE) - 1.000001)
    left = at.astype(np.int64)
    part = at - left
    found: Floats = values[left] * (1.0 - part) + values[left + 1] * part
    return found
