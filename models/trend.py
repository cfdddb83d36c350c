"""How prices move with the calendar: a curve by category that bends where the data say so.

Each category's curve is a sum of hat functions on knots some six weeks apart, 0 today. A second-difference penalty
keeps it near a straight line (the textbook drift) until there is evidence of a turn, and a category's own curve
leans on the one of all categories: P-splines of Eilers & Marx 1996 (Statistical Science 11:89) with degree one.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from models.within import Nest

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

KNOT_YEARS = 45 / 365.25
_HALF_YEAR = 0.5
_MOST_KNOTS = 25  # about three years; older rows take the oldest knot's value
_BEND_SD = 0.035  # of a second difference of the curve, in log price: a turn of about 0.28 a year at one knot
_SLOPE_SD = 0.25  # of a slope, in log price a year
_OWN_SHARE = 0.5  # a category's departure from the common curve has half these spreads


@dataclass
class Trend:
    """Log price level at each knot over today's, ``values_`` (categories, knots), column 0 all zeros."""

    values_: Floats = field(default_factory=lambda: np.zeros((0, 1)))

    def start(self, age: Floats, category: Ints, categories: int) -> None:
        """Lay the knots over the rows' ages in years (n,), nan where unknown; all curves flat."""
        known = age[~np.isnan(age)]
        span = float(known.max()) if len(known) else 0.0
        knots = int(np.clip(np.ceil(span / KNOT_YEARS) + 1, 1, _MOST_KNOTS))
        self._common = np.zeros(knots)
        self._own = np.zeros((categories, knots))
        self.values_ = np.zeros((categories, knots))
        self._left, self._part = _place(age, knots)
        self._cell = category * knots + self._left
        self._known = ~np.isnan(age)

    def of_rows(self) -> Floats:
        """Return the curve at the rows given to `start`: (n,)."""
        step = np.diff(self.values_, axis=1, append=self.values_[:, -1:])
        found: Floats = self.values_.ravel()[self._cell] + step.ravel()[self._cell] * self._part
        return found

    def improve(self, residual: Floats, precision: Floats) -> None:
        """Move the curves towards what residuals (n,) of given precision still show, the common one first."""
        knots = self.values_.shape[1]
        if knots == 1:
            return
        precision = np.where(self._known, precision, 0.0)
        penalty = _penalty(knots)
        moment, matrix = self._sums(residual, precision)
        step = np.linalg.solve(matrix.sum(axis=0) + penalty, moment.sum(axis=0) - penalty @ self._common[1:])
        self._common[1:] += step
        moment -= np.einsum("cij,j->ci", matrix, step)
        tight = penalty / _OWN_SHARE**2
        right_hand = moment - self._own[:, 1:] @ tight
        self._own[:, 1:] += np.linalg.solve(matrix + tight, right_hand[:, :, None])[:, :, 0]
        self.values_ = self._common + self._own

    def since(self, age: float, precision: Floats, category: Ints, variant: Ints, nest: Nest) -> tuple[Floats, Floats]:
        """Change of the level from ``age`` years ago until today, and its standard error: (C,), (C,).

        Parameters
        ----------
        precision, category, variant : (n,) of the rows given to `start`. nest : the levels, which
        are unknown: what a curve says is sure only as far as it is seen within them.
        """
        categories, knots = self.values_.shape
        if knots == 1:
            return np.zeros(categories), np.full(categories, np.inf)
        right = np.minimum(self._left + 1, knots - 1)
        precision = np.where(self._known, precision, 0.0)
        left, part = _place(np.array([age]), knots)
        at = np.zeros(knots)
        at[left[0]] += 1.0 - part[0]
        at[min(left[0] + 1, knots - 1)] += part[0]
        error = np.empty(categories)
        # A category's curve leans on the common one, which is left out here: rather too wide than too narrow.
        penalty = _penalty(knots) / (1.0 + _OWN_SHARE**2)
        for index in range(categories):
            rows = category == index
            hats = ((self._left[rows], 1.0 - self._part[rows]), (right[rows], self._part[rows]))
            live, place = np.unique(variant[rows], return_inverse=True)
            matrix, columns = np.zeros(knots * knots), np.zeros(len(live) * knots)
            for first, a in hats:
                columns += np.bincount(place * knots + first, precision[rows] * a, len(columns))
                for second, b in hats:
                    matrix += np.bincount(first * knots + second, precision[rows] * a * b, len(matrix))
            of_variant = columns.reshape(-1, knots)
            told = matrix.reshape(knots, knots) - nest.taken(live, of_variant.sum(axis=1), of_variant)
            error[index] = np.sqrt(at[1:] @ np.linalg.inv(told[1:, 1:] + penalty) @ at[1:])
        return -self.values_ @ at, error

    def _sums(self, residual: Floats, precision: Floats) -> tuple[Floats, Floats]:
        """Accumulate normal equations over the knots beyond today's: moments (C, k), matrices (C, k, k)."""
        categories, knots = self.values_.shape
        weighted = precision * residual
        bent = precision * self._part

        # Between two knots every sum that is needed is one of powers of the part of the way, times either.
        def summed(values: Floats) -> Floats:
            return np.bincount(self._cell, values, categories * knots).reshape(categories, knots).astype(np.float64)

        mass, first, second = summed(precision), summed(bent), summed(bent * self._part)
        pull, pull_first = summed(weighted), summed(weighted * self._part)
        total = np.maximum(mass.sum(axis=1), 1e-12)
        # A level shift belongs to the styles, so each category's residuals are centred first.
        shift = (pull.sum(axis=1) / total)[:, None]
        pull, pull_first = pull - shift * mass, pull_first - shift * first
        moment, mean = pull - pull_first, mass - first
        moment[:, 1:] += pull_first[:, :-1]
        mean[:, 1:] += first[:, :-1]
        matrix = np.zeros((categories, knots, knots))
        each = np.arange(knots)
        matrix[:, each, each] = mass - 2 * first + second
        matrix[:, each[1:], each[1:]] += second[:, :-1]
        across = (first - second)[:, :-1]
        matrix[:, each[1:], each[:-1]] = across
        matrix[:, each[:-1], each[1:]] = across
        # Centring in the design too, so that today's zero does not have to carry the mean.
        matrix -= mean[:, :, None] * mean[:, None, :] / total[:, None, None]
        return moment[:, 1:], matrix[:, 1:, 1:]


