"""What the buys of each rule set brought, summed by item: the groups that bands are drawn from."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.price import Floats
from sourcing.tuning.buys import Buys
from sourcing.tuning.replay import Replay

BUYS, PROFIT, BEFORE, CASH_YEARS, OUTLAY, HOURS = range(6)
"""Columns: pieces; profit after labour and cash; the same before labour; cash times years tied up; till; prep."""
COLUMNS = 6


@dataclass(frozen=True)
class Tally:
    """Sums of S items under G rule sets.

    Attributes
    ----------
    sums : (S, G, COLUMNS). errors : (S, G, COLUMNS) standard errors of what became of them. One item's occasions rest
    on the same later listings, so that their errors add up whole.
    """

    sums: Floats
    errors: Floats

    @property
    def total(self) -> Floats:
        """Of all items: (G, COLUMNS)."""
        return np.asarray(self.sums.sum(axis=0))


def tally(replay: Replay, bought: Buys) -> Tally:
    """Sum up what every rule set bought."""
    order = np.argsort(replay.style, kind="stable")
    starts = np.flatnonzero(np.diff(replay.style[order], prepend=np.nan) != 0)
    taken = bought.taken[order]
    groups = taken.shape[1]
    sums, errors = np.zeros((len(starts), groups, COLUMNS)), np.zeros((len(starts), groups, COLUMNS))
    if not len(starts):
        return Tally(sums, errors)
    if bought.asked.ndim == 1:
        brought, error = _brought(replay, bought.asked)
        for column, each in enumerate(brought):
            sums[:, :, column] = np.add.reduceat(taken * each[order][:, None], starts, axis=0)
        spread = np.add.reduceat(taken * error[order][:, None], starts, axis=0)
    else:
        spread = np.zeros((len(starts), groups))
        for g in range(groups):
            brought, error = _brought(replay, bought.asked[:, g])
            for column, each in enumerate(brought):
                sums[:, g, column] = np.add.reduceat(taken[:, g] * each[order], starts)
            spread[:, g] = np.add.reduceat(taken[:, g] * error[order], starts)
    errors[:, :, PROFIT] = errors[:, :, BEFORE] = spread
    return Tally(sums, errors)


def _brought(replay: Replay, asked: np.ndarray) -> tuple[tuple[Floats, ...], Floats]:
    """What each occasion brought at its asking price, column by column, and the error of its profit: (N,) each."""
    each = np.arange(len(replay))
    cost = replay.landed / 100.0
    years = cost * replay.days[each, asked] / 365.0
    before = replay.net[each, asked] - cost - replay.rate * years
    columns = (np.ones(len(replay)), before - replay.labour, before, years, cost, replay.hours)
    return columns, replay.error[each, asked]
