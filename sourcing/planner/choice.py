"""The best choice of pieces under several limits at once: a knapsack of several dimensions, solved exactly.

Source: Martello & Toth, Knapsack Problems (1990); Kellerer, Pferschy & Pisinger, Knapsack Problems (2004), chapter 9.
The search itself is HiGHS's, by `scipy.optimize.milp`; ahead of it, pieces whose reduced profit in the linear
relaxation already settles them are fixed (Dantzig's bound), which leaves it a fraction of the pieces.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Whole = NDArray[np.int64]
Real = NDArray[np.float64]
Flags = NDArray[np.bool_]

MOST_NODES = 50_000  # the same on every machine, where a limit on time is not
MOST_SECONDS = 20.0
_TRIES = 20


@dataclass(frozen=True)
class Pieces:
    """P pieces to choose from and R limits they use up, in whole units so that every sum is exact."""

    profit: Whole  # (P,) above 0
    use: Whole  # (R, P) at least 0
    room: Whole  # (R,)
    before: Whole  # (P,) the piece that has to be taken before this one, -1 where there is none

    def fits(self, taken: Flags) -> bool:
        """Say whether a choice keeps every limit and the order of copies."""
        later = self.before >= 0
        in_order = bool(np.all(~taken[later] | taken[self.before[later]]))
        return in_order and bool(np.all(self.use @ taken <= self.room))

    def without(self, rows: Flags) -> Pieces:
        """Return the same pieces without some of the limits; ``rows`` (R,) says which."""
        return Pieces(self.profit, self.use[~rows], self.room[~rows], self.before)


@dataclass(frozen=True)
class Choice:
    """What was chosen, and how sure it is that nothing brings more."""

    taken: Flags  # (P,)
    profit: int
    bound: int  # no choice brings more than this
    worth: Real  # (R,) profit a further unit of each limit brings in the linear relaxation: its dual

    @property
    def stopped(self) -> bool:
        """Whether the search ended before the choice was proven best."""
        return self.bound > self.profit


def choose(
    pieces: Pieces, known: Flags | None = None, *, nodes: int = MOST_NODES, seconds: float = MOST_SECONDS
) -> Choice:
    """Choose the pieces that bring the most.

    Parameters
    ----------
    pieces : Pieces
        The pieces and the limits.
    known : array (P,) of bool, optional
        A choice known to keep the limits: the answer brings at least as much.
    nodes, seconds : int, float
        Where the search stops; the answer then says how much more there could be at most.
    """
    count = len(pieces.profit)
    possible = np.all(pieces.use <= pieces.room[:, None], axis=0)
    for at in np.flatnonzero(pieces.before >= 0):  # a piece stands after the one it waits for
        possible[at] &= possible[pieces.before[at]]
    nothing = np.zeros(count, dtype=bool)
    if not possible.any():
        return Choice(nothing, 0, 0, np.zeros(len(pieces.room)))
    matrix, most = _rows(pieces)
    top, dual = _relaxed(pieces.profit, matrix, most, possible)
    worth = dual[: len(pieces.room)]
    gain = pieces.profit - dual @ matrix  # what a piece brings beyond the worth of what it uses up
    best = _filled(pieces, nothing, possible, gain)
    if known is not None and pieces.fits(known) and pieces.profit @ known >= pieces.profit @ best:
        best = known
    least = int(pieces.profit @ best)
    slack = 1e-6 * max(1.0, top)
    if top < least + 1 - slack:
        return Choice(best, least, least, worth)
    # Turning round a piece costs at least its reduced profit: where that leaves less than is known, it is settled.
    free = possible & (np.abs(gain) <= top - least + slack)
    fixed = possible & ~free & (gain > 0)
    found, bound = _searched(pieces, matrix, most, fixed, free, nodes, seconds)
    if found is not None and int(pieces.profit @ found) > least:
        best, least = found, int(pieces.profit @ found)
    return Choice(best, least, max(least, min(bound, int(top + slack))), worth)


def _rows(pieces: Pieces) -> tuple[Real, Real]:
    """Return the limits and the order of copies as rows of one matrix."""
    later = np.flatnonzero(pieces.before >= 0)
    order = np.zeros((len(later), len(pieces.profit)))
    order[np.arange(len(later)), later] = 1.0
    order[np.arange(len(later)), pieces.before[later]] = -1.0
    return np.vstack([pieces.use, order]).astype(float), np.concatenate([pieces.room, np.zeros(len(later))])


def _relaxed(profit: Whole, matrix: Real, most: Real, possible: Flags) -> tuple[float, Real]:
    """Solve the linear relaxation: (its profit, the dual of each row)."""
    from scipy.optimize import linprog
    from scipy.sparse import csr_array

    if not len(most):
        return float(profit[possible].sum()), np.zeros(0)
    bounds = np.column_stack([np.zeros(len(profit)), possible.astype(float)])
    solved = linprog(-profit.astype(float), A_ub=csr_array(matrix), b_ub=most, bounds=bounds, method="highs")
    return -float(solved.fun), np.maximum(-solved.ineqlin.marginals, 0.0)


def _filled(pieces: Pieces, taken: Flags, possible: Flags, gain: Real) -> Flags:
    """Take what still fits, the best by the linear relaxation first."""
    taken = taken.copy()
    left = pieces.room - pieces.use @ taken
    for at in np.argsort(-gain / pieces.profit, kind="stable"):
        before = pieces.before[at]
        if possible[at] and not taken[at] and (before < 0 or taken[before]) and np.all(pieces.use[:, at] <= left):
            taken[at] = True
            left = left - pieces.use[:, at]
    return taken


def _searched(
    pieces: Pieces, matrix: Real, most: Real, fixed: Flags, free: Flags, nodes: int, seconds: float
) -> tuple[Flags | None, int]:
    """Search among the free pieces, the fixed ones taken: (the best found, a bound on what there can be)."""
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    start = int(pieces.profit @ fixed)
    profit = pieces.profit[free]
    rows, left = matrix[:, free], most - matrix @ fixed
    bound = start + int(profit.sum())
    for _ in range(_TRIES):
        used = (rows != 0).any(axis=1)
        solved = milp(
            -profit.astype(float),
            integrality=np.ones(len(profit)),
            bounds=Bounds(0, 1),
            constraints=LinearConstraint(csr_array(rows[used]), -np.inf, left[used]) if used.any() else (),
            options={"mip_rel_gap": 0.0, "node_limit": nodes, "time_limit": seconds},
        )
        if solved.mip_dual_bound is not None and np.isfinite(solved.mip_dual_bound):
            bound = min(bound, start + int(np.floor(-solved.mip_dual_bound + 1e-6)))
        if solved.x is None:
            return None, bound
        taken = fixed.copy()
        taken[free] = solved.x > 0.5
        for at in np.flatnonzero(taken & (pieces.before >= 0)):
            taken[at] &= taken[pieces.before[at]]
        if pieces.fits(taken):
            return taken, bound
        # Within the solver's tolerance of 1e-6 a piece may be "almost" left: these pieces together never fit.
        cut = taken[free].astype(float)
        rows, left = np.vstack([rows, cut]), np.append(left, cut.sum() - 1)
    return None, bound
