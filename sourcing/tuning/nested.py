"""The gain of choosing a setting, on days and items that had no part in the choice.

The best of many settings looks better than it is on the very data it was chosen by (Varma & Simon 2006, BMC
Bioinformatics 7:91). So days are cut into folds and items into groups: the setting is chosen on the earlier folds of
the other items, and scored on the later fold of these. Items must be apart, for what became of one is told by the same
later listings on an earlier and on a later day.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.price import Floats
from models.resampling import resample
from sourcing.tuning.aims import best, eligible, scorer
from sourcing.tuning.buys import Buys
from sourcing.tuning.replay import Flags, Replay
from sourcing.tuning.tally import PROFIT, Tally, tally

FOLDS, GROUPS = 4, 3
FEWEST_CHOSEN_ON = 15  # buys a setting must have made where it is chosen
RESAMPLES = 400
BAND = (0.05, 0.95)
_SEED = 955


@dataclass(frozen=True)
class Scored:
    """The gain over today's setting, out of sample.

    Attributes
    ----------
    amount, profit : low, middle and high of the gain in the objective's own unit, and in money. today : the objective's
    figure of today's setting on the same occasions. flattering : the gain of the best on just these
    occasions, chosen on them. occasions, folds : on how many it was scored.
    """

    amount: tuple[float, float, float]
    profit: tuple[float, float, float]
    today: float
    flattering: float
    occasions: int
    folds: int


def out_of_sample(replay: Replay, bought: Buys, today: int, objective: str) -> Scored | None:
    """Score the choosing of a setting by an objective; None where no fold had enough to choose by or to score."""
    fold = np.minimum(np.argsort(np.argsort(replay.day, kind="stable")) * FOLDS // max(len(replay), 1), FOLDS - 1)
    group = _groups(replay)
    choice = np.full(len(replay), -1)
    for later in range(1, FOLDS):
        for one in range(GROUPS):
            chosen = _choose(replay, bought, (fold < later) & (group != one), today, objective)
            if chosen is not None:
                choice[(fold == later) & (group == one)] = chosen
    on = choice >= 0
    if not on.any():
        return None
    each = np.flatnonzero(on)
    both = np.column_stack([np.full(len(each), today), choice[on]])
    asked = bought.asked[on] if bought.asked.ndim == 1 else bought.asked[each[:, None], both]
    told = tally(replay.of(on), Buys(bought.taken[each[:, None], both], asked))
    whole = tally(replay.of(on), Buys(bought.taken[on], bought.asked[on])).total
    return _scored(told, whole, today, objective, len(each), len(np.unique(fold[on])))


def _groups(replay: Replay) -> np.ndarray:
    """Part the items into groups, at random but always the same: (N,)."""
    styles, which = np.unique(replay.style, return_inverse=True)
    return np.asarray(np.random.default_rng(_SEED).permutation(len(styles))[which] % GROUPS)


def _choose(replay: Replay, bought: Buys, on: Flags, today: int, objective: str) -> int | None:
    if not on.any():
        return None
    total = tally(replay.of(on), Buys(bought.taken[on], bought.asked[on])).total
    allowed = eligible(total, FEWEST_CHOSEN_ON)
    found = best(scorer(objective, total)(total), allowed, today)
    return today if found is None and allowed.any() else found


def _scored(told: Tally, whole: Floats, today: int, objective: str, occasions: int, folds: int) -> Scored | None:
    """Score today's and the chosen settings of a tally, beside all settings on the same occasions (G, COLUMNS)."""
    total = told.total
    score = scorer(objective, whole)
    scores = score(whole)
    top = best(scores, eligible(whole, FEWEST_CHOSEN_ON), today)
    ours = score(total)
    if not np.isfinite(ours).all():
        return None
    drawn = resample(len(told.sums), RESAMPLES, _SEED).sums(told.sums, told.errors)
    resampled = score(drawn)
    gain = resampled[:, 1] - resampled[:, 0]
    gain = gain[np.isfinite(gain)]
    profit = drawn[:, 1, PROFIT] - drawn[:, 0, PROFIT]
    return Scored(
        _band(gain, float(ours[1] - ours[0])),
        _band(profit, float(total[1, PROFIT] - total[0, PROFIT])),
        float(ours[0]),
        0.0 if top is None else float(scores[top] - scores[today]),
        occasions,
        folds,
    )


def _band(drawn: Floats, middle: float) -> tuple[float, float, float]:
    low, high = np.quantile(drawn, BAND)
    return float(low), middle, float(high)
