"""How later and cheaper each further copy of one item sells, listed together with the ones before it.

Buyers come as a Poisson process whose rate is the style's speed times the base hazard, and each takes one copy. The
speed is gamma with shape a and rate b, so that the number of buyers by the time a hazard H is spent is negative
binomial (Greenwood & Yule 1920, JRSS 83:255): P(N = j) = Gamma(a + j) / (j! Gamma(a)) q^a (1 - q)^j, q = b / (b + H).
The k-th copy is unsold while N < k. For k = 1 that is q^a, the chance that a single listing is unsold.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from models.costs import Costs
from models.price import Floats
from models.proceeds import REST_SD, Plan, Prospects, by_price, survive


@dataclass(frozen=True)
class Copies:
    """Forecasts of N items' 1st to K-th copy under the plan, giving up included; arrays (N, K)."""

    mean_net: Floats  # expected net proceeds, before labour and purchase
    mean_days: Floats  # expected days until sold or given up
    sold: Floats  # chance of a sale before giving up

    def of(self, item: int) -> Copies:
        """Return the copies of one item, without the others' memory."""
        here = slice(item, item + 1)
        return Copies(self.mean_net[here].copy(), self.mean_days[here].copy(), self.sold[here].copy())


def unsold(first: Floats, shape: Floats, copies: int) -> Floats:
    """Chance that the k-th copy is unsold.

    Parameters
    ----------
    first : (...) chance that the first copy is unsold, from which the hazard spent follows: q = first^(1/a).
    shape : (...) gamma shape a of the speed, to broadcast with ``first``.
    copies : how many.

    Returns
    -------
    (copies, ...) chances; never falling along the first axis.
    """
    come = -np.expm1(np.log(np.maximum(first, 1e-300)) / shape)  # 1 - q without loss where hardly any hazard is spent
    found = np.empty((copies, *first.shape))
    exactly = np.array(first, dtype=np.float64)
    found[0] = exactly
    for k in range(1, copies):
        exactly = exactly * come * (shape + k - 1) / k
        found[k] = found[k - 1] + exactly
    return np.minimum(found, 1.0, out=found)


def each_copy(
    items: Prospects,
    ask: Floats,
    base: Floats,
    plan: Plan,
    costs: Costs,
    haggle: tuple[float, float],
    copies: int,
) -> Copies:
    """Forecast each copy of N items listed on one day at the asking prices ``ask`` (N,), cut and given up by the plan.

    ``base`` (T + 1,) is the base hazard spent by each day edge of the plan. The first copy's figures are those of
    `models.proceeds.outcomes` at the same asking price.
    """
    edges, factor = plan.nodes()
    first = survive(items, ask[:, None], *by_price(base, edges, factor, items.drift))[:, 0]
    left = unsold(first, items.a[:, :, None], copies)  # (K, N, 5, T + 1)
    alive = np.einsum("knjt,nj->nkt", left, items.weights)
    mass = alive[:, :, :-1] - alive[:, :, 1:]
    total = ask[:, None] * factor * np.exp(haggle[0] + haggle[1] ** 2 / 2)
    rest = costs.mean_net(plan.salvage * np.exp(items.nodes + items.drift * plan.give_up), REST_SD)
    mean_net = np.einsum("nkt,nt->nk", mass, costs.mean_net(total, haggle[1]))
    mean_net += np.einsum("knj,nj,nj->nk", left[..., -1], items.weights, rest)
    mean_days = mass @ ((edges[:-1] + edges[1:]) / 2) + alive[:, :, -1] * plan.give_up
    return Copies(mean_net, mean_days, 1.0 - alive[:, :, -1])