def curve_at(values: Floats, age: Floats) -> Floats:
    """Read one category's curve (knots,) at ages in years."""
    left, part = _place(age, len(values))
    right = np.minimum(left + 1, len(values) - 1)
    found: Floats = values[left] * (1 - part) + values[right] * part
    return found


def slope_now(values: Floats) -> float:
    """Slope a year at today's end of the curve; 0 where there is none."""
    return float(-values[1] / KNOT_YEARS) if len(values) > 1 else 0.0


def carried_var(error: Floats | float, age: Floats, precision: Floats, owner: Ints, prior: Floats) -> Floats:
    """Variance that levels take over from the curve by which their evidence is brought to today: (N,).

    Parameters
    ----------
    error : standard error of the curve's change over half a year. age, precision, owner : (M,) years, precision and
    owning level of the comps. prior : (N,) precision of the levels before them, which rests on kin half a year old.
    """
    count = len(prior)
    total = prior + np.bincount(owner, precision, count)
    mean_age = (prior * _HALF_YEAR + np.bincount(owner, precision * np.nan_to_num(age), count)) / total
    found: Floats = (error * np.minimum(mean_age / _HALF_YEAR, 2.0)) ** 2
    return found


def _place(age: Floats, knots: int) -> tuple[Ints, Floats]:
    at = np.clip(np.nan_to_num(age) / KNOT_YEARS, 0.0, max(knots - 1, 0))
    left: Ints = np.minimum(at.astype(np.int64), np.int64(max(knots - 2, 0)))
    return left, at - left


def _penalty(knots: int) -> Floats:
    """Quadratic penalty on the values beyond today's: second differences, and slopes."""
    slope = np.diff(np.eye(knots), axis=0)
    bend = np.diff(slope, axis=0)
    # Independent slopes would add up to a walk: what is meant is one spread for the whole line, so it is shared out.
    whole = slope.T @ slope / (knots - 1) / (_SLOPE_SD * KNOT_YEARS) ** 2 + bend.T @ bend / _BEND_SD**2
    found: Floats = whole[1:, 1:]
    return found
