"""What became of an occasion by later listings of the item, worked by hand: no fees, a constant hazard, a square law.

The market of these examples sells 2 % of its listings a day at an asking price of the level, and demand answers to the
asking price by its power of -2. The terms cost nothing but what the examples say.
"""

from __future__ import annotations

import dataclasses
import math
from datetime import UTC, datetime
from decimal import Decimal
from typing import Any

import numpy as np
import pytest

from models.response import TABLE
from sourcing.answer import Item
from sourcing.comps.lookup import COLUMNS_READ
from sourcing.fitting import CategoryFit, Fit
from sourcing.settings import default_settings
from sourcing.terms import PriceCutPlan, Terms
from sourcing.tuning.hindsight import NO_LATER, TOO_RECENT, Values, by_later_comps
from sourcing.tuning.known import Row
from sourcing.tuning.occasions import Occasion

D = Decimal
SIX = 6  # pieces of age
ITEM = Item("Jug", True, 1, "", "AB-1", "Kestrel", "jugs", "Jug", "", "new")
HELD = PriceCutPlan((), 120, D("0.40"))
CUT = PriceCutPlan(((30, D("0.10")), (60, D("0.20"))), 120, D("0.40"))


def market(rate: float | None = 0.02, conditions: dict[str, float] | None = None) -> Fit:
    jugs = CategoryFit(
        mu=math.log(40), mu_var=0.1, sigma2=0.04, tau_variant2=0.0, tau_style2=0.04, tau_unseen2=0.04, tau_brand2=0.04,
        trend=(0.0, 0.0), base_condition="new", conditions=conditions or {"new": 0.0}, haggle=(0.0, 0.0),
        ask=(0.0, 0.12), rate=None if rate is None else (rate,) * SIX, horizon=365.0, sold=100, unsold=100,
        speed_basis="dated sales", season=(0.0,) * 4, response=tuple((-2.0 * TABLE).tolist()),
    )  # fmt: skip
    return Fit(
        id=1, made_at=datetime(2026, 1, 1, tzinfo=UTC), as_of=1000, categories={"jugs": jugs}, cells={},
        grand=(math.log(40), 0.1), words={}, walk2=0.0, slope=-2.0, slope_se=0.1, mixture=(1.0,), beyond=0.1,
        factors=(1.0,) * 4, wide_factors=(1.0,) * 4,
    )  # fmt: skip


def terms(plan: PriceCutPlan) -> Terms:
    """A fresh install's terms with a plan: net proceeds by its own receipt, so only the plan is this test's."""
    return dataclasses.replace(default_settings().for_category("").terms, plan=plan)


def net(total: float, of: Terms) -> float:
    return float(of.net(D(repr(total))))


def listing(
    listed: int, days: int, *, sold: float | None = None, ask: float, condition: str = "new"
) -> tuple[Any, ...]:
    values: dict[str, Any] = dict.fromkeys(COLUMNS_READ)
    values |= {"size": "", "condition": condition, "title": "Jug", "note": "", "channel": "", "key": listed}
    values |= {"status": 0 if sold is None else 1, "ask": round(ask * 100), "listed": listed}
    values |= {"seen": listed + days} if sold is None else {"sold": round(sold * 100), "ended": listed + days}
    return tuple(values[name] for name in COLUMNS_READ)


def valued(rows: list[Row], asks: list[float], plan: PriceCutPlan = HELD, fit: Fit | None = None) -> Values:
    occasion = Occasion(500, ITEM, "check", D("5.00"))
    return by_later_comps(fit or market(), "jugs", [occasion], [rows], np.array([asks]), terms(plan))


def test_at_its_own_price_it_sells_as_the_later_listing_did() -> None:
    """Asked 40, sold for 40 on day 15: so would ours; days count by the middle of ten (10 to 20)."""
    found = valued([listing(510, 15, sold=40.0, ask=40.0)], [40.0])
    assert found.why == ("",)
    assert found.net[0, 0] == pytest.approx(net(40.0, terms(HELD)), abs=0.01)
    assert found.days[0, 0] == pytest.approx(15.0)


def test_a_dearer_asking_price_sells_later_and_too_dear_a_one_never() -> None:
    """At 48 demand is (48/40)^-2 = 0.694 of it: day 15 / 0.694 = 21.6. At 160 a sixteenth: day 240, given up on 120.

    What is given up brings 40 % of the 40 that such items sell for: 16.
    """
    found = valued([listing(510, 15, sold=40.0, ask=40.0)], [48.0, 160.0])
    assert found.days[0] == pytest.approx([25.0, 120.0])
    assert found.net[0, 0] == pytest.approx(net(48.0, terms(HELD)), abs=0.01)
    assert found.net[0, 1] == pytest.approx(net(16.0, terms(HELD)), abs=0.01)


