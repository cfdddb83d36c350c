"""The effects on the time to sell: which columns of the design are what, and what is believed of them beforehand."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.contrast import HINGE_SD, OWN_SLOPE_SD, SLOPE, SLOPE_SD, Contrast
from models.price import Floats, Ints
from models.response import HINGES

WALK_PERIODS = 2  # periods of thirty days that share one step of the walk
_TOLD = 1e-3  # share of its own spread left to a response that is given from outside
_CATEGORY_SD = 1.0
_SEASON_SD = 0.3
_OWN_SEASON_SD = 0.15  # a category's season around the common one
_WALK_SD = 0.15  # of the market's pace from one two-month period to the next
_EXTRA_SD = 2.0  # of a covariate's effect, a standard deviation of the covariate


@dataclass
class Layout:
    """Which columns of the design are what, and the normal prior of each: precision and mean."""

    pieces: slice
    categories: slice
    slope: int
    own_slopes: slice
    hinges: slice
    season: slice
    walk: slice
    extra: slice
    own_season: slice
    width: int
    precision: Floats
    mean: Floats
    first: int = 0

    @property
    def response(self) -> Ints:
        """Columns of the response, in the order of `Contrast`."""
        parts = (slice(self.slope, self.slope + 1), self.own_slopes, self.hinges)
        return np.concatenate([np.arange(part.start, part.stop) for part in parts])

    def season_error(self, covariance: Floats) -> Floats:
        """Standard errors (categories, 4) of the harmonics, the common part and a category's own together."""
        common = np.arange(self.season.start, self.season.stop)
        own = np.arange(self.own_season.start, self.own_season.stop).reshape(-1, 4)
        variance = covariance[common, common] + covariance[own, own] + 2.0 * covariance[common, own]
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)

    def take(self, told: Contrast) -> None:
        """Hold the response where it was found from outside."""
        self.mean[self.response] = told.mean
        self.precision[np.ix_(self.response, self.response)] = np.linalg.inv(told.covariance) / _TOLD**2

    def spread(self, told: Contrast) -> Floats:
        """Covariance (width, width) that holds the outside's for the response."""
        found = np.zeros(self.precision.shape)
        found[np.ix_(self.response, self.response)] = told.covariance
        return found

    @classmethod
    def of(cls, pieces: int, categories: int, periods: int, extra: int) -> Layout:
        """Lay the columns out."""
        steps = -(-periods // WALK_PERIODS)
        sizes = [pieces, categories, 1, categories, len(HINGES), 4, steps, extra, 4 * categories]
        ends = np.cumsum(sizes)
        part = [slice(int(end - size), int(end)) for end, size in zip(ends, sizes, strict=True)]
        width = int(ends[-1])
        precision, mean = np.zeros((width, width)), np.zeros(width)
        diagonal = np.concatenate(
            [
                np.full(size, 1.0 / sd**2)
                for size, sd in zip(
                    sizes,
                    (10.0, _CATEGORY_SD, SLOPE_SD, OWN_SLOPE_SD, HINGE_SD, _SEASON_SD, 10.0, _EXTRA_SD, _OWN_SEASON_SD),
                    strict=True,
                )
            ]
        )
        precision[np.arange(width), np.arange(width)] = diagonal
        step = np.diff(np.eye(steps), axis=0) / _WALK_SD
        precision[part[6], part[6]] += step.T @ step
        # The walk starts at nothing: its height is the pieces' business.
        precision[part[6].start, part[6].start] += 1.0 / 0.01**2
        mean[part[2].start] = SLOPE
        mean[part[0]] = -4.0
        return cls(
            part[0],
            part[1],
            part[2].start,
            part[3],
            part[4],
            part[5],
            part[6],
            part[7],
            part[8],
            width,
            precision,
            mean,
        )
