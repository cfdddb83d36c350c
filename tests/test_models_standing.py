"""Listed items from here on: conditional survival beside published curves, closed forms and simulation."""

from __future__ import annotations

import numpy as np
import pytest

from models.costs import Costs
from models.price import Floats
from models.proceeds import Plan, Prospects, outcomes_at
from models.response import TABLE
from models.season import spent
from models.speed import CUTS
from models.standing import (
    Pace,
    Spells,
    gains,
    outcomes_ahead,
    plan_ahead,
    quantiles,
    sells_ahead,
    sells_within,
    unsold_so_far,
)
from models.survival import conditional_survival, kaplan_meier

NODES = np.array([[3.8, 3.9, 4.0, 4.1, 4.2]])
WEIGHTS = np.array([[0.1, 0.2, 0.4, 0.2, 0.1]])
SLOPE = -2.5
STEADY = np.full(6, 0.03)
LEVEL = np.zeros(4)
COSTS = Costs((0.0,), (0.85,), (-9.0,))
PLAN = Plan(((30, 0.1), (60, 0.2)), 120, 0.4)


def known(count: int = 1, a: float = 2.0, drift: float = 0.0) -> Prospects:
    gamma = np.full((count, 5), a)
    return Prospects(
        np.full(count, 4.0), np.full(count, 0.01), np.repeat(NODES, count, 0), np.repeat(WEIGHTS, count, 0),
        gamma, gamma, SLOPE * TABLE, drift,
    )  # fmt: skip


def one_spell(*asked: tuple[float, float], listed: float, start: float = 20_000.0) -> Spells:
    since = np.array([day for day, _ in asked])
    until = np.append(since[1:], listed)
    price = np.array([amount for _, amount in asked])
    return Spells(np.array([start]), np.array([listed]), np.zeros(len(asked), dtype=np.int64), since, until, price)


def steady(spells: Spells, rate: Floats = STEADY, season: Floats = LEVEL) -> Pace:
    return Pace.of(rate, season, float(spells.start.min()), float((spells.start + spells.listed).max()) + 400)