def test_price_cuts_bring_the_sale_forward() -> None:
    """Asked 80, cut to 72 on day 30: by then 30 x 0.02 / 4 = 0.15 of the 0.30 is spent, at 72 demand is 0.3086 of it,
    and the rest takes 24.3 days: sold for 72 on day 54."""
    found = valued([listing(510, 15, sold=40.0, ask=40.0)], [80.0], CUT)
    assert found.net[0, 0] == pytest.approx(net(72.0, terms(CUT)), abs=0.01)
    assert found.days[0, 0] == pytest.approx(55.0)


def test_one_still_open_halves_the_curve_and_is_not_dropped() -> None:
    """Sold on day 15, and open for 60 days: half are left after 15 days; from day 60 on an exponential tail.

    Hazard spent: 0.3 and 1.2, so the tail's rate is (1 + 1) / (1.5 + 1) = 0.8 and at day 120 (2.4 spent)
    0.5 x exp(-0.8 x 1.2) = 0.1914 are given up.
    """
    rows = [listing(510, 15, sold=40.0, ask=40.0), listing(520, 60, ask=40.0)]
    found = valued(rows, [40.0])
    left = 0.5 * math.exp(-0.8 * 1.2)
    expected = (1 - left) * net(40.0, terms(HELD)) + left * net(16.0, terms(HELD))
    assert found.net[0, 0] == pytest.approx(expected, abs=0.02)
    assert found.later[0] == 2
    twice = valued([*rows, listing(511, 15, sold=40.0, ask=40.0), listing(521, 60, ask=40.0)], [40.0])
    assert twice.net[0, 0] == pytest.approx(found.net[0, 0], abs=0.5)  # the tail leans on one usual sale either way
    assert 0.6 * found.error[0, 0] < twice.error[0, 0] < 0.8 * found.error[0, 0]  # by the square root of two


def test_another_condition_is_brought_to_the_items_own() -> None:
    """A used one, worth half of a new one, asked and sold for 20: as a new one at 40."""
    fit = market(conditions={"new": 0.0, "used": math.log(0.5)})
    found = valued([listing(510, 15, sold=20.0, ask=20.0, condition="used")], [40.0], fit=fit)
    assert found.net[0, 0] == pytest.approx(net(40.0, terms(HELD)), abs=0.01)
    assert found.days[0, 0] == pytest.approx(15.0)


@pytest.mark.parametrize(
    ("rows", "why"),
    [
        ([], NO_LATER),
        ([listing(400, 15, sold=40.0, ask=40.0)], NO_LATER),  # before the day: known, not what became of it
        ([listing(490, 15, sold=40.0, ask=40.0)], NO_LATER),  # begun before the day
        ([listing(621, 15, sold=40.0, ask=40.0)], NO_LATER),  # after ours would have been given up
    ],
)  # fmt: skip
def test_without_a_later_listing_nothing_is_said(rows: list[Row], why: str) -> None:
    found = valued(rows, [40.0])
    assert found.why == (why,)
    assert np.isnan(found.net).all()


def test_too_recent_whether_it_sold_or_not() -> None:
    """A listing begun 20 days before the newest comps could have spent 0.4: a third of a sale, sold or not."""
    fit = dataclasses.replace(market(), as_of=530)
    for rows in ([listing(510, 5, sold=40.0, ask=40.0)], [listing(510, 20, ask=40.0)]):
        assert valued(rows, [40.0], fit=fit).why == (TOO_RECENT,)


def test_without_listing_days_prices_alone_are_valued() -> None:
    blank = list(listing(510, 15, sold=40.0, ask=40.0))
    blank[COLUMNS_READ.index("listed")] = None
    found = valued([tuple(blank)], [40.0, 80.0], fit=market(rate=None))
    assert found.net[0] == pytest.approx([net(40.0, terms(HELD))] * 2, abs=0.01)
    assert found.days[0, 0] == terms(HELD).assumed_days


def test_few_later_listings_leave_a_wide_error() -> None:
    """On a market with many items, values off by so much as their error says: about one standard deviation."""
    rng = np.random.default_rng(954)
    rate, price, sizes = 0.02, 44.0, (1, 8)
    off: dict[int, list[float]] = {size: [] for size in sizes}
    deal = terms(HELD)
    sold = 1 - math.exp(-rate * 120 * (price / 40) ** -2)
    true = sold * net(price, deal) + (1 - sold) * net(16.0, deal)
    for size in sizes:
        for _ in range(300):
            days = np.maximum(np.ceil(rng.exponential(1 / rate, size)), 1)
            rows = [
                listing(501 + at, int(min(day, 300)), sold=40.0 if day <= 300 else None, ask=40.0)
                for at, day in enumerate(days)
            ]
            found = valued(rows, [price])
            off[size].append((found.net[0, 0] - true) / found.error[0, 0])
    for size in sizes:
        assert abs(np.mean(off[size])) < 0.35
        assert 0.6 < np.std(off[size]) < 1.5
