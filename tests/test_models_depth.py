"""Each further copy: a small case by hand, the textbook's negative binomial, a simulation, and the single listing."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import nbinom

from models.costs import Costs
from models.depth import each_copy, unsold
from models.proceeds import Plan, Prospects, level_nodes, outcomes
from models.response import TABLE

COSTS = Costs.one_fee(0.10, float("inf"), 5.0, 0.0)
PLAN = Plan(((30, 0.1), (60, 0.2)), 120, 0.4)


def items(a: float, b: float, var: float = 0.02, drift: float = 0.0, slope: float = -2.0) -> Prospects:
    mean, spread = np.array([4.0, 3.5]), np.array([var, var])
    nodes, weights = level_nodes(mean, spread)
    return Prospects(mean, spread, nodes, weights, np.full((2, 5), a), np.full((2, 5), b), slope * TABLE, drift)


def test_by_hand() -> None:
    """a = 2, b = 1, H = 1: q = 1/2, P(N = 0, 1, 2) = 1/4, 2/8, 3/16, so unsold 1/4, 1/2, 11/16."""
    found = unsold(np.array([0.25]), np.array([2.0]), 3)
    assert found[:, 0] == pytest.approx([0.25, 0.5, 0.6875], abs=1e-15)


@pytest.mark.parametrize("a", [0.3, 1.0, 2.7, 40.0])
@pytest.mark.parametrize("hazard", [0.0, 1e-9, 0.4, 30.0])
def test_it_is_the_negative_binomial(a: float, hazard: float) -> None:
    q = 1.7 / (1.7 + hazard)
    found = unsold(np.array(q**a), np.array(a), 8)
    assert found == pytest.approx(nbinom.cdf(np.arange(8), a, q), rel=1e-9, abs=1e-14)


def test_a_speed_known_for_certain_is_the_poisson_process() -> None:
    """With the shape without bound the chances are those of a Poisson of mean H = 2: 1, 3, 5 and 19/3 times e^-2."""
    a = 1e7
    found = unsold(np.array((a / (a + 2.0)) ** a), np.array(a), 4)
    assert found == pytest.approx(np.exp(-2.0) * np.array([1, 3, 5, 19 / 3]), rel=1e-5)


def test_the_first_copy_is_the_single_listing() -> None:
    base = 0.02 * PLAN.nodes()[0]
    for drift in (0.0, -0.001):
        prospects = items(1.5, 1.4, drift=drift)
        single = outcomes(prospects, base, PLAN, COSTS, (-0.03, 0.05), 60.0, (-0.2, 0.3))
        for choice in (0, 9, 20):
            found = each_copy(prospects, single.ask[:, choice], base, PLAN, COSTS, (-0.03, 0.05), 3)
            assert found.mean_net[:, 0] == pytest.approx(single.mean_net[:, choice], rel=1e-12)
            assert found.mean_days[:, 0] == pytest.approx(single.mean_days[:, choice], rel=1e-12)
            assert found.sold[:, 0] == pytest.approx(single.sold_by_edge[:, choice, -1], rel=1e-12)


def test_simulated_buyers_one_after_another() -> None:
    """Draw level, speed and every buyer; copies go in turn at the price of the day, and what is left is given up."""
    rng, runs, copies, rate = np.random.default_rng(17), 400_000, 5, 0.02
    prospects = items(1.5, 1.4)
    ask, haggle = np.exp(prospects.mean + 0.05), (-0.03, 0.05)
    # Narrow pieces of the plan, so that its day nodes do not blur the comparison.
    plan = Plan(tuple((day, 0.1 * (day >= 30) + 0.1 * (day >= 60)) for day in range(2, 120, 2)), 120, 0.4)
    found = each_copy(prospects, ask, rate * plan.nodes()[0], plan, COSTS, haggle, copies)
    for at in range(2):
        level = rng.normal(prospects.mean[at], np.sqrt(prospects.var[at]), runs)
        speed = rng.gamma(1.5, 1 / 1.4, runs)
        # The clock of hazard: a buyer each time it has gone on by a standard exponential.
        clock = np.cumsum(rng.exponential(1.0, (runs, copies)), axis=1)
        start = rate * speed * np.exp(-2.0 * (np.log(ask[at]) - level))
        paces = np.exp(-2.0 * np.log([1.0, 0.9, 0.8]))
        ends = np.cumsum(np.array([30, 30, 60]) * paces)
        spent = clock / start[:, None]  # in days at the first price
        which = np.searchsorted(ends, spent)
        began, passed = np.array([0.0, 30.0, 60.0, 120.0]), np.array([0.0, *ends])
        day = np.minimum(began[which] + (spent - passed[which]) / np.append(paces, 1.0)[which], 120.0)
        price = ask[at] * np.array([1.0, 0.9, 0.8, 0.0])[which] * np.exp(rng.normal(*haggle, (runs, copies)))
        gone = which < 3
        net = COSTS.net(np.where(gone, price, 0.4 * np.exp(level)[:, None]))
        assert found.sold[at] == pytest.approx(gone.mean(axis=0), abs=0.004)
        assert found.mean_days[at] == pytest.approx(day.mean(axis=0), abs=0.4)
        assert found.mean_net[at] == pytest.approx(net.mean(axis=0), abs=0.12)


def test_a_further_copy_sells_later_and_cheaper() -> None:
    prospects = items(0.8, 0.5)
    found = each_copy(prospects, np.exp(prospects.mean), 0.03 * PLAN.nodes()[0], PLAN, COSTS, (0.0, 0.01), 8)
    assert (np.diff(found.mean_net, axis=1) < 0).all()
    assert (np.diff(found.mean_days, axis=1) > 0).all()
    assert (np.diff(found.sold, axis=1) < 0).all()
    assert (found.mean_days < 120).all()