class TestConditionalSurvival:
    @pytest.mark.published
    def test_the_6_mp_curve(self) -> None:
        """Freireich et al. 1963, Kaplan-Meier: S(13) 0.690196, S(22) 0.537815, so 9 more given 13: their ratio."""
        time = [6, 6, 6, 6, 7, 9, 10, 10, 11, 13, 16, 17, 19, 20, 22, 23, 25, 32, 32, 34, 35]
        sold = [1, 1, 1, 0, 1, 0, 1, 0, 0, 1, 1, 0, 0, 0, 1, 1, 0, 0, 0, 0, 0]
        curve = kaplan_meier(time, sold)
        assert curve.at([6, 13, 22, 30]) == pytest.approx([0.857143, 0.690196, 0.537815, 0.448179], abs=5e-7)
        assert conditional_survival(curve, 13, [9.0])[0] == pytest.approx(0.537815 / 0.690196, abs=2e-6)

    def test_a_known_speed_forgets(self) -> None:
        """With a speed known exactly the wait says nothing: 1 - exp(-rate d), Le's exponential model."""
        spells = one_spell((0, np.exp(4.0)), listed=50.0)
        items = known(a=1e9)
        items = Prospects(items.mean, items.var, np.full((1, 5), 4.0), items.weights, items.a, items.b, items.response)
        chance = sells_ahead(unsold_so_far(items, spells, steady(spells)), spells.now, spells, steady(spells),
                             np.array([14.0, 30.0]))  # fmt: skip
        assert chance[0] == pytest.approx(1 - np.exp(-0.03 * np.array([14, 30])), rel=1e-5)

    @pytest.mark.published
    def test_no_sale_in_the_next_unit(self) -> None:
        """BDA3 sec. 2.6, asthma: Gamma(3, 5), 3 in exposure 2, so none in exposure 1 by (7 / 8)^6 = 0.448795.

        Here sales are not counted, so the exposure alone moves the rate: Gamma(6, 5) waits 2 units and gives the same.
        """
        items = Prospects(
            np.array([4.0]), np.array([0.01]), np.full((1, 5), 4.0), WEIGHTS, np.full((1, 5), 6.0),
            np.full((1, 5), 5.0), SLOPE * TABLE,
        )  # fmt: skip
        spells = one_spell((0, np.exp(4.0)), listed=20.0)
        pace = steady(spells, np.full(6, 0.1))
        waited = unsold_so_far(items, spells, pace)
        assert waited.b[0, 0] == pytest.approx(7.0)
        assert 1 - sells_ahead(waited, spells.now, spells, pace, np.array([10.0]))[0, 0] == pytest.approx(
            0.448795, abs=1e-6
        )

    def test_chances_multiply(self) -> None:
        """S(44) = S(30) S(44 | 30), season and ages of the hazard in it."""
        rate, season = np.array([0.05, 0.04, 0.03, 0.02, 0.02, 0.01]), np.array([0.2, -0.1, 0.05, 0.1])
        price = 55.0
        fresh, later = one_spell((0, price), listed=0.0), one_spell((0, price), listed=30.0)
        pace = steady(fresh, rate, season)
        whole = sells_ahead(unsold_so_far(known(), fresh, pace), fresh.now, fresh, pace, np.array([30.0, 44.0]))[0]
        rest = sells_ahead(unsold_so_far(known(), later, pace), later.now, later, pace, np.array([14.0]))[0]
        assert 1 - whole[1] == pytest.approx((1 - whole[0]) * (1 - rest[0]), rel=1e-9)

    def test_beside_simulation(self) -> None:
        """Speeds and levels drawn; listings that sat 10 days at 62 and 15 at 55 are followed for 21 more."""
        rng = np.random.default_rng(3)
        size = 400_000
        level = rng.choice(NODES[0], size, p=WEIGHTS[0])
        speed = rng.gamma(2.0, 0.5, size)
        dear, cheap = (0.03 * speed * np.exp(SLOPE * (np.log(price) - level)) for price in (62.0, 55.0))
        threshold = rng.exponential(1.0, size)
        unsold = 10 * dear + 15 * cheap < threshold
        sold = unsold & (10 * dear + 15 * cheap + 21 * cheap >= threshold)
        spells = one_spell((0, 62.0), (10, 55.0), listed=25.0)
        found = sells_ahead(unsold_so_far(known(), spells, steady(spells)), spells.now, spells, steady(spells),
                            np.array([21.0]))[0, 0]  # fmt: skip
        assert found == pytest.approx(sold.sum() / unsold.sum(), abs=4 * np.sqrt(0.25 / unsold.sum()))

    def test_many_at_once_are_each_by_itself(self) -> None:
        rng = np.random.default_rng(4)
        asked = [[(0.0, 60.0), (12.0, 52.0)], [(0.0, 40.0)], [(0.0, 80.0), (3.0, 70.0), (40.0, 61.0)]]
        listed = [20.0, 0.0, 77.0]
        apart = [one_spell(*prices, listed=days, start=19_000.0 + 90 * at)
                 for at, (prices, days) in enumerate(zip(asked, listed, strict=True))]  # fmt: skip
        owner = np.repeat(np.arange(3), [2, 1, 3])
        joined = {name: np.concatenate([getattr(one, name) for one in apart])
                  for name in ("start", "listed", "since", "until", "price")}  # fmt: skip
        both = Spells(owner=owner, **joined)
        pace = steady(both, rng.uniform(0.01, 0.05, 6), np.array([0.3, 0.1, 0.0, -0.1]))
        ahead = np.array([14.0, 30.0])
        whole = sells_ahead(unsold_so_far(known(3), both, pace), both.now, both, pace, ahead)
        each = [sells_ahead(unsold_so_far(known(), one, pace), one.now, one, pace, ahead)[0] for one in apart]
        assert whole == pytest.approx(np.array(each))
        held = sells_within(unsold_so_far(known(3), both, pace), both.now[:, None], both, pace, 30)
        assert held[:, 0] == pytest.approx(whole[:, 1])


def test_hazard_spent_is_that_of_a_fresh_listing() -> None:
    """The vectorised sums beside the day-by-day ones that fresh listings are forecast with."""
    rate, season = np.array([0.05, 0.04, 0.03, 0.02, 0.02, 0.01]), np.array([0.2, -0.1, 0.05, 0.1])
    pace = Pace.of(rate, season, 20_000.0, 20_400.0)
    days = np.array([0.0, 3.0, 14.0, 31.5, 130.0])
    zero = np.zeros(len(days))
    assert pace.spent(np.full(5, 20_100.0), zero, days) == pytest.approx(spent(rate, season, 20_100.0, days, CUTS))


