"""What items bring at the price others get, where a dearer one is advised: what the limit there rests on, in one pass.

`sourcing.check.at_others` for thousands of items at once: the same figures of the same forecast, at one more price.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from models.price import Floats
from models.proceeds import net_quantiles, outcomes_at
from sourcing.forecast import Forecasts, shares_wanted
from sourcing.others import TOO_FAR
from sourcing.pack.figures import OTHERS, Ints, whole
from sourcing.rules import Rules
from sourcing.verdict import CHANCE, MONEY, TIED, WORTH, kept


def at_others(offers: Sequence[Forecasts], chosen: Ints, found: dict[str, Ints], rules: Rules) -> dict[str, Ints]:
    """Return the columns of the limit at the price others get: (N,) each, 0 where none is shown.

    Parameters
    ----------
    offers : the forecast of N items on each channel. chosen : (N,) the channel of each. found : their other columns.
    """
    count = len(chosen)
    columns = {name: np.zeros(count, dtype=np.int64) for name in ("others", *OTHERS)}
    for place, forecasts in enumerate(offers):
        here = np.flatnonzero((chosen == place) & _shown(found, forecasts, rules))
        if not len(here):
            continue
        columns["others"][here] = 1
        figures = _figures(forecasts, here, found["sale_50"][here] / 10**MONEY, rules)
        for name, values in zip(OTHERS, figures, strict=True):
            columns[name][here] = values
    return columns


def _shown(found: dict[str, Ints], forecasts: Forecasts, rules: Rules) -> NDArray[np.bool_]:
    """Say of which items a verdict shows it: there is enough to go on, and others get less than is advised to ask."""
    usual, price = np.exp(forecasts.mean), found["sale_50"] / 10**MONEY
    shown: NDArray[np.bool_] = found["ask"] > found["sale_90"]
    if rules.least_comps is not None:
        shown &= found["evidence"] / 10**WORTH >= float(rules.least_comps)
    shown &= (usual / TOO_FAR <= price) & (price <= usual * TOO_FAR)
    return shown


def _figures(was: Forecasts, items: Ints, ask: Floats, rules: Rules) -> tuple[Ints, Ints, Ints, Ints]:
    """Return net proceeds, those at the largest acceptable chance of loss, days tied up, the chance by the target."""
    outcome = outcomes_at(
        was.prospects.some(items), ask[:, None], was.base, was.plan, was.costs, was.haggle, rules.target_days
    )
    first = np.zeros(len(items), dtype=np.int64)
    loss = net_quantiles(first, outcome, was.plan, was.costs, was.haggle, shares_wanted(rules)[-1:])
    return (
        whole(kept(outcome.mean_net[:, 0], MONEY), MONEY),
        whole(kept(loss[:, 0], MONEY), MONEY),
        whole(kept(outcome.mean_days[:, 0], TIED), TIED),
        whole(kept(outcome.by_target[:, 0], CHANCE), CHANCE),
    )
