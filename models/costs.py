"""Net proceeds of a sale as straight lines over what the buyer pays: shares, brackets, floors and caps of fees.

Where fees change by bracket the expected net proceeds are no longer those of the expected price. The price being
lognormal around the asking price, each line's part of them is a partial expectation of the lognormal distribution
(Johnson, Kotz & Balakrishnan, Continuous Univariate Distributions 1, chapter 14): E[T; T < e] = E[T] Phi(z - s) with
z = (log e - mu) / s.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from scipy.special import ndtr

from models.price import Floats

_LEAST = 1e-9  # a total is never nothing: its logarithm is taken


@dataclass(frozen=True)
class Costs:
    """Net proceeds by pieces: from each start on, ``slopes`` times the total plus ``fixed``.

    Within a piece more paid is more left. At a start the line may jump, up or down, as where the whole amount bears
    the share of its bracket; a start belongs to the piece it begins.

    Raises
    ------
    ValueError
        No pieces, the first does not start at 0, starts do not rise, or a slope is not above 0.
    """

    starts: tuple[float, ...]
    slopes: tuple[float, ...]
    fixed: tuple[float, ...]

    def __post_init__(self) -> None:
        """Refuse pieces that have no inverse."""
        starts = self.starts
        if not starts or starts[0] != 0 or any(a >= b for a, b in pairwise(starts)):
            raise ValueError(f"pieces must start at 0 and rise: {starts}")
        if len(self.slopes) != len(starts) or len(self.fixed) != len(starts) or not min(self.slopes) > 0:
            raise ValueError(f"one slope above 0 a piece: {self.slopes}")

    @classmethod
    def one_fee(cls, rate: float, cap: float, other: float, lost_share: float) -> Costs:
        """Return the costs of one fee share up to a cap, other costs a sale, and a share of the price lost."""
        slope = 1 - lost_share
        if not rate or not np.isfinite(cap):
            return cls((0.0,), (slope - rate,), (-other,))
        return cls((0.0, cap / rate), (slope - rate, slope), (-other, -other - cap))

    @cached_property
    def rises(self) -> bool:
        """Whether more paid is never less left, over the starts too."""
        after = zip(self.starts[1:], self.slopes[1:], self.fixed[1:], strict=True)
        before = zip(self.slopes, self.fixed, strict=False)
        return all(m * t + k >= low * t + f - 1e-9 for (t, m, k), (low, f) in zip(after, before, strict=False))

    def net(self, total: Floats) -> Floats:
        """Net proceeds of a sale at ``total``, before labour and purchase."""
        if len(self.starts) == 1:
            return np.asarray(total * self.slopes[0] + self.fixed[0])
        at = np.searchsorted(self._starts[1:], total, side="right")
        return np.asarray(self._slopes[at] * total + self._fixed[at])

    def mean_net(self, mean: Floats, spread: float) -> Floats:
        """Expected net proceeds where the total is lognormal with this mean and this spread of its logarithm."""
        if len(self.starts) == 1 or spread <= 0:
            return self.net(mean)
        found = mean * self.slopes[0] + self.fixed[0]
        centre = np.log(np.maximum(mean, _LEAST)) - spread**2 / 2
        for at in range(1, len(self.starts)):
            z = (np.log(self.starts[at]) - centre) / spread
            more, extra = self.slopes[at] - self.slopes[at - 1], self.fixed[at] - self.fixed[at - 1]
            found += more * mean * ndtr(spread - z) + extra * ndtr(-z)
        return np.asarray(found, dtype=np.float64)

    def total_for(self, net: Floats) -> Floats:
        """Return the smallest total that leaves at least ``net``."""
        wanted = np.asarray(net, dtype=np.float64)
        found = np.full(wanted.shape, np.inf)
        for at in reversed(range(len(self.starts))):
            reached = np.maximum((wanted - self.fixed[at]) / self.slopes[at], self.starts[at])
            found = np.where(reached < self._stops[at], reached, found)
        return np.asarray(np.maximum(found, _LEAST))

    def one_total_for(self, net: float) -> float:
        """Do as `total_for` for one amount, in plain floats."""
        for start, slope, fixed, stop in zip(self.starts, self.slopes, self.fixed, self._stops, strict=True):
            reached = max((net - fixed) / slope, start)
            if reached < stop:
                return max(reached, _LEAST)
        raise ValueError(f"not an amount: {net}")

    def chance_short(self, net: float, below: Callable[[float], float]) -> float:
        """Chance that less than ``net`` is left, given the chance that the total is below an amount."""
        if self.rises:
            return below(self.one_total_for(net))
        return sum(
            below(high) - (below(low) if low > _LEAST else 0.0)
            for low, high in zip(*(ends.tolist() for ends in self.short_of(np.asarray(net))), strict=True)
            if high > low
        )

    def short_of(self, net: Floats) -> tuple[Floats, Floats]:
        """Return the totals that leave less than ``net`` (...), a span of each of P pieces: lows and highs (..., P)."""
        wanted = np.asarray(net, dtype=np.float64)[..., None]
        highs = np.clip((wanted - self._fixed) / self._slopes, self._starts, self._stops)
        lows = np.broadcast_to(self._starts, highs.shape)
        return np.maximum(lows, _LEAST), np.maximum(highs, _LEAST)

    @cached_property
    def _starts(self) -> Floats:
        return np.array(self.starts)

    @cached_property
    def _slopes(self) -> Floats:
        return np.array(self.slopes)

    @cached_property
    def _fixed(self) -> Floats:
        return np.array(self.fixed)

    @cached_property
    def _stops(self) -> tuple[float, ...]:
        return (*self.starts[1:], float("inf"))