class TestPlanAhead:
    def test_a_fresh_listing_brings_what_the_verdict_says(self) -> None:
        spells = one_spell((0, 60.0), listed=0.0)
        pace = steady(spells)
        ask = np.array([[45.0, 55.0, 65.0]])
        found = outcomes_ahead(known(), ask, plan_ahead(PLAN, spells, pace), PLAN, COSTS, (-0.03, 0.08), ask * 0)
        edges, _ = PLAN.nodes()
        fresh = outcomes_at(known(), ask, spent(STEADY, LEVEL, 20_000.0, edges, CUTS), PLAN, COSTS, (-0.03, 0.08), 60)
        assert found.mean_net == pytest.approx(fresh.mean_net, rel=1e-9)  # no day of it depends on where the edges lie
        assert found.mean_days == pytest.approx(fresh.mean_days, rel=0.02)

    @pytest.mark.parametrize(("listed", "factors", "left"), [(0, {1.0, 0.9, 0.8}, 120), (45, {1.0, 0.8 / 0.9}, 75),
                                                             (100, {1.0}, 20), (300, {1.0}, 14)])  # fmt: skip
    def test_what_is_left_of_it(self, listed: float, factors: set[float], left: float) -> None:
        spells = one_spell((0, 60.0), listed=listed)
        ahead = plan_ahead(PLAN, spells, steady(spells))
        wide = np.diff(ahead.edges[0]) > 0
        assert {round(value, 9) for value in ahead.factor[0][wide]} == {round(value, 9) for value in factors}
        assert ahead.left[0] == left
        # Cuts fall on their days.
        changes = ahead.edges[0][1:-1][np.abs(np.diff(ahead.factor[0])) > 1e-9]
        assert set(changes + listed) <= {30, 60}

    def test_the_gain_beside_simulation(self) -> None:
        """Expected gain of moving from 75 to 58 after 40 days: the mean over the states, and by following listings."""
        spells = one_spell((0, 75.0), listed=40.0)
        pace = steady(spells)
        items = unsold_so_far(known(), spells, pace)
        ahead = plan_ahead(PLAN, spells, pace)
        now, then = spells.now, np.array([58.0])
        outcome = outcomes_ahead(items, np.array([[75.0, 58.0]]), ahead, PLAN, COSTS, (0.0, 0.05), np.zeros((1, 2)))
        exact = outcome.mean_net[0, 1] - outcome.mean_net[0, 0]
        gain, weight = gains(items, now, then, ahead, PLAN, COSTS, (0.0, 0.05), np.zeros(1), 0.0)
        assert weight.sum() == pytest.approx(1.0)
        assert float((gain * weight).sum()) == pytest.approx(exact, abs=0.25)  # five speeds stand for all
        rng = np.random.default_rng(8)
        size = 300_000
        level, speed = rng.choice(NODES[0], size, p=WEIGHTS[0]), rng.gamma(2.0, 0.5, size)
        threshold = rng.exponential(1.0, size)
        unsold = 40 * 0.03 * speed * np.exp(SLOPE * (np.log(75.0) - level)) < threshold
        level, speed = level[unsold], speed[unsold]
        count = int(unsold.sum())
        worth = []
        for price in (75.0, 58.0):
            threshold = rng.exponential(1.0, count)
            first = 0.03 * speed * np.exp(SLOPE * (np.log(price) - level))  # until day 60, then cut by 1 in 9
            second = 0.03 * speed * np.exp(SLOPE * (np.log(price * 0.8 / 0.9) - level))
            early, late = threshold < 20 * first, threshold < 20 * first + 60 * second
            paid = np.where(early, price, price * 0.8 / 0.9)
            worth.append(np.where(late, 0.85 * paid - 9.0, 0.85 * 0.4 * np.exp(level) - 9.0))
        difference = worth[1].mean() - worth[0].mean()
        assert exact == pytest.approx(difference, abs=4 * np.sqrt((worth[0].var() + worth[1].var()) / count))

    def test_an_unknown_response_widens_the_interval(self) -> None:
        spells = one_spell((0, 75.0), listed=40.0)
        pace = steady(spells)
        items, ahead = unsold_so_far(known(), spells, pace), plan_ahead(PLAN, spells, pace)
        width = []
        for error in (0.0, 0.8):
            gain, weight = gains(
                items, spells.now, np.array([58.0]), ahead, PLAN, COSTS, (0.0, 0.05), np.zeros(1), error
            )
            low, high = quantiles(gain, weight, (0.1, 0.9))[0]
            width.append(high - low)
        assert width[1] > width[0] > 0


def test_quantiles_of_even_weights_are_those_of_the_middle() -> None:
    values = np.array([[4.0, 1.0, 3.0, 2.0, 5.0]])
    found = quantiles(values, np.full((1, 5), 0.2), (0.1, 0.5, 0.9))
    assert found[0] == pytest.approx([1.0, 3.0, 5.0])
    assert found[0] == pytest.approx(np.quantile(values[0], [0.1, 0.5, 0.9], method="hazen"))
