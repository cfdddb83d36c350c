"""Net proceeds by pieces: inverse, expectation over haggling, and the totals that lose money, jumps included."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.stats import lognorm

from models.costs import Costs
from models.proceeds import Plan, Prospects, level_nodes, net_quantiles, outcomes, share_short
from models.response import TABLE

PLAIN = Costs((0.0,), (0.87,), (-9.0,))
CAPPED = Costs.one_fee(0.13, 6.0, 9.0, 0.01)
SLICED = Costs((0.0, 20.0, 60.0), (0.80, 0.90, 0.95), (-3.0, -5.0, -8.0))
JUMP = Costs((0.0, 50.0), (0.90, 0.80), (-3.0, -3.0))  # the whole amount bears a fifth from 50 on
ALL = [PLAIN, CAPPED, SLICED, JUMP]


def test_by_hand() -> None:
    """0.9 x 40 - 3 = 33; 0.8 x 50 - 3 = 37, less than the 41.99 of a cent less; 42 again at 56.25."""
    assert JUMP.net(np.array([40.0, 49.99, 50.0, 56.25])) == pytest.approx([33.0, 41.991, 37.0, 42.0])
    assert JUMP.total_for(np.array([33.0, 41.0, 42.0])) == pytest.approx([40.0, 44 / 0.9, 56.25])
    assert [costs.rises for costs in ALL] == [True, True, True, False]
    lows, highs = JUMP.short_of(np.array([40.0]))
    assert lows[0].tolist() == pytest.approx([1e-9, 50.0])
    assert highs[0].tolist() == pytest.approx([43 / 0.9, 53.75])


@pytest.mark.parametrize("costs", ALL)
def test_the_smallest_total_that_leaves_so_much(costs: Costs) -> None:
    grid = np.linspace(0.01, 200, 40_000)
    left = costs.net(grid)
    for wanted in (-5.0, 0.0, 10.0, 38.0, 41.5, 60.0):
        enough = grid[left >= wanted - 1e-9]
        assert costs.total_for(np.array(wanted)) == pytest.approx(
            max(enough[0], 1e-9), abs=0.011
        )  # the grid's own step, from its first point on
        assert costs.one_total_for(wanted) == pytest.approx(float(costs.total_for(np.array(wanted))))


def share_of(total: float, costs: Costs, price: Any) -> float:
    return float(costs.net(np.array(total)) * price.pdf(total))


@pytest.mark.parametrize("costs", ALL)
@pytest.mark.parametrize("spread", [0.03, 0.3])
def test_the_expectation_is_the_integral(costs: Costs, spread: float) -> None:
    for mean in (5.0, 19.0, 48.0, 50.0, 70.0):
        price = lognorm(spread, scale=mean * np.exp(-(spread**2) / 2))
        marks = [at for at in costs.starts if at > 0]
        low, high = price.ppf(1e-12), price.ppf(1 - 1e-12)
        inside = [at for at in marks if low < at < high]
        ends = [low, *inside, high]
        found = sum(quad(share_of, a, b, args=(costs, price), limit=200)[0] for a, b in pairwise(ends))
        assert float(costs.mean_net(np.array([mean]), spread)[0]) == pytest.approx(found, abs=1e-6)


@pytest.mark.parametrize("costs", ALL)
def test_the_chance_of_less_is_counted(costs: Costs) -> None:
    price = lognorm(0.2, scale=50.0)
    drawn = price.rvs(400_000, random_state=5)
    for wanted in (20.0, 38.0, 40.0, 41.5, 45.0):
        assert costs.chance_short(wanted, price.cdf) == pytest.approx((costs.net(drawn) < wanted).mean(), abs=0.003)


def test_quantiles_and_chances_of_what_is_left_where_it_jumps() -> None:
    """Simulate sales and giving up, at one asking price, by the forecast's own shares; nothing is tuned to agree."""
    plan, haggle = Plan(((30, 0.1), (60, 0.2)), 120, 0.4), (-0.03, 0.08)
    mean, var = np.array([4.0]), np.array([0.02])
    nodes, weights = level_nodes(mean, var)
    items = Prospects(mean, var, nodes, weights, np.full((1, 5), 1.5), np.full((1, 5), 1.4), -2.0 * TABLE)
    base = 0.02 * plan.nodes()[0]
    rng = np.random.default_rng(3)
    for costs in (SLICED, JUMP):
        result = outcomes(items, base, plan, costs, haggle, 60.0, (-0.2, 0.3))
        chosen = np.array([9])
        sold = result.sold_by_edge[0, 9]
        edges, factor = plan.nodes()
        place = np.searchsorted(sold, rng.random(300_000))
        gone = place < len(sold)
        price = (
            result.ask[0, 9] * factor[np.clip(place - 1, 0, len(factor) - 1)] * np.exp(rng.normal(*haggle, len(place)))
        )
        rest = np.exp(rng.normal(result.rest_mean[0, 9], np.sqrt(result.rest_var[0, 9] + 0.01), len(place)))
        left = costs.net(np.where(gone, price, rest))
        assert result.mean_net[0, 9] == pytest.approx(left.mean(), abs=0.15)
        for spent in (10.0, 30.0, 38.0, 41.0):
            short = share_short(np.array([[spent]]), chosen, result, plan, costs, haggle)[0, 0]
            assert short == pytest.approx((left < spent).mean(), abs=0.005)
        shares = np.array([0.1, 0.35, 0.5, 0.9])
        found = net_quantiles(chosen, result, plan, costs, haggle, shares)[0]
        for share, value in zip(shares, found, strict=True):
            assert (left < value).mean() == pytest.approx(share, abs=0.02)
        assert len(edges) == len(sold)


@pytest.mark.parametrize(
    "pieces",
    [((), (), ()), ((1.0,), (0.9,), (0.0,)), ((0.0, 5.0, 5.0), (0.9,) * 3, (0.0,) * 3), ((0.0,), (0.0,), (0.0,)),
     ((0.0, 1.0), (0.9,), (0.0, 0.0))],
)  # fmt: skip
def test_pieces_without_an_inverse_are_refused(pieces: tuple[tuple[float, ...], ...]) -> None:
    with pytest.raises(ValueError, match=r"pieces|slope"):
        Costs(*pieces)
