"""Bands by resampling whole groups: what belongs together is drawn together (Efron & Tibshirani 1993, ch. 8).

The sums of every group come first, so that a resample is a product of two matrices, however many rows a group has.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.price import Floats


@dataclass(frozen=True)
class Resamples:
    """B resamples of S groups.

    Attributes
    ----------
    weights : (B, S) how often each group was drawn. noise : (B, S) standard normal: by how many of its own standard
    errors each group's figures are off in that resample.
    """

    weights: Floats
    noise: Floats

    def sums(self, values: Floats, errors: Floats | None = None) -> Floats:
        """Sum groups' values (S, ...) in every resample, off by their errors of the same shape: (B, ...)."""
        flat = values.reshape(len(values), -1)
        found = self.weights @ flat
        if errors is not None:
            found = found + (self.weights * self.noise) @ errors.reshape(len(values), -1)
        return np.asarray(found.reshape(len(self.weights), *values.shape[1:]))


def resample(groups: int, times: int, seed: int) -> Resamples:
    """Draw groups with replacement, ``times`` times; the same seed draws the same."""
    rng = np.random.default_rng(seed)
    shares = np.full(groups, 1.0 / max(groups, 1))
    weights = rng.multinomial(groups, shares, times).astype(np.float64) if groups else np.zeros((times, 0))
    return Resamples(weights, rng.standard_normal((times, groups)))
